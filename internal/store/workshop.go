package store

import (
	"context"
	"errors"
	"reflect"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// depotIn returns the fleet of a depot, or fleet.ErrNotFound when sc does not
// see it.
func (t *tx) depotIn(sc auth.Scope, depotID int64) (fleetID int64, err error) {
	var w where
	w.add("d.id = ?", depotID)
	w.places(sc, "d.fleet_id", "d.id")
	err = t.one([]any{&fleetID}, `select d.fleet_id from depots d`+w.String(), w.args...)
	if errors.Is(err, errNoRows) {
		err = fleet.NotFoundf("depot %d: there is none, or none that you may see", depotID)
	}
	return fleetID, err
}

// vehicleIn returns the fleet and home depot of a vehicle, or
// fleet.ErrNotFound when sc does not see it.
func (t *tx) vehicleIn(sc auth.Scope, vehicleID int64) (fleetID, depotID int64, err error) {
	var w where
	w.add("v.id = ?", vehicleID)
	w.scope(sc, "v")
	err = t.one([]any{&fleetID, &depotID}, `select v.fleet_id, v.depot_id from vehicles v`+w.String(), w.args...)
	if errors.Is(err, errNoRows) {
		err = noVehicle(vehicleID)
	}
	return fleetID, depotID, err
}

// DepotWorkshop is a depot with its workshop and the closures of the days
// asked for.
type DepotWorkshop struct {
	fleet.Depot
	Fleet    string
	Workshop fleet.Workshop
	Closures []fleet.Closure // by first day
}

// Day returns what the workshop has on a day.
func (w *DepotWorkshop) Day(d fleet.Date) fleet.WorkDay { return w.Workshop.Day(d, w.Closures) }

// Workshops returns the depots by name, each with its workshop (the defaults
// where nobody has set it) and its closures from a day on.
func (db *DB) Workshops(ctx context.Context, sc auth.Scope, from fleet.Date) (ws []DepotWorkshop, err error) {
	err = db.read(ctx, "list workshops", func(t *tx) error {
		var w where
		w.places(sc, "d.fleet_id", "d.id")
		ws, err = t.workshops(w, from)
		return err
	})
	return ws, err
}

// Workshop returns one depot's workshop.
func (db *DB) Workshop(ctx context.Context, sc auth.Scope, depotID int64, from fleet.Date) (w DepotWorkshop, err error) {
	err = db.read(ctx, "read a workshop", func(t *tx) error {
		if _, err := t.depotIn(sc, depotID); err != nil {
			return err
		}
		w, err = t.workshop(depotID, from)
		return err
	})
	return w, err
}

func (t *tx) workshop(depotID int64, from fleet.Date) (DepotWorkshop, error) {
	var w where
	w.add("d.id = ?", depotID)
	ws, err := t.workshops(w, from)
	if err != nil || len(ws) == 0 {
		return DepotWorkshop{}, err
	}
	return ws[0], nil
}

// workshops returns the workshops of the depots d that w admits.
func (t *tx) workshops(w where, from fleet.Date) (ws []DepotWorkshop, err error) {
	at := map[int64]int{}
	err = t.each(func(r *sqlx.Rows) error {
		d := DepotWorkshop{Workshop: fleet.DefaultWorkshop()}
		s := &d.Workshop
		var bays, fluid *int
		var currency *string
		amounts := []*float64{&s.Overtime, &s.LabourRate, &s.OvertimeRate, &s.VisitCost, &s.SetLight, &s.SetHeavy, &s.PastLight, &s.PastHeavy}
		found := make([]*float64, len(amounts))
		dest := []any{&d.ID, &d.FleetID, &d.Name, &d.TimeZone, &d.Fleet, &bays, &currency, &fluid}
		for i := range found {
			dest = append(dest, &found[i])
		}
		if err := r.Scan(dest...); err != nil {
			return err
		}
		s.FleetID, s.DepotID = d.FleetID, d.ID
		if bays != nil { // else nobody has set it
			s.Set, s.Bays, s.Currency, s.FluidMonths = true, *bays, *currency, *fluid
			for i, x := range found {
				*amounts[i] = *x
			}
		}
		at[d.ID] = len(ws)
		ws = append(ws, d)
		return nil
	}, `
		select
			d.id,
			d.fleet_id,
			d.name,
			d.time_zone,
			f.name,
			s.bays,
			s.currency,
			s.fluid_months,
			s.overtime,
			s.labour_rate,
			s.overtime_rate,
			s.visit_cost,
			s.set_light,
			s.set_heavy,
			s.past_light,
			s.past_heavy
		from depots d
		join fleets f on f.id = d.fleet_id
		left join workshops s on s.depot_id = d.id`+w.String()+`
		order by d.name_key, d.id`, w.args...)
	if err != nil || len(ws) == 0 {
		return ws, err
	}
	among := ` where depot_id in (select d.id from depots d` + w.String() + `)`
	err = t.each(func(r *sqlx.Rows) error {
		var depot int64
		var weekday int
		var d fleet.WorkDay
		err := r.Scan(&depot, &weekday, &d.Opens, &d.Closes, &d.Technicians)
		if err == nil {
			ws[at[depot]].Workshop.Week[weekday] = d
		}
		return err
	}, `select depot_id, weekday, opens, closes, technicians from workshop_days`+among, w.args...)
	if err != nil {
		return nil, err
	}
	err = t.each(func(r *sqlx.Rows) error {
		var depot int64
		var task fleet.Task
		var h fleet.TaskHours
		err := r.Scan(&depot, &task, &h.Light, &h.Heavy)
		if err == nil {
			ws[at[depot]].Workshop.Hours[task] = h
		}
		return err
	}, `select depot_id, task, light, heavy from workshop_hours`+among, w.args...)
	if err != nil {
		return nil, err
	}
	err = t.each(func(r *sqlx.Rows) error {
		var c fleet.Closure
		err := r.Scan(&c.ID, &c.DepotID, &c.First, &c.Last, &c.Technicians, &c.Reason)
		if err == nil {
			d := &ws[at[c.DepotID]]
			d.Closures = append(d.Closures, c)
		}
		return err
	}, `
		select id, depot_id, first_day, last_day, technicians, reason
		from closures`+among+` and last_day >= ?
		order by first_day, id`, append(append([]any{}, w.args...), from)...)
	return ws, err
}

// SaveWorkshop sets a depot's workshop.
func (db *DB) SaveWorkshop(ctx context.Context, sc auth.Scope, by string, s fleet.Workshop) error {
	return db.SaveWorkshopAt(ctx, sc, by, s, "")
}

// SaveWorkshopAt sets a depot's workshop and the zone of its clock; a blank zone
// stays as it is.
func (db *DB) SaveWorkshopAt(ctx context.Context, sc auth.Scope, by string, s fleet.Workshop, zone string) error {
	return db.ChangeWorkshop(ctx, sc, by, nil, s, zone)
}

// ChangeWorkshop is SaveWorkshopAt where the workshop was old when it was changed, and
// must be that still, but for its closures (nil = whatever it is).
func (db *DB) ChangeWorkshop(ctx context.Context, sc auth.Scope, by string, old *DepotWorkshop, s fleet.Workshop, zone string) error {
	if err := s.Validate(); err != nil {
		return err
	}
	return db.write(ctx, "keep a workshop", func(t *tx) error {
		fleetID, err := t.depotIn(sc, s.DepotID)
		if err != nil {
			return err
		}
		// Its depot is held: the workshop's row may not be there yet.
		var id int64
		if err := t.one([]any{&id}, `select id from depots where id = ?`+t.locking("for no key update"), s.DepotID); err != nil {
			return err
		}
		if old != nil {
			now, err := t.workshop(s.DepotID, never)
			if err != nil {
				return err
			}
			if now.TimeZone != old.TimeZone || !reflect.DeepEqual(now.Workshop, old.Workshop) {
				return ErrMeanwhile
			}
		}
		if zone != "" {
			if err := t.setTimeZone(fleetID, s.DepotID, zone); err != nil {
				return err
			}
		}
		columns := []string{"depot_id", "fleet_id", "bays", "overtime", "currency", "labour_rate", "overtime_rate", "visit_cost",
			"set_light", "set_heavy", "past_light", "past_heavy", "fluid_months", "changed_by", "changed_at"}
		var set []string
		for _, c := range columns[2:] {
			set = append(set, c+" = excluded."+c)
		}
		_, err = t.exec(`
			insert into workshops (`+strings.Join(columns, ", ")+`)
			values `+places(len(columns))+`
			on conflict (depot_id) do update set `+strings.Join(set, ", "),
			s.DepotID, fleetID, s.Bays, s.Overtime, storableOf(s.Currency), s.LabourRate, s.OvertimeRate, s.VisitCost,
			s.SetLight, s.SetHeavy, s.PastLight, s.PastHeavy, s.FluidMonths, storableOf(by), instant(db.now()))
		if err != nil {
			return err
		}
		if err := t.log(entry{act: actChanged, record: "workshop", id: s.DepotID, fleet: fleetID, depot: s.DepotID, by: by}); err != nil {
			return err
		}
		for i, d := range s.Week {
			_, err := t.exec(`
				insert into workshop_days (depot_id, weekday, opens, closes, technicians)
				values (?, ?, ?, ?, ?)
				on conflict (depot_id, weekday) do update set
					opens = excluded.opens,
					closes = excluded.closes,
					technicians = excluded.technicians`, s.DepotID, i, int(d.Opens), int(d.Closes), d.Technicians)
			if err != nil {
				return err
			}
		}
		for _, task := range fleet.Tasks {
			h := s.Hours[task]
			_, err := t.exec(`
				insert into workshop_hours (depot_id, task, light, heavy)
				values (?, ?, ?, ?)
				on conflict (depot_id, task) do update set
					light = excluded.light,
					heavy = excluded.heavy`, s.DepotID, string(task), h.Light, h.Heavy)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// SetTimeZone sets the zone, an IANA name, of a depot's clock.
func (db *DB) SetTimeZone(ctx context.Context, sc auth.Scope, depotID int64, zone string) error {
	return db.write(ctx, "set a depot's time zone", func(t *tx) error {
		fleetID, err := t.depotIn(sc, depotID)
		if err != nil {
			return err
		}
		return t.setTimeZone(fleetID, depotID, zone)
	})
}

func (t *tx) setTimeZone(fleetID, depotID int64, zone string) error {
	if err := fleet.ValidTimeZone(zone); err != nil {
		return err
	}
	if n, err := t.count(`update depots set time_zone = ? where id = ? and time_zone <> ?`, zone, depotID, zone); err != nil || n == 0 {
		t.unchanged()
		return err
	}
	return t.log(entry{act: actZone, record: "workshop", id: depotID, fleet: fleetID, depot: depotID, detail: zone})
}

// AddClosures adds days on which workshops are closed or short of hands; one
// that is there already is left alone.
func (db *DB) AddClosures(ctx context.Context, sc auth.Scope, cs []fleet.Closure) error {
	for i := range cs {
		if err := cs[i].Validate(); err != nil {
			return err
		}
	}
	return db.write(ctx, "keep closures", func(t *tx) error {
		t.unchanged()
		for i, c := range cs {
			if err := t.likely("last day", c.Last); err != nil {
				return ofSeveral(i, len(cs), err)
			}
			fleetID, err := t.depotIn(sc, c.DepotID)
			if err != nil {
				return err
			}
			added, err := t.insertClosure(fleetID, &c)
			if err == nil && added {
				err = t.log(entry{act: "closure added", record: "workshop", id: c.DepotID, fleet: fleetID, depot: c.DepotID, detail: strings.TrimSuffix(c.First.String()+" to "+c.Last.String()+", "+c.Reason, ", ")})
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// insertClosure adds a closure that is not there yet.
func (t *tx) insertClosure(fleetID int64, c *fleet.Closure) (added bool, err error) {
	n, err := t.count(`
		insert into closures (fleet_id, depot_id, first_day, last_day, technicians, reason)
		values (?, ?, ?, ?, ?, ?)
		on conflict do nothing`, fleetID, c.DepotID, c.First, c.Last, c.Technicians, storableOf(c.Reason))
	return n > 0, err
}

// DropClosure takes a closure back.
func (db *DB) DropClosure(ctx context.Context, sc auth.Scope, depotID, id int64) error {
	return db.write(ctx, "drop a closure", func(t *tx) error {
		fleetID, err := t.depotIn(sc, depotID)
		if err != nil {
			return err
		}
		n, err := t.count(`delete from closures where id = ? and depot_id = ?`, id, depotID)
		if err == nil && n == 0 {
			err = fleet.NotFoundf("closure %d: there is none", id)
		}
		if err != nil {
			return err
		}
		return t.log(entry{act: "closure dropped", record: "workshop", id: depotID, fleet: fleetID, depot: depotID})
	})
}
