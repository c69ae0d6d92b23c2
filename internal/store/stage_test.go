package store_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// manyOdometers are invented: one reading a day of a vehicle, so many that they go
// over a table.
func manyOdometers(id int64) (os []fleet.Odometer) {
	for n := range 600 {
		os = append(os, fleet.Odometer{VehicleID: id, Date: day(1, 1) + fleet.Date(n), Km: float64(100 * n)})
	}
	return os
}

// plansOf returns a context for which is noted what transactions say of how to plan.
func plansOf(t *testing.T) (ctx context.Context, said *[]string) {
	said = new([]string)
	return store.WithTrace(t.Context(), func(query string, _ []any) {
		if _, after, ok := strings.Cut(query, "plan_cache_mode = "); ok {
			mode, _, _ := strings.Cut(after, ";")
			*said = append(*said, mode)
		}
	}), said
}

// What a large upload looks up for foreign keys is planned once, also when its
// readings came before the first rows that need a table.
func TestPlansOnceAfterManyVisits(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"), entry("Bus 4"))
	ctx, said := plansOf(t)
	err := db.TakeIn(ctx, all, &fleet.Upload{}, func(w *store.Writer) error {
		if _, err := w.Readings(manyVisits(ids)); err != nil {
			return err
		}
		_, err := w.Odometers(manyOdometers(ids[0]))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	// By keys; then for a table, as the connection does; then for what it brought.
	if want := []string{"force_generic_plan", "force_custom_plan", "auto"}; !slices.Equal(*said, want) {
		t.Errorf("got %q, want %q", *said, want)
	}
}

// What a part of a trial set is undone with it, and set again by the next.
func TestPlansOnceAfterAFailedPart(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	id := mustVehicles(t, db, entry("Bus 1"))[0]
	failed := errors.New("failed")
	ctx, said := plansOf(t)
	for _, begin := range []struct {
		name string
		run  func(fn func(*store.DB) error) error
	}{
		{"a trial", func(fn func(*store.DB) error) error { return db.Trial(ctx, fn) }},
		{"a trial in what is found by keys", func(fn func(*store.DB) error) error {
			return db.Together(ctx, "try", func(together *store.DB) error { return together.Trial(ctx, fn) })
		}},
	} {
		err := begin.run(func(trial *store.DB) error {
			part := func(end error) []string {
				*said = nil
				err := trial.TakeIn(ctx, all, &fleet.Upload{}, func(w *store.Writer) error {
					if _, err := w.Odometers(manyOdometers(id)); err != nil {
						return err
					}
					return end
				})
				if !errors.Is(err, end) {
					t.Errorf("%s: got %v, want %v", begin.name, err, end)
				}
				return *said
			}
			first, second := part(failed), part(nil)
			if len(first) == 0 || !slices.Equal(first, second) {
				t.Errorf("%s: the first part set %q, and what was undone was set again as %q", begin.name, first, second)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
