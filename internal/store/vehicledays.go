package store

import (
	"context"
	"fmt"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Upkeeps returns what is in the calendars of vehicles, of all that sc sees
// when ids is nil: absences and planned visits that end on or after from, and
// the last change of brake fluid. Vehicles with nothing are left out.
func (db *DB) Upkeeps(ctx context.Context, sc auth.Scope, ids []int64, from fleet.Date) (ups map[int64]*fleet.Upkeep, err error) {
	ups = map[int64]*fleet.Upkeep{}
	if ids != nil && len(ids) == 0 {
		return ups, nil
	}
	of := func(id int64) *fleet.Upkeep {
		if ups[id] == nil {
			ups[id] = &fleet.Upkeep{}
		}
		return ups[id]
	}
	err = db.read(ctx, "read vehicles' calendars", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		if ids != nil {
			w.add("v.id in "+places(len(ids)), anys(ids)...)
		}
		ask := func(more string, args ...any) where {
			q := where{append([]string{}, w.conds...), append([]any{}, w.args...)}
			if more != "" {
				q.add(more, args...)
			}
			return q
		}
		q := ask("(a.last_day is null or a.last_day >= ?)", from)
		err := t.each(func(r *sqlx.Rows) error {
			var a fleet.Absence
			err := r.Scan(&a.ID, &a.VehicleID, &a.First, &a.Last, &a.Weekdays, &a.Reason)
			u := of(a.VehicleID)
			u.Absences = append(u.Absences, a)
			return err
		}, `
			select a.id, a.vehicle_id, a.first_day, a.last_day, a.weekdays, a.reason
			from absences a
			join vehicles v on v.id = a.vehicle_id`+q.String()+`
			order by a.vehicle_id, a.id`, q.args...)
		if err != nil {
			return err
		}
		q = ask("p.day >= ?", from)
		err = t.each(func(r *sqlx.Rows) error {
			var p fleet.PlannedVisit
			var depot *int64
			var name *string
			err := r.Scan(&p.ID, &p.VehicleID, &depot, &name, &p.Day, &p.What)
			if depot != nil {
				p.DepotID, p.Depot = *depot, *name
			}
			u := of(p.VehicleID)
			u.Visits = append(u.Visits, p)
			return err
		}, `
			select p.id, p.vehicle_id, p.depot_id, d.name, p.day, p.what
			from planned_visits p
			join vehicles v on v.id = p.vehicle_id
			left join depots d on d.id = p.depot_id`+q.String()+`
			order by p.vehicle_id, p.day, p.id`, q.args...)
		if err != nil {
			return err
		}
		q = ask("")
		return t.each(func(r *sqlx.Rows) error {
			var id int64
			var day fleet.Date
			err := r.Scan(&id, &day)
			of(id).FluidChanged = &day
			return err
		}, `
			select c.vehicle_id, c.day
			from fluid_changes c
			join vehicles v on v.id = c.vehicle_id`+q.String(), q.args...)
	})
	return ups, err
}

// AddAbsence adds days on which vehicles cannot be spared, all or none; those
// that are there already change nothing.
func (db *DB) AddAbsence(ctx context.Context, sc auth.Scope, as ...fleet.Absence) error {
	for i := range as {
		if err := as[i].Validate(); err != nil {
			return err
		}
	}
	return db.write(ctx, "keep an absence", func(t *tx) error {
		for i := range as {
			if err := t.addAbsence(sc, &as[i]); err != nil {
				return ofSeveral(i, len(as), err)
			}
		}
		return nil
	})
}

func (t *tx) addAbsence(sc auth.Scope, a *fleet.Absence) error {
	for _, d := range []*fleet.Date{a.First, a.Last} {
		if d == nil {
			continue
		}
		if err := t.likely("day", *d); err != nil {
			return err
		}
	}
	fleetID, depotID, err := t.vehicleIn(sc, a.VehicleID)
	if err != nil {
		return err
	}
	added, err := t.insertAbsence(fleetID, a)
	if err != nil {
		return err
	}
	if !added {
		t.unchanged()
		return nil
	}
	return t.log(entry{act: "absence added", record: "vehicle", id: a.VehicleID, fleet: fleetID, depot: depotID, detail: a.Reason})
}

// insertAbsence adds an absence that is not there yet.
func (t *tx) insertAbsence(fleetID int64, a *fleet.Absence) (added bool, err error) {
	n, err := t.count(`
		insert into absences (fleet_id, vehicle_id, first_day, last_day, weekdays, reason)
		values (?, ?, ?, ?, ?, ?)
		on conflict do nothing`, fleetID, a.VehicleID, a.First, a.Last, int(a.Weekdays), storableOf(a.Reason))
	return n > 0, err
}

// AddPlannedVisit adds days on which vehicles come in anyway, all or none;
// those that are there already change nothing.
func (db *DB) AddPlannedVisit(ctx context.Context, sc auth.Scope, vs ...fleet.PlannedVisit) error {
	for i := range vs {
		if err := vs[i].Validate(); err != nil {
			return err
		}
	}
	return db.write(ctx, "keep a planned visit", func(t *tx) error {
		for i := range vs {
			if err := t.addPlannedVisit(sc, &vs[i]); err != nil {
				return ofSeveral(i, len(vs), err)
			}
		}
		return nil
	})
}

func (t *tx) addPlannedVisit(sc auth.Scope, v *fleet.PlannedVisit) error {
	if err := t.likely("day", v.Day); err != nil {
		return err
	}
	fleetID, home, err := t.vehicleIn(sc, v.VehicleID)
	if err != nil {
		return err
	}
	var depot *int64
	if v.DepotID != 0 {
		of, err := t.depotIn(sc, v.DepotID)
		if err != nil {
			return err
		}
		if of != fleetID {
			return fleet.Invalidf("depot: it belongs to another fleet than the vehicle")
		}
		depot = &v.DepotID
	}
	n, err := t.count(`
		insert into planned_visits (fleet_id, vehicle_id, depot_id, day, what)
		values (?, ?, ?, ?, ?)
		on conflict do nothing`, fleetID, v.VehicleID, depot, v.Day, storableOf(v.What))
	if err != nil {
		return err
	}
	if n == 0 {
		t.unchanged()
		return nil
	}
	return t.log(entry{act: "planned visit added", record: "vehicle", id: v.VehicleID, fleet: fleetID, depot: home, detail: v.Day.String() + ", " + v.What})
}

// DropAbsence takes an absence of a vehicle back.
func (db *DB) DropAbsence(ctx context.Context, sc auth.Scope, vehicleID, id int64) error {
	return db.dropOfVehicle(ctx, sc, "absences", "absence", vehicleID, id)
}

// DropPlannedVisit takes a planned visit of a vehicle back.
func (db *DB) DropPlannedVisit(ctx context.Context, sc auth.Scope, vehicleID, id int64) error {
	return db.dropOfVehicle(ctx, sc, "planned_visits", "planned visit", vehicleID, id)
}

func (db *DB) dropOfVehicle(ctx context.Context, sc auth.Scope, table, what string, vehicleID, id int64) error {
	return db.write(ctx, "drop a "+what, func(t *tx) error {
		fleetID, depotID, err := t.vehicleIn(sc, vehicleID)
		if err != nil {
			return err
		}
		n, err := t.count(`delete from `+table+` where id = ? and vehicle_id = ?`, id, vehicleID)
		if err == nil && n == 0 {
			err = fleet.NotFoundf("%s %d: there is none", what, id)
		}
		if err != nil {
			return err
		}
		return t.log(entry{act: what + " dropped", record: "vehicle", id: vehicleID, fleet: fleetID, depot: depotID})
	})
}

// SetFluidChange keeps the day of a vehicle's last change of brake fluid; nil
// forgets it.
func (db *DB) SetFluidChange(ctx context.Context, sc auth.Scope, vehicleID int64, day *fleet.Date) error {
	return db.write(ctx, "keep a change of fluid", func(t *tx) error {
		fleetID, depotID, err := t.vehicleIn(sc, vehicleID)
		if err != nil {
			return err
		}
		e := entry{act: "brake fluid's change set", record: "vehicle", id: vehicleID, fleet: fleetID, depot: depotID}
		if day == nil {
			_, err = t.exec(`delete from fluid_changes where vehicle_id = ?`, vehicleID)
			e.act = "brake fluid's change dropped"
		} else {
			err = t.setFluidChange(fleetID, vehicleID, *day)
			e.detail = day.String()
		}
		if err != nil {
			return err
		}
		return t.log(e)
	})
}

func (t *tx) setFluidChange(fleetID, vehicleID int64, day fleet.Date) error {
	_, err := t.exec(`
		insert into fluid_changes (fleet_id, vehicle_id, day)
		values (?, ?, ?)
		on conflict (vehicle_id) do update set day = excluded.day`, fleetID, vehicleID, day)
	return err
}

// ofSeveral says which entry of a list err is about.
func ofSeveral(i, n int, err error) error {
	if n < 2 {
		return err
	}
	return fmt.Errorf("%d of %d: %w", i+1, n, err)
}

// likely refuses a day that is so far ahead that its year must be a slip.
func (t *tx) likely(what string, d fleet.Date) error {
	if today := fleet.DateOf(t.db.now()); d > today+fleet.MaxAhead {
		return fleet.Invalidf("%s %s: it is more than five years ahead: correct the year", what, d.Written())
	}
	return nil
}
