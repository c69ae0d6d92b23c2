package store

import (
	"cmp"
	"maps"
	"math/bits"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// The visits of a large file need no stage. What there is of them is looked for
// vehicle by vehicle, which takes a tenth of the searches, and those that are new go
// into their table as readings do, with ids taken beforehand: handing each back to
// the program took the database longer than storing it.

// fewVisits is up to how many visits are looked for one by one, on both databases:
// as many as a server is handed without a table, beyond which a stage would be one.
const fewVisits = fewRows

// span is the days, from first to last, that visits of a vehicle are of.
type span struct {
	vehicle     int64
	first, last fleet.Date
}

// spansOf returns the spans of visits, by vehicle.
func spansOf(visits map[visit]bool) []span {
	of := map[int64]span{}
	for v := range visits {
		s, ok := of[v.vehicle]
		if !ok {
			s = span{v.vehicle, v.day, v.day}
		}
		of[v.vehicle] = span{v.vehicle, min(s.first, v.day), max(s.last, v.day)}
	}
	return slices.SortedFunc(maps.Values(of), func(a, b span) int { return cmp.Compare(a.vehicle, b.vehicle) })
}

// rounded is the power of two from n on. Each number of parameters is a statement of
// its own, of which a connection keeps so many.
func rounded(n int) int { return 1 << bits.Len(uint(n-1)) }

// roundedUp are ids, of which there are some, with the first again until their number is
// rounded.
func roundedUp(ids []int64) []int64 {
	return slices.Concat(ids, slices.Repeat(ids[:1], rounded(len(ids))-len(ids)))
}

// eachIn calls scan for each row that query finds beside spans, which it can name.
// Their number is rounded up by some that nothing is in.
func (t *tx) eachIn(spans []span, scan func(r *sqlx.Rows) error, query string) error {
	first := "(CAST(? AS bigint), CAST(? AS " + t.db.dateType() + "), CAST(? AS " + t.db.dateType() + "))"
	for some := range slices.Chunk(spans, roundVehicles) {
		n := rounded(len(some))
		args := make([]any, 0, 3*n)
		for _, s := range some {
			args = append(args, s.vehicle, s.first, s.last)
		}
		for range n - len(some) {
			args = append(args, 0, fleet.Date(1), fleet.Date(0))
		}
		err := t.each(scan, "with spans (vehicle_id, first_day, last_day) as (values "+
			first+strings.Repeat(", (?, ?, ?)", n-1)+")"+query, args...)
		if err != nil {
			return err
		}
	}
	return nil
}

// readingsIn is readingsThere for all that there is in spans.
func (w *Writer) readingsIn(spans []span, n int) (map[readingKey]bool, error) {
	there := w.keysOf(n)
	err := w.t.eachIn(spans, scanReadingKeys(there), `
		select
			r.vehicle_id,
			r.day,
			r.axle,
			r.part,
			r.side,
			r.face,
			r.mm,
			r.tripped
		from spans s
		cross join thickness_readings r
		where r.vehicle_id = s.vehicle_id and r.day between s.first_day and s.last_day`)
	return there, err
}

// inspectionsIn returns the inspections of visits, whose days and vehicles are in
// spans, and makes those that are new.
func (w *Writer) inspectionsIn(spans []span, visits map[visit]bool) (map[visit]inspection, error) {
	found := make(map[visit]inspection, len(visits))
	err := w.t.eachIn(spans, scanInspections(found), `
		select
			i.id,
			i.fleet_id,
			i.vehicle_id,
			i.day,
			coalesce(i.odometer_km, -1),
			i.technician
		from spans s
		cross join inspections i
		where i.vehicle_id = s.vehicle_id and i.day between s.first_day and s.last_day`)
	if err != nil {
		return nil, err
	}
	var fresh []visit
	for v := range visits {
		if _, ok := found[v]; !ok {
			fresh = append(fresh, v)
		}
	}
	if len(fresh) == 0 {
		return found, nil
	}
	// In the order of the key, so that two uploads do not wait for each other.
	slices.SortFunc(fresh, func(a, b visit) int {
		return cmp.Or(cmp.Compare(a.vehicle, b.vehicle), cmp.Compare(a.day, b.day), cmp.Compare(a.km, b.km), cmp.Compare(a.technician, b.technician))
	})
	ids, err := w.t.newIDs("inspections", len(fresh))
	if err != nil {
		return nil, err
	}
	for n, v := range fresh {
		found[v] = inspection{ids[n], w.fleetOf[v.vehicle], v.day.String()}
	}
	if len(fresh) >= manyRows {
		if err := w.t.planOnce(); err != nil {
			return nil, err
		}
	}
	if w.t.db.dialect == SQLite { // who writes is alone
		return found, w.t.pourInspections(fresh, found)
	}
	// Another upload may be making some of them, such as one of the rotors that were
	// measured beside these pads. COPY waits for it and then fails; few visits, which
	// can do without, are made of what it left.
	if _, err := w.t.exec(`savepoint visits`); err != nil {
		return nil, err
	}
	err = w.t.pourInspections(fresh, found)
	if taken(err) {
		if _, err := w.t.exec(`rollback to savepoint visits`); err != nil {
			return nil, err
		}
		if err := w.fillVisits(visits); err != nil {
			return nil, err
		}
		if found, err = w.inspections(len(visits)); err != nil {
			return nil, err
		}
	}
	if err == nil {
		_, err = w.t.exec(`release savepoint visits`)
	}
	return found, err
}

// pourInspections adds the inspections of visits, with their ids.
func (t *tx) pourInspections(visits []visit, of map[visit]inspection) error {
	columns := []string{"id", "fleet_id", "vehicle_id", "day", "odometer_km", "technician"}
	row := make([]any, len(columns))
	return t.pour("inspections", columns, func(yield func([]any) bool) {
		for _, v := range visits {
			i := of[v]
			row = append(row[:0], i.id, i.fleet, v.vehicle, i.day, v.odometer(), v.technician)
			if !yield(row) {
				return
			}
		}
	})
}

// newIDs takes n ids for new rows of a table, in ascending order.
func (t *tx) newIDs(table string, n int) ([]int64, error) {
	ids := make([]int64, 0, n)
	if t.db.dialect == SQLite { // who writes is alone
		var last int64
		err := t.one([]any{&last}, `select coalesce(max(id), 0) from `+table)
		for range n {
			last++
			ids = append(ids, last)
		}
		return ids, err
	}
	err := t.each(func(r *sqlx.Rows) error {
		var id int64
		err := r.Scan(&id)
		ids = append(ids, id)
		return err
	}, `
		with ids as materialized (select CAST(pg_get_serial_sequence('`+table+`', 'id') AS regclass) as of_table)
		select nextval(ids.of_table)
		from ids, generate_series(1, CAST(? AS integer))`, n)
	return ids, err
}
