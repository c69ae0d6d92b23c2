package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// RuleChoice is a rule set picked for a fleet.
type RuleChoice struct {
	FleetID int64
	RuleSet string // id; blank = none
	fleet.Reason
	At time.Time
}

// PickRules gives a fleet a rule set, whose id the caller has checked. A blank
// reason is taken: a first choice explains itself.
func (db *DB) PickRules(ctx context.Context, sc auth.Scope, c RuleChoice) error {
	if err := signed(&c.Reason); err != nil {
		return err
	}
	return db.write(ctx, "pick a rule set", func(t *tx) error {
		if err := t.wholeFleet(sc, c.FleetID); err != nil {
			return err
		}
		if _, err := t.exec(`update fleets set rule_set = ? where id = ?`, c.RuleSet, c.FleetID); err != nil {
			return err
		}
		_, err := t.exec(`
			insert into rule_set_choices (fleet_id, rule_set, why, done_by, done_at)
			values (?, ?, ?, ?, ?)`, c.FleetID, c.RuleSet, c.Why, c.By, instant(db.now()))
		if err != nil {
			return err
		}
		return t.log(entry{act: "rule set picked", record: "fleet", id: c.FleetID, fleet: c.FleetID, by: c.By, detail: c.RuleSet})
	})
}

// signed is Reason.Validate for what needs a name but no why.
func signed(r *fleet.Reason) error {
	given := r.Why
	if given == "" {
		r.Why = "-"
	}
	err := r.Validate()
	if given == "" {
		r.Why = ""
	}
	if err == nil && !(storable(r.Why) && storable(r.By)) {
		err = fleet.Invalidf("reason and name: they hold bytes that are no text; send them as UTF-8")
	}
	return err
}

// wholeFleet is an error unless there is such a fleet and sc sees all of it.
func (t *tx) wholeFleet(sc auth.Scope, id int64) error {
	var n int
	if err := t.one([]any{&n}, `select count(*) from fleets where id = ?`, id); err != nil {
		return err
	}
	if n == 0 || !sc.All() && !slices.Contains(sc.Fleets(), id) {
		return fleet.NotFoundf("fleet %d: there is none, or none that you may change", id)
	}
	return nil
}

// partOfFleet is an error unless there is such a fleet and sc sees a depot of it.
func (t *tx) partOfFleet(sc auth.Scope, id int64) error {
	var w where
	w.places(sc, "f.id", "d.id")
	w.add("f.id = ?", id)
	var n int
	err := t.one([]any{&n}, `select count(*) from fleets f left join depots d on d.fleet_id = f.id`+w.String(), w.args...)
	if err == nil && n == 0 {
		err = fleet.NotFoundf("fleet %d: there is none, or none that you may see", id)
	}
	return err
}

// RuleChoices returns the rule sets that a fleet was given, newest first; whoever
// sees a depot of it goes by them.
func (db *DB) RuleChoices(ctx context.Context, sc auth.Scope, fleetID int64) (cs []RuleChoice, err error) {
	err = db.read(ctx, "list rule sets picked", func(t *tx) error {
		if err := t.partOfFleet(sc, fleetID); err != nil {
			return err
		}
		return t.each(func(r *sqlx.Rows) error {
			var c RuleChoice
			err := r.Scan(&c.FleetID, &c.RuleSet, &c.Why, &c.By, (*instant)(&c.At))
			cs = append(cs, c)
			return err
		}, `
			select fleet_id, rule_set, why, done_by, done_at
			from rule_set_choices
			where fleet_id = ?
			order by id desc`, fleetID)
	})
	return cs, err
}

// OwnThreshold is a workshop's threshold in the place of a published value.
type OwnThreshold struct {
	FleetID int64
	ValueID string
	X       *float64 // nil = the published value again
	fleet.Reason
	At time.Time
}

// SetThreshold puts a threshold in the place of a published value, whose id
// the caller has checked. It needs a reason.
func (db *DB) SetThreshold(ctx context.Context, sc auth.Scope, o OwnThreshold) error {
	if err := o.Reason.Validate(); err != nil {
		return err
	}
	if err := signed(&o.Reason); err != nil {
		return err
	}
	return db.write(ctx, "set a threshold", func(t *tx) error {
		if err := t.wholeFleet(sc, o.FleetID); err != nil {
			return err
		}
		_, err := t.exec(`
			insert into own_thresholds (fleet_id, value_id, x, why, done_by, done_at)
			values (?, ?, ?, ?, ?, ?)`, o.FleetID, o.ValueID, o.X, o.Why, o.By, instant(db.now()))
		if err != nil {
			return err
		}
		e := entry{act: "threshold set", record: "fleet", id: o.FleetID, fleet: o.FleetID, by: o.By, detail: o.ValueID}
		if o.X == nil {
			e.act = "threshold taken back"
		} else {
			e.detail += fmt.Sprintf(": %g", *o.X)
		}
		return t.log(e)
	})
}

// OwnThresholds returns a fleet's thresholds in the place of published values,
// the last of each; those that were taken back have no X.
func (db *DB) OwnThresholds(ctx context.Context, sc auth.Scope, fleetID int64) (os []OwnThreshold, err error) {
	err = db.find(ctx, "list thresholds", func(t *tx) error {
		// Who sees one vehicle of the fleet has findings by them.
		var w where
		w.places(sc, "o.fleet_id", "d.id")
		w.add("o.id in (select max(id) from own_thresholds where fleet_id = ? group by value_id)", fleetID)
		return t.each(func(r *sqlx.Rows) error {
			var o OwnThreshold
			err := r.Scan(&o.FleetID, &o.ValueID, &o.X, &o.Why, &o.By, (*instant)(&o.At))
			os = append(os, o)
			return err
		}, `
			select distinct o.fleet_id, o.value_id, o.x, o.why, o.done_by, o.done_at
			from own_thresholds o
			left join depots d on d.fleet_id = o.fleet_id`+w.String()+`
			order by o.value_id`, w.args...)
	})
	return os, err
}

// SetAxleLimit keeps a workshop's own limit of a part of an axle; 0 mm
// withdraws it. Whether it needs a reason the caller has checked.
func (db *DB) SetAxleLimit(ctx context.Context, sc auth.Scope, l fleet.AxleLimit) error {
	if err := signed(&l.Reason); err != nil {
		return err
	}
	return db.write(ctx, "set an axle's limit", func(t *tx) error {
		if err := t.sees(sc, l.VehicleID); err != nil {
			return err
		}
		if err := t.fits(l.VehicleID, fleet.Position{Axle: l.Axle, Part: l.Part}); err != nil {
			return err
		}
		var fleetID, depotID int64
		if err := t.one([]any{&fleetID, &depotID}, `select fleet_id, depot_id from vehicles where id = ?`, l.VehicleID); err != nil {
			return err
		}
		var mm any
		if l.MM != 0 {
			mm = l.MM
		}
		_, err := t.exec(`
			insert into axle_limits (fleet_id, vehicle_id, axle, part, limit_mm, why, done_by, done_at)
			values (?, ?, ?, ?, ?, ?, ?, ?)`,
			fleetID, l.VehicleID, l.Axle, string(l.Part), mm, l.Why, l.By, instant(db.now()))
		if err != nil {
			return err
		}
		e := entry{act: "limit set", record: "vehicle", id: l.VehicleID, fleet: fleetID, depot: depotID, by: l.By,
			detail: fmt.Sprintf("axle %d, %s: %g mm", l.Axle, l.Part, l.MM)}
		if l.MM == 0 {
			e.act, e.detail = "limit taken back", fmt.Sprintf("axle %d, %s", l.Axle, l.Part)
		}
		return t.log(e)
	})
}

// AxleLimits returns every limit that was set for the axles of a vehicle,
// newest first.
func (db *DB) AxleLimits(ctx context.Context, sc auth.Scope, vehicleID int64) (ls []fleet.AxleLimit, err error) {
	err = db.read(ctx, "list axle limits", func(t *tx) error {
		if err := t.sees(sc, vehicleID); err != nil {
			return err
		}
		return t.eachAxleLimit(func(l *fleet.AxleLimit) { ls = append(ls, *l) },
			` where l.vehicle_id = ? order by l.id desc`, vehicleID)
	})
	return ls, err
}

// axleLimits calls fn for the limits l in force that w admits, by vehicle,
// axle and part.
func (t *tx) axleLimits(w where, fn func(l *fleet.AxleLimit)) error {
	w.add(`not exists (
			select 1 from axle_limits n
			where n.vehicle_id = l.vehicle_id and n.axle = l.axle and n.part = l.part and n.id > l.id)`)
	w.add("l.limit_mm is not null")
	return t.eachAxleLimit(fn, w.String()+` order by l.vehicle_id, l.axle, l.part`, w.args...)
}

func (t *tx) eachAxleLimit(fn func(l *fleet.AxleLimit), rest string, args ...any) error {
	return t.each(func(r *sqlx.Rows) error {
		var l fleet.AxleLimit
		if err := r.Scan(&l.VehicleID, &l.Axle, &l.Part, &l.MM, &l.Why, &l.By, (*instant)(&l.At)); err != nil {
			return err // a row half read is no row
		}
		fn(&l)
		return nil
	}, `
		select l.vehicle_id, l.axle, l.part, coalesce(l.limit_mm, 0), l.why, l.done_by, l.done_at
		from axle_limits l`+rest, args...)
}
