package store

import (
	"context"
	"errors"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// VehicleKey is what a row that names a vehicle needs to know of it.
type VehicleKey struct {
	ID, FleetID int64
	Fleet       string
	Depot       string
	Category    fleet.Category
	Actuation   fleet.Actuation
	Year        int
	FirstUsed   fleet.Date
	GrossKg     float64
}

// IDsOf returns the ids of vehicles, in no order; never nil.
func IDsOf(vs map[string][]VehicleKey) []int64 {
	ids := []int64{}
	for _, of := range vs {
		for i := range of {
			ids = append(ids, of[i].ID)
		}
	}
	return ids
}

// VehiclesNumbered is VehicleIndex for those of some numbers.
func (db *DB) VehiclesNumbered(ctx context.Context, sc auth.Scope, numbers []string) (map[string][]VehicleKey, error) {
	index := map[string][]VehicleKey{}
	err := db.find(ctx, "find vehicles", func(t *tx) error {
		for some := range slices.Chunk(numbers, roundVehicles) {
			if err := t.vehiclesNumbered(index, sc, some); err != nil {
				return err
			}
		}
		return nil
	})
	return index, err
}

func (t *tx) vehiclesNumbered(index map[string][]VehicleKey, sc auth.Scope, numbers []string) error {
	var w where
	w.scope(sc, "v")
	w.add("v.number in "+places(len(numbers)), anys(numbers)...)
	return t.vehicleIndex(index, w)
}

// VehiclesElsewhere returns the vehicles of the fleets that sc does not see: of the
// numbers, or of all when those are nil.
func (db *DB) VehiclesElsewhere(ctx context.Context, sc auth.Scope, fleets []fleet.Fleet, numbers []string) (map[VehicleName]bool, error) {
	found := map[VehicleName]bool{}
	if len(fleets) == 0 {
		return found, nil
	}
	ids := make([]int64, len(fleets))
	for i := range fleets {
		ids[i] = fleets[i].ID
	}
	look := func(t *tx, w where) error {
		w.add("v.fleet_id in "+places(len(ids)), anys(ids)...)
		return t.each(func(r *sqlx.Rows) error {
			var n VehicleName
			var depot int64
			err := r.Scan(&n.Fleet, &n.Number, &depot)
			if !sc.Sees(n.Fleet, depot) {
				found[n] = true
			}
			return err
		}, `select v.fleet_id, v.number, v.depot_id from vehicles v`+w.String(), w.args...)
	}
	err := db.find(ctx, "find vehicles", func(t *tx) error {
		if numbers == nil {
			return look(t, where{})
		}
		for some := range slices.Chunk(numbers, roundVehicles) {
			var w where
			w.add("v.number in "+places(len(some)), anys(some)...)
			if err := look(t, w); err != nil {
				return err
			}
		}
		return nil
	})
	return found, err
}

// VehiclesSpelled returns the number and plate of the vehicles that have one of texts
// as either, whatever its spaces, its dashes and the case of its letters. It may return
// others whose make and model are that.
func (db *DB) VehiclesSpelled(ctx context.Context, sc auth.Scope, texts []string) (vs []fleet.Vehicle, err error) {
	var lines []any
	for _, text := range texts {
		if s := squeeze(text); s != "" && storable(s) {
			lines = append(lines, like("\n"+s+"\n"))
		}
	}
	if len(lines) == 0 {
		return nil, nil
	}
	err = db.find(ctx, "find vehicles in another spelling", func(t *tx) error {
		vs = nil
		var w where
		w.scope(sc, "v")
		cond := "v.search || '\n' like ? escape '\\'" // see searchText
		w.add("("+cond+strings.Repeat(" or "+cond, len(lines)-1)+")", lines...)
		return t.each(func(r *sqlx.Rows) error {
			var v fleet.Vehicle
			err := r.Scan(&v.Number, &v.Plate)
			vs = append(vs, v)
			return err
		}, `select v.number, v.plate from vehicles v`+w.String(), w.args...)
	})
	return vs, err
}

// VehicleIndex returns the vehicles by number; several fleets may use the
// same one.
func (db *DB) VehicleIndex(ctx context.Context, sc auth.Scope) (map[string][]VehicleKey, error) {
	index := map[string][]VehicleKey{}
	err := db.read(ctx, "list vehicles", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		return t.vehicleIndex(index, w)
	})
	return index, err
}

// SeesVehicle says whether sc sees the vehicle.
func (db *DB) SeesVehicle(ctx context.Context, sc auth.Scope, id int64) (bool, error) {
	err := db.read(ctx, "find a vehicle", func(t *tx) error {
		_, _, err := t.vehicleIn(sc, id)
		return err
	})
	if errors.Is(err, fleet.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// vehicleIndex adds the vehicles v that w admits.
func (t *tx) vehicleIndex(index map[string][]VehicleKey, w where) error {
	same := words{}
	return t.each(func(r *sqlx.Rows) error {
		var k VehicleKey
		var number string
		err := r.Scan(&k.ID, &k.FleetID, &number, &k.Category, &k.Actuation, &k.Year, (*someDay)(&k.FirstUsed), &k.GrossKg, &k.Fleet, &k.Depot)
		k.Fleet, k.Depot = same.of(k.Fleet), same.of(k.Depot)
		k.Category, k.Actuation = fleet.Category(same.of(string(k.Category))), fleet.Actuation(same.of(string(k.Actuation)))
		index[number] = append(index[number], k)
		return err
	}, `
		select
			v.id,
			v.fleet_id,
			v.number,
			v.category,
			v.actuation,
			v.year,
			v.first_used,
			v.gross_kg,
			f.name,
			d.name
		from vehicles v
		join fleets f on f.id = v.fleet_id
		join depots d on d.id = v.depot_id`+w.String()+`
		order by v.id`, w.args...)
}

// VehicleQuery asks for a page of vehicles, in the order of their numbers.
type VehicleQuery struct {
	Text         string // part of number, plate, make or model, whatever its case
	Fleet, Depot int64  // 0 = all
	After        string // VehiclePage.Next of the page before
	Limit        int    // 0 = DefaultLimit
}

// VehicleRow is a vehicle with what a list shows of it.
type VehicleRow struct {
	fleet.Vehicle
	Fleet, Depot string
	Axles        int
	LastReading  *fleet.Date // nil when it was never measured
	BookBy       *fleet.Date // earliest of its axles
	PastLimit    bool        // of any of its axles
}

// VehiclePage is a page of vehicles.
type VehiclePage struct {
	Rows  []VehicleRow
	Next  string // cursor of the page after; blank on the last
	Total int    // rows of all pages
}

var vehicleOrder = order{ByVehicle, aText}

// Vehicles returns a page of vehicles.
func (db *DB) Vehicles(ctx context.Context, sc auth.Scope, q VehicleQuery) (page VehiclePage, err error) {
	err = db.readKeeping(ctx, "list vehicles", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		w.only("v.fleet_id", q.Fleet)
		w.only("v.depot_id", q.Depot)
		ids, few, err := t.found(sc, q.Text, q.Fleet, q.Depot, maxFound)
		if err != nil {
			return err
		}
		if few {
			w.among("v.id", ids)
		} else {
			w.text("v.search", q.Text)
		}
		if page.Total, err = t.counted(`select count(*) from vehicles v`+w.String(), w.args...); err != nil {
			return err
		}
		if q.After != "" {
			c, err := vehicleOrder.parse(q.After)
			if err != nil {
				return err
			}
			w.add("(v.sort_key, v.id) > (?, ?)", c.value, c.VehicleID)
		}
		limit := limitOf(q.Limit)
		var last cursor
		return t.each(func(r *sqlx.Rows) error {
			if len(page.Rows) == limit {
				page.Next = last.String()
				return nil
			}
			var v VehicleRow
			var value any
			err := r.Scan(append(scanVehicle(&v.Vehicle),
				&v.Fleet,
				&v.Depot,
				&v.Axles,
				&v.LastReading,
				&v.BookBy,
				&v.PastLimit,
				&value)...)
			last = vehicleOrder.cursor(value, v.ID, 0)
			page.Rows = append(page.Rows, v)
			return err
		}, `
			select`+vehicleColumns+`,
				f.name,
				d.name,
				(select count(*) from axles a where a.vehicle_id = v.id),
				(select max(r.day) from thickness_readings r where r.vehicle_id = v.id and r.set_aside_at is null),
				(select min(c.book_by) from axle_forecasts c where c.vehicle_id = v.id),
				exists (select 1 from axle_forecasts c where c.vehicle_id = v.id and c.past_limit = ?),
				v.sort_key
			from (select * from vehicles v`+w.String()+` order by v.sort_key, v.id limit ?) v
			join fleets f on f.id = v.fleet_id
			join depots d on d.id = v.depot_id
			order by v.sort_key, v.id`, append(append([]any{true}, w.args...), limit+1)...)
	})
	return page, err
}

// Counts returns how many vehicles, axles and current readings there are.
func (db *DB) Counts(ctx context.Context, sc auth.Scope) (vehicles, axles, readings int, err error) {
	err = db.read(ctx, "count", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		if err := t.one([]any{&vehicles}, `select count(*) from vehicles v`+w.String(), w.args...); err != nil {
			return err
		}
		var of where
		of.vehicles(sc, "vehicle_id")
		if err := t.one([]any{&axles}, `select count(*) from axles`+of.String(), of.args...); err != nil {
			return err
		}
		of.add("set_aside_at is null")
		return t.one([]any{&readings}, `select count(*) from thickness_readings`+of.String(), of.args...)
	})
	return vehicles, axles, readings, err
}

// VehicleKinds returns each depot's vehicles of one category, duty, make and model as
// one, with these alone.
func (db *DB) VehicleKinds(ctx context.Context, sc auth.Scope) (kinds []VehicleEntry, err error) {
	err = db.read(ctx, "list kinds of vehicles", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		return t.each(func(r *sqlx.Rows) error {
			var k VehicleEntry
			err := r.Scan(&k.Category, &k.Duty, &k.Make, &k.Model, &k.Fleet, &k.Depot)
			kinds = append(kinds, k)
			return err
		}, `
			select distinct v.category, v.duty, v.make, v.model, f.name, d.name
			from vehicles v
			join fleets f on f.id = v.fleet_id
			join depots d on d.id = v.depot_id`+w.String(), w.args...)
	})
	return kinds, err
}

// VehicleNumber returns what people call a vehicle.
func (db *DB) VehicleNumber(ctx context.Context, sc auth.Scope, id int64) (number string, err error) {
	err = db.find(ctx, "find a vehicle", func(t *tx) error {
		number, err = t.vehicleNumber(sc, id)
		return err
	})
	return number, err
}

func (t *tx) vehicleNumber(sc auth.Scope, id int64) (number string, err error) {
	var w where
	w.scope(sc, "v")
	w.add("v.id = ?", id)
	err = t.one([]any{&number}, `select v.number from vehicles v`+w.String(), w.args...)
	if errors.Is(err, errNoRows) {
		err = noVehicle(id)
	}
	return number, err
}

// MoreVehicles says whether sc sees more vehicles than n. It counts no further.
func (db *DB) MoreVehicles(ctx context.Context, sc auth.Scope, n int) (more bool, err error) {
	err = db.find(ctx, "count vehicles", func(t *tx) error {
		query, args := vehicleCount(sc, n+1)
		there, err := t.counted(query, args...)
		more = there > n
		return err
	})
	return more, err
}

// vehicleCount counts the vehicles that sc sees, no further than most.
func vehicleCount(sc auth.Scope, most int) (query string, args []any) {
	var w where
	w.scope(sc, "v")
	return `
		select count(*)
		from (
			select 1
			from vehicles v` + w.String() + `
			limit ?) v`, append(w.args, most)
}

// HasReadings says whether sc sees a reading that counts.
func (db *DB) HasReadings(ctx context.Context, sc auth.Scope) (has bool, err error) {
	err = db.read(ctx, "look for readings", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		// The offset keeps PostgreSQL from joining the two tables, for which it may
		// read all readings there are: one vehicle that has some is soon met.
		w.add(`exists (
			select 1
			from thickness_readings r
			where r.vehicle_id = v.id and r.set_aside_at is null
			limit 1 offset 0)`)
		n, err := t.counted(`
			select count(*)
			from (
				select 1
				from vehicles v`+w.String()+`
				limit 1) v`, w.args...)
		has = n > 0
		return err
	})
	return has, err
}
