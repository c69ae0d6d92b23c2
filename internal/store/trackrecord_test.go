package store_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestTrackRecord(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		nan := math.NaN()
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Van 2", of("South", "Bay")))
		south := auth.ScopeOf([]int64{int64(count(t, db, "select id from fleets where name = 'South'"))}, nil)
		k := store.Kept{
			VehicleID: ids[0], Axle: 1, Part: fleet.Pad, Fitted: day(1, 10), Removed: day(9, 1),
			LeftMM: 1.5, LeftShare: .1, CrossDay: 20400.5, CrossKm: 61000,
			Ahead: 30, Promised: ptr(day(7, 30)), Replayed: true, AtKm: 52000,
			Day: [3]float64{20300, 20390, 20500}, Km: [3]float64{58000, 60500, 66000},
		}
		none := k
		none.Ahead, none.Promised, none.Replayed, none.AtKm = 60, nil, false, nan
		none.CrossDay, none.CrossKm = nan, nan
		none.Day, none.Km = [3]float64{nan, nan, nan}, [3]float64{nan, nan, nan}
		other := k
		other.VehicleID, other.Removed = ids[1], day(10, 1)
		if err := db.KeepRecord(t.Context(), all, ids, []store.Kept{k, none, other}); err != nil {
			t.Fatal(err)
		}
		k.Depot, none.Depot, other.Depot = "Quay", "Quay", "Bay"
		k.Number, none.Number, other.Number = "Bus 1", "Bus 1", "Van 2"
		for _, c := range []struct {
			name  string
			scope auth.Scope
			q     store.RecordQuery
			want  []store.Kept
		}{
			{"all, latest first", all, store.RecordQuery{}, []store.Kept{other, k, none}},
			{"since", all, store.RecordQuery{Since: day(9, 2)}, []store.Kept{other}},
			{"of a category", all, store.RecordQuery{Category: "M3"}, nil},
			{"another scope", south, store.RecordQuery{}, []store.Kept{other}},
			{"no scope", auth.Scope{}, store.RecordQuery{}, nil},
		} {
			got, err := db.TrackRecord(t.Context(), c.scope, c.q)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			if d := cmp.Diff(c.want, got, cmpopts.EquateNaNs()); d != "" {
				t.Errorf("%s: want, got:\n%s", c.name, d)
			}
		}
		// What comes later stands instead, of the vehicles given alone.
		k.LeftMM = 1.4
		if err := db.KeepRecord(t.Context(), all, ids[:1], []store.Kept{k}); err != nil {
			t.Fatal(err)
		}
		st, err := db.Standing(t.Context(), all, ids[:1], day(10, 2), 30)
		want := map[int64][]store.Kept{ids[0]: {{
			VehicleID: ids[0], Axle: 1, Part: fleet.Pad, Fitted: day(1, 10), Removed: day(9, 1),
			LeftMM: 1.4, CrossDay: 20400.5, CrossKm: 61000,
		}}}
		if err != nil || !cmp.Equal(st.Removals, want) {
			t.Errorf("what stands: got %+v, %v, want %+v", st.Removals, err, want)
		}
		got, err := db.TrackRecord(t.Context(), all, store.RecordQuery{})
		if d := cmp.Diff([]store.Kept{other, k}, got, cmpopts.EquateNaNs()); d != "" || err != nil {
			t.Errorf("replaced: %v, want, got:\n%s", err, d)
		}
		if err := db.KeepRecord(t.Context(), south, ids[:1], []store.Kept{k}); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope writes: got %v", err)
		}
		if n := count(t, db, "select count(*) from track_record"); n != 2 {
			t.Errorf("another scope left %d rows, want 2", n)
		}
	})
}

func TestPromises(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		at := time.Date(2025, 3, 1, 4, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return at }
		ids := mustVehicles(t, db, entry("Bus 1"))
		mustForecasts(t, db, due(ids[0], 1, nil, 20200))
		got, err := db.Promises(t.Context(), all, ids)
		want := []store.Promise{{
			VehicleID: ids[0], Axle: 1, AsOf: asOf, LoggedAt: at, OdometerKm: 42000,
			Day: [3]float64{20210, 20250, 20290}, Km: [3]float64{51000, 55000, 59000},
		}}
		if d := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-6)); d != "" || err != nil {
			t.Errorf("%v, want, got:\n%s", err, d)
		}
		if got, err := db.Promises(t.Context(), auth.Scope{}, ids); len(got) != 0 || err != nil {
			t.Errorf("no scope: got %+v, %v", got, err)
		}
		if got, err := db.Promises(t.Context(), all, nil); len(got) != 0 || err != nil {
			t.Errorf("no vehicle: got %+v, %v", got, err)
		}
	})
}
