package store

import (
	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// visit is what the readings of an inspection have in common.
type visit struct {
	vehicle    int64
	day        fleet.Date
	km         float64 // -1: not read, as in the table's index
	technician string
}

// odometer is km as the table has it: null where it was not read.
func (v visit) odometer() any {
	if v.km < 0 {
		return nil
	}
	return v.km
}

func visitOf(r *fleet.Reading) visit {
	v := visit{r.VehicleID, r.Date, -1, r.Technician}
	if r.OdometerKm != nil {
		v.km = *r.OdometerKm
	}
	return v
}

// inspection is a visit that is in the database.
type inspection struct {
	id, fleet int64
	day       string // ISO, worked out once for all its readings
}

// readingKey is what makes a reading the same as another.
type readingKey struct {
	vehicle int64
	day     fleet.Date
	pos     fleet.Position
	mm      float64
	tripped bool
}

func readingKeyOf(r *fleet.Reading) readingKey {
	return readingKey{r.VehicleID, r.Date, r.Position, r.MM, r.Tripped}
}

// Readings adds readings. One is already there when a reading has the same
// vehicle, position, date, value and tripped mark, even if it was set aside.
//
// This is the bulk of what is ever stored. What is there is asked for first,
// and the rest goes into its table without a detour; should another writer add
// the same reading in between, the unique key makes it fleet.ErrConflict.
func (w *Writer) Readings(rs []fleet.Reading) (c Counts, err error) {
	defer w.end("store readings", &err)
	if len(rs) == 0 {
		return c, nil
	}
	visits := map[visit]bool{}
	var last visit // rows of one come together
	for i := range rs {
		if err := rs[i].Validate(); err != nil {
			return c, err
		}
		if v := visitOf(&rs[i]); i == 0 || v != last {
			visits[v], last = true, v
		}
	}
	if err := enter(w, rs, func(r *fleet.Reading) int64 { return r.VehicleID }); err != nil {
		return c, err
	}
	var there map[readingKey]bool
	var spans []span
	many := len(visits) > fewVisits
	if many {
		spans = spansOf(visits)
		there, err = w.readingsIn(spans, len(rs))
	} else {
		if err := w.fillVisits(visits); err != nil {
			return c, err
		}
		there, err = w.readingsThere(len(rs))
	}
	if err != nil {
		return c, err
	}
	added := make([]*fleet.Reading, 0, len(rs))
	staged := len(visits)
	clear(visits)
	for i := range rs {
		known := len(there)
		if there[readingKeyOf(&rs[i])] = true; len(there) == known {
			c.Repeated++
			continue
		}
		if v := visitOf(&rs[i]); len(added) == 0 || v != last {
			visits[v], last = true, v
		}
		added = append(added, &rs[i])
	}
	if len(added) == 0 {
		return c, nil
	}
	var inspections map[visit]inspection
	if many {
		inspections, err = w.inspectionsIn(spans, visits)
	} else {
		if len(visits) != staged { // no visit without readings of its own
			if err := w.fillVisits(visits); err != nil {
				return c, err
			}
		}
		inspections, err = w.inspections(len(visits))
	}
	if err != nil {
		return c, err
	}
	c.Added = len(added)
	return c, w.pourReadings(added, inspections)
}

var stagedVisits = stage{
	name:    "staged_visits",
	from:    "inspections",
	columns: []string{"vehicle_id", "day", "odometer_km", "technician"},
}

func (w *Writer) fillVisits(visits map[visit]bool) error {
	return w.t.fill(stagedVisits, func(yield func([]any) bool) {
		for v := range visits {
			if !yield([]any{v.vehicle, v.day, v.odometer(), v.technician}) {
				return
			}
		}
	})
}

// keysOf returns an empty map with room for n rows. It is the same for each batch: a
// new one takes some MB, which the next would leave behind.
func (w *Writer) keysOf(n int) map[readingKey]bool {
	if w.keys == nil {
		w.keys = make(map[readingKey]bool, n)
	}
	clear(w.keys)
	return w.keys
}

// readingsThere returns the readings there are of the staged vehicles and
// days, whether they still count or not, in a map with room for n.
func (w *Writer) readingsThere(n int) (map[readingKey]bool, error) {
	there := w.keysOf(n)
	err := w.t.each(scanReadingKeys(there), `
		select
			vehicle_id,
			day,
			axle,
			part,
			side,
			face,
			mm,
			tripped
		from thickness_readings
		where (vehicle_id, day) in (select vehicle_id, day from staged_visits)`)
	return there, err
}

func scanReadingKeys(there map[readingKey]bool) func(r *sqlx.Rows) error {
	return func(r *sqlx.Rows) error {
		var k readingKey
		err := r.Scan(&k.vehicle, &k.day, &k.pos.Axle, &k.pos.Part, &k.pos.Side, &k.pos.Face, &k.mm, &k.tripped)
		there[k] = true
		return err
	}
}

// inspections returns the inspections of the n staged visits, and makes those
// that are new.
func (w *Writer) inspections(n int) (map[visit]inspection, error) {
	found := make(map[visit]inspection, n)
	find := scanInspections(found)
	// In the order of the key, so that two uploads do not wait for each other.
	err := w.t.each(find, `
		insert into inspections (fleet_id, vehicle_id, day, odometer_km, technician)
		select v.fleet_id, s.vehicle_id, s.day, s.odometer_km, s.technician
		from staged_visits s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by 2, 3, 4, 5
		on conflict do nothing
		returning id, fleet_id, vehicle_id, day, coalesce(odometer_km, -1), technician`)
	if err != nil || len(found) == n {
		return found, err
	}
	err = w.t.each(find, `
		select
			i.id,
			i.fleet_id,
			i.vehicle_id,
			i.day,
			coalesce(i.odometer_km, -1),
			i.technician
		from staged_visits s
		join inspections i
			on i.vehicle_id = s.vehicle_id and i.day = s.day
			and coalesce(i.odometer_km, -1) = coalesce(s.odometer_km, -1)
			and i.technician = s.technician`)
	return found, err
}

func scanInspections(found map[visit]inspection) func(r *sqlx.Rows) error {
	return func(r *sqlx.Rows) error {
		var v visit
		var i inspection
		err := r.Scan(&i.id, &i.fleet, &v.vehicle, &v.day, &v.km, &v.technician)
		i.day = v.day.String()
		found[v] = i
		return err
	}
}

var readingColumns = []string{
	"fleet_id", "vehicle_id", "inspection_id", "day",
	"axle", "part", "side", "face",
	"mm", "tripped",
	"given", "unit", "gauge", "note",
	"upload_id", "line",
}

func (w *Writer) pourReadings(rs []*fleet.Reading, inspections map[visit]inspection) error {
	row := make([]any, len(readingColumns))
	return w.t.add("thickness_readings", readingColumns, func(yield func([]any) bool) {
		var last visit // rows of one come together
		var i inspection
		for n, r := range rs {
			if v := visitOf(r); n == 0 || v != last {
				i, last = inspections[v], v
			}
			row = append(row[:0],
				i.fleet, r.VehicleID, i.id, i.day,
				r.Position.Axle, string(r.Position.Part), string(r.Position.Side), string(r.Position.Face),
				r.MM, r.Tripped,
				r.Given, r.Unit, r.Gauge, r.Note,
				w.upload, r.Line)
			if !yield(row) {
				return
			}
		}
	})
}
