package store

import (
	"context"
	"maps"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// SaveVerdicts keeps what is said of brake tests, by the tests' ids. What was
// said of one before stays, and Said.At is filled in with now.
func (db *DB) SaveVerdicts(ctx context.Context, sc auth.Scope, said map[int64]fleet.Said) error {
	if len(said) == 0 {
		return nil
	}
	return db.tend(ctx, "keep verdicts", func(t *tx) error {
		// In order: two who keep the same would wait for each other.
		for _, id := range slices.Sorted(maps.Keys(said)) {
			s := said[id]
			var w where
			w.scope(sc, "v")
			w.add("b.id = ?", id)
			found := false
			var fleetID int64
			err := t.each(func(r *sqlx.Rows) error {
				found = true
				return r.Scan(&fleetID)
			}, `
				select b.fleet_id
				from brake_tests b
				join vehicles v on v.id = b.vehicle_id`+w.String(), w.args...)
			if err != nil {
				return err
			}
			if !found {
				return fleet.NotFoundf("brake test %d: there is none, or none that you may see", id)
			}
			_, err = t.exec(`
				insert into brake_test_verdicts (test_id, fleet_id, rule_set, verdict, judgement, judged_at)
				values (?, ?, ?, ?, ?, ?)
				on conflict (test_id) do nothing`, id, fleetID, s.RuleSet, s.Verdict, string(s.Judgement), instant(db.now()))
			if err != nil {
				return err
			}
		}
		return nil
	})
}
