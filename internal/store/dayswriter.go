package store

import (
	"fmt"
	"iter"
	"strings"

	"brakewear/internal/fleet"
)

// The days of a file go in together: one statement for each took most of the time
// of a file of many vehicles. Indexes keep the same days from being there twice.
var (
	stagedAbsences = stage{name: "staged_absences", from: "absences",
		columns: []string{"vehicle_id", "first_day", "last_day", "weekdays", "reason"}}
	stagedPlannedVisits = stage{name: "staged_planned_visits", from: "planned_visits",
		columns: []string{"vehicle_id", "depot_id", "day", "what"}}
	stagedClosures = stage{name: "staged_closures", from: "closures",
		columns: []string{"depot_id", "first_day", "last_day", "technicians", "reason"}}
)

// Absences adds the absences of an absences file that are not there yet.
func (w *Writer) Absences(as []fleet.Absence) (c Counts, err error) {
	defer w.end("store absences", &err)
	if len(as) == 0 {
		return c, nil
	}
	if err := enter(w, as, func(a *fleet.Absence) int64 { return a.VehicleID }); err != nil {
		return c, err
	}
	return w.t.once(stagedAbsences, "vehicles", "vehicle_id", len(as), func(yield func([]any) bool) {
		for i := range as {
			a := &as[i]
			if !yield([]any{a.VehicleID, a.First, a.Last, int(a.Weekdays), storableOf(a.Reason)}) {
				return
			}
		}
	})
}

// PlannedVisits adds the visits of a file of planned visits that are not there
// yet. Their depots are of their vehicles' fleets.
func (w *Writer) PlannedVisits(vs []fleet.PlannedVisit) (c Counts, err error) {
	defer w.end("store planned visits", &err)
	if len(vs) == 0 {
		return c, nil
	}
	if err := enter(w, vs, func(v *fleet.PlannedVisit) int64 { return v.VehicleID }); err != nil {
		return c, err
	}
	return w.t.once(stagedPlannedVisits, "vehicles", "vehicle_id", len(vs), func(yield func([]any) bool) {
		for i := range vs {
			v := &vs[i]
			if !yield([]any{v.VehicleID, unlessZero(v.DepotID), v.Day, storableOf(v.What)}) {
				return
			}
		}
	})
}

// Closures adds the closures of an absences file that are not there yet.
func (w *Writer) Closures(cs []fleet.Closure) (c Counts, err error) {
	defer w.end("store closures", &err)
	if len(cs) == 0 {
		return c, nil
	}
	known := map[int64]bool{}
	for i := range cs {
		depotID := cs[i].DepotID
		if known[depotID] {
			continue
		}
		known[depotID] = true
		fleetID, err := w.t.depotIn(w.sc, depotID)
		if err != nil {
			return c, err
		}
		if err := w.place(fleetID, depotID); err != nil {
			return c, err
		}
	}
	return w.t.once(stagedClosures, "depots", "depot_id", len(cs), func(yield func([]any) bool) {
		for i := range cs {
			d := &cs[i]
			if !yield([]any{d.DepotID, d.First, d.Last, d.Technicians, storableOf(d.Reason)}) {
				return
			}
		}
	})
}

// once adds those of n rows that their table does not have yet, each with the fleet
// of its owner, a row of the table owners.
func (t *tx) once(s stage, owners, owner string, n int, rows iter.Seq[[]any]) (c Counts, err error) {
	if err := t.fill(s, rows); err != nil {
		return c, err
	}
	c.Added, err = t.count(fmt.Sprintf(`
		insert into %s (fleet_id, %s)
		select o.fleet_id, s.%s
		from %s s
		join %s o on o.id = s.%s
		where true
		order by s.%s
		on conflict do nothing`,
		s.from, strings.Join(s.columns, ", "), strings.Join(s.columns, ", s."), s.name, owners, owner, strings.Join(s.columns, ", s.")))
	c.Repeated = n - c.Added
	return c, err
}
