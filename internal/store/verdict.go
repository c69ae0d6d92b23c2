package store

import (
	"context"
	"maps"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// SaveVerdicts keeps what is said of brake tests, by the tests' ids: of the same
// Number what was said first stays. At is the time of storing.
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
			var fleetID, depotID int64
			err := t.each(func(r *sqlx.Rows) error {
				found = true
				return r.Scan(&fleetID, &depotID)
			}, `
				select b.fleet_id, v.depot_id
				from brake_tests b
				join vehicles v on v.id = b.vehicle_id`+w.String(), w.args...)
			if err != nil {
				return err
			}
			if !found {
				return fleet.NotFoundf("brake test %d: there is none, or none that you may see", id)
			}
			if s.Number == 0 {
				_, err = t.exec(`
					insert into brake_test_verdicts (test_id, fleet_id, rule_set, verdict, judgement, facts, judged_at)
					values (?, ?, ?, ?, ?, nullif(CAST(? AS text), ''), ?)
					on conflict (test_id) do nothing`, id, fleetID, s.RuleSet, s.Verdict, string(s.Judgement), s.Facts, instant(db.now()))
				if err != nil {
					return err
				}
				continue
			}
			n, err := t.count(`
				insert into brake_test_rejudgements (test_id, number, fleet_id, rule_set, verdict, judgement, facts, why, judged_at)
				values (?, ?, ?, ?, ?, ?, ?, ?, ?)
				on conflict (test_id, number) do nothing`,
				id, s.Number, fleetID, s.RuleSet, s.Verdict, string(s.Judgement), s.Facts, storableOf(s.Why), instant(db.now()))
			if err != nil {
				return err
			}
			if n == 0 {
				continue // another process has followed the same correction
			}
			err = t.log(entry{act: "judged anew", record: string(fleet.BrakeTestRecord), id: id, fleet: fleetID, depot: depotID, detail: s.Verdict + ": " + s.Why})
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// Verdicts returns all that was said of the brake tests of a vehicle, by the
// tests' ids, each from first to last.
func (db *DB) Verdicts(ctx context.Context, sc auth.Scope, vehicleID int64) (said map[int64][]fleet.Said, err error) {
	said = map[int64][]fleet.Said{}
	err = db.read(ctx, "read verdicts", func(t *tx) error {
		if err := t.sees(sc, vehicleID); err != nil {
			return err
		}
		return t.each(func(r *sqlx.Rows) error {
			var id int64
			var s fleet.Said
			var judgement string
			err := r.Scan(&id, &s.Number, &s.RuleSet, &s.Verdict, &judgement, &s.Facts, &s.Why, (*instant)(&s.At))
			s.Judgement = []byte(judgement)
			said[id] = append(said[id], s)
			return err
		}, `
			select j.test_id, 0 as number, j.rule_set, j.verdict, j.judgement, coalesce(j.facts, '') as facts, '' as why, j.judged_at
			from brake_tests b
			join brake_test_verdicts j on j.test_id = b.id
			where b.vehicle_id = ?
			union all
			select k.test_id, k.number, k.rule_set, k.verdict, k.judgement, k.facts, k.why, k.judged_at
			from brake_tests b
			join brake_test_rejudgements k on k.test_id = b.id
			where b.vehicle_id = ?
			order by test_id, number`, vehicleID, vehicleID)
	})
	return said, err
}
