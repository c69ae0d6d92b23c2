package pipeline_test

import (
	"errors"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestSetFluidChange(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		vehicle := bus(t, s).Vehicle.ID
		today := s.Today()
		day := func(d fleet.Date) *fleet.Date { return &d }
		for _, c := range []struct {
			name string
			sc   auth.Scope
			day  *fleet.Date
			want error
		}{
			{"to come", all, day(today + 1), fleet.ErrInvalid},
			{"of a mistyped year", all, day(fleet.NewDate(1, 1, 1)), fleet.ErrInvalid},
			{"the day before the first", all, day(fleet.NewDate(1949, 12, 31)), fleet.ErrInvalid},
			{"the first", all, day(fleet.NewDate(1950, 1, 1)), nil},
			{"forgotten", all, nil, nil},
			{"today", all, day(today), nil},
			{"of a vehicle not seen", auth.ScopeOf([]int64{99}, nil), day(today - 1), fleet.ErrNotFound},
		} {
			if err := s.SetFluidChange(t.Context(), c.sc, vehicle, c.day); !errors.Is(err, c.want) {
				t.Errorf("%s: got %v, want %v", c.name, err, c.want)
			}
		}
		ups, err := db.Upkeeps(t.Context(), all, []int64{vehicle}, today)
		if err != nil || ups[vehicle] == nil || *ups[vehicle].FluidChanged != today {
			t.Errorf("got %+v, %v, want it changed today", ups[vehicle], err)
		}
	})
}
