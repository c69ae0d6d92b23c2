package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// StepPlans returns the steps of every section as a fleet keeps them now, or the
// program's own as version 0.
func (db *DB) StepPlans(ctx context.Context, sc auth.Scope, fleetID int64) (plans map[fleet.Section]fleet.StepPlan, err error) {
	err = db.read(ctx, "read the steps of job cards", func(t *tx) error {
		if err := t.fleetIn(sc, fleetID); err != nil {
			return err
		}
		plans, err = t.stepPlans(fleetID)
		return err
	})
	return plans, err
}

func (t *tx) stepPlans(fleetID int64) (map[fleet.Section]fleet.StepPlan, error) {
	plans := map[fleet.Section]fleet.StepPlan{}
	for _, s := range fleet.Sections {
		plans[s] = fleet.StepPlan{FleetID: fleetID, Section: s, Steps: fleet.DefaultSteps(s)}
	}
	err := t.each(func(r *sqlx.Rows) error {
		p := fleet.StepPlan{FleetID: fleetID}
		var steps []byte
		if err := r.Scan(&p.Section, &p.Version, &steps, &p.By, (*instant)(&p.At)); err != nil {
			return err
		}
		if err := json.Unmarshal(steps, &p.Steps); err != nil {
			return fmt.Errorf("steps of section %s, version %d: %w", p.Section, p.Version, err)
		}
		plans[p.Section] = p // the highest version comes last
		return nil
	}, `
		select section, version, steps, made_by, made_at
		from step_plans
		where fleet_id = ?
		order by section, version`, fleetID)
	return plans, err
}

// SaveStepPlan keeps the next version of a section's steps. p.Version is the one
// that was edited: when somebody else has kept another since, it is
// fleet.ErrConflict. The steps are those of every depot, so sc must see the whole
// fleet.
func (db *DB) SaveStepPlan(ctx context.Context, sc auth.Scope, by string, p fleet.StepPlan) (version int, err error) {
	if err := fleet.ValidateSteps(p.Steps); err != nil {
		return 0, err
	}
	steps, err := json.Marshal(p.Steps)
	if err != nil {
		return 0, err
	}
	err = db.write(ctx, "keep the steps of job cards", func(t *tx) error {
		if err := t.wholeFleet(sc, p.FleetID); err != nil {
			return err
		}
		plans, err := t.stepPlans(p.FleetID)
		if err != nil {
			return err
		}
		now, ok := plans[p.Section]
		if !ok {
			return fleet.Invalidf("section %q: want one of %s", p.Section, fleet.OneOf(fleet.Sections))
		}
		if now.Version != p.Version {
			return fleet.Conflictf("the steps were changed by %s meanwhile, to version %d: look at them and change them again", now.By, now.Version)
		}
		version = p.Version + 1
		_, err = t.exec(`
			insert into step_plans (fleet_id, section, version, steps, made_by, made_at)
			values (?, ?, ?, ?, ?, ?)`,
			p.FleetID, string(p.Section), version, storableOf(string(steps)), storableOf(by), instant(t.db.now()))
		if err != nil {
			return err
		}
		return t.log(entry{act: "card steps changed", record: "fleet", id: p.FleetID, fleet: p.FleetID, by: by, detail: fmt.Sprintf("%s, version %d", p.Section, version)})
	})
	return version, err
}

// fleetIn returns fleet.ErrNotFound when sc does not see any of a fleet.
func (t *tx) fleetIn(sc auth.Scope, fleetID int64) error {
	var w where
	w.add("d.fleet_id = ?", fleetID)
	w.places(sc, "d.fleet_id", "d.id")
	var one int
	err := t.one([]any{&one}, `select 1 from depots d`+w.String()+` limit 1`, w.args...)
	if errors.Is(err, errNoRows) {
		return fleet.NotFoundf("fleet %d: there is none, or none that you may see", fleetID)
	}
	return err
}

// MakersValues returns the makers' check values that a fleet keeps.
func (db *DB) MakersValues(ctx context.Context, sc auth.Scope, fleetID int64) (vs []fleet.MakersValue, err error) {
	err = db.read(ctx, "read makers' values", func(t *tx) error {
		if err := t.fleetIn(sc, fleetID); err != nil {
			return err
		}
		var w where
		w.add("fleet_id = ?", fleetID)
		vs, err = t.makersValues(w)
		return err
	})
	return vs, err
}

func (t *tx) makersValues(w where) (vs []fleet.MakersValue, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var v fleet.MakersValue
		err := r.Scan(&v.FleetID, &v.Make, &v.Model, &v.Axle, &v.Measure, &v.Low, &v.High, &v.Unit, &v.Source)
		vs = append(vs, v)
		return err
	}, `
		select fleet_id, make, model, axle, measure, low, high, unit, source
		from makers_values`+w.String()+`
		order by measure, make, model, axle`, w.args...)
	return vs, err
}

// SaveMakersValue keeps a maker's check value in the place of the one for the same
// vehicles, axle and measure. It holds in every depot, so sc must see the whole
// fleet.
func (db *DB) SaveMakersValue(ctx context.Context, sc auth.Scope, by string, v fleet.MakersValue) error {
	switch {
	case v.Measure == "":
		return fleet.Invalidf("measure: say which, such as wheel nuts")
	case v.Low == nil && v.High == nil:
		return fleet.Invalidf("%s: want a least or a most value", v.Measure)
	case v.Low != nil && v.High != nil && *v.Low > *v.High:
		return fleet.Invalidf("%s: the least, %g, is above the most, %g", v.Measure, *v.Low, *v.High)
	case v.Axle < 0 || v.Axle > fleet.MaxAxle:
		return fleet.Invalidf("axle %d: want 1 (front) to %d, or 0 for any", v.Axle, fleet.MaxAxle)
	}
	return db.write(ctx, "keep a maker's value", func(t *tx) error {
		if err := t.wholeFleet(sc, v.FleetID); err != nil {
			return err
		}
		_, err := t.exec(`
			insert into makers_values (fleet_id, make, model, axle, measure, low, high, unit, source, changed_by, changed_at)
			values `+places(11)+`
			on conflict (fleet_id, make, model, axle, measure) do update set
				low = excluded.low, high = excluded.high, unit = excluded.unit, source = excluded.source,
				changed_by = excluded.changed_by, changed_at = excluded.changed_at`,
			v.FleetID, storableOf(v.Make), storableOf(v.Model), v.Axle, storableOf(v.Measure), v.Low, v.High,
			storableOf(v.Unit), storableOf(v.Source), storableOf(by), instant(t.db.now()))
		if err != nil {
			return err
		}
		return t.log(entry{act: "maker's value set", record: "fleet", id: v.FleetID, fleet: v.FleetID, by: by, detail: v.Measure})
	})
}
