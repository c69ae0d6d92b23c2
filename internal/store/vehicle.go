package store

import (
	"cmp"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// VehicleEntry is a vehicle with the names of its fleet and depot.
type VehicleEntry struct {
	Fleet, Depot string
	fleet.Vehicle
}

// VehicleName is what a vehicle is known by.
type VehicleName struct {
	Fleet  int64
	Number string
}

func nameOf(v *fleet.Vehicle) VehicleName { return VehicleName{v.FleetID, v.Number} }

// Vehicles adds vehicles or changes those that have the same number in the
// same fleet, and makes fleets and depots that are new by name, whatever its
// case. A blank keeps what is known.
func (w *Writer) Vehicles(vs []VehicleEntry) (c Counts, err error) {
	defer w.end("store vehicles", &err)
	rows := make([]fleet.Vehicle, len(vs))
	for i := range vs {
		v := vs[i].Vehicle
		if err := v.Validate(); err != nil {
			return c, err
		}
		if v.FleetID, err = w.fleetID(vs[i].Fleet); err != nil {
			return c, err
		}
		v.ID, v.DepotID = 0, 0
		if key(vs[i].Depot) != "" {
			if v.DepotID, err = w.depotID(v.FleetID, vs[i].Depot); err != nil {
				return c, err
			}
		}
		rows[i] = v
	}
	err = waves(rows, nameOf, func(wave []fleet.Vehicle) error { return w.vehicles(wave, &c) })
	return c, err
}

// vehicles is Vehicles for rows of different names.
func (w *Writer) vehicles(vs []fleet.Vehicle, c *Counts) error {
	known, err := w.knownVehicles(vs)
	if err != nil {
		return err
	}
	var changed []fleet.Vehicle
	for _, v := range vs {
		old, ok := known[nameOf(&v)]
		if ok && !w.sc.Sees(old.FleetID, old.DepotID) {
			return fleet.NotFoundf("vehicle %q: there is none, or none that you may change", v.Number)
		}
		if !ok && v.DepotID == 0 {
			return fleet.Invalidf("vehicle %q: a new vehicle needs the name of its depot", v.Number)
		}
		same := ok && keepKnown(&v, &old)
		if err := w.place(v.FleetID, v.DepotID); err != nil {
			return err
		}
		switch {
		case same:
			c.Repeated++
			continue
		case ok:
			c.Changed++
		default:
			c.Added++
		}
		changed = append(changed, v)
	}
	return w.upsertVehicles(changed)
}

// keepKnown fills the blanks of v from old and says whether nothing is new.
func keepKnown(v, old *fleet.Vehicle) (same bool) {
	v.ID = old.ID
	v.DepotID = cmp.Or(v.DepotID, old.DepotID)
	v.Plate = cmp.Or(v.Plate, old.Plate)
	v.Category = cmp.Or(v.Category, old.Category)
	v.Make = cmp.Or(v.Make, old.Make)
	v.Model = cmp.Or(v.Model, old.Model)
	v.Year = cmp.Or(v.Year, old.Year)
	v.Duty = cmp.Or(v.Duty, old.Duty)
	v.FirstUsed = cmp.Or(v.FirstUsed, old.FirstUsed)
	v.Actuation = cmp.Or(v.Actuation, old.Actuation)
	v.GrossKg = cmp.Or(v.GrossKg, old.GrossKg)
	return *v == *old
}

var stagedVehicles = stage{
	name: "staged_vehicles",
	from: "vehicles",
	columns: []string{
		"fleet_id", "depot_id", "number", "plate", "category",
		"make", "model", "year", "duty", "first_used", "actuation", "gross_kg", "sort_key", "search",
	},
}

func (w *Writer) fillVehicles(vs []fleet.Vehicle) error {
	row := make([]any, len(stagedVehicles.columns))
	return w.t.fill(stagedVehicles, func(yield func([]any) bool) {
		for i := range vs {
			v := &vs[i]
			row = append(row[:0],
				v.FleetID, v.DepotID, v.Number, v.Plate, string(v.Category),
				v.Make, v.Model, v.Year, v.Duty, someDay(v.FirstUsed), string(v.Actuation), v.GrossKg, sortKey(v.Number), searchText(v))
			if !yield(row) {
				return
			}
		}
	})
}

// knownVehicles returns those of vs that are there already, and holds them
// against other writers until the transaction ends.
func (w *Writer) knownVehicles(vs []fleet.Vehicle) (map[VehicleName]fleet.Vehicle, error) {
	if err := w.fillVehicles(vs); err != nil {
		return nil, err
	}
	known := map[VehicleName]fleet.Vehicle{}
	err := w.t.each(func(r *sqlx.Rows) error {
		var v fleet.Vehicle
		err := r.Scan(scanVehicle(&v)...)
		known[nameOf(&v)] = v
		return err
	}, `
		select`+vehicleColumns+`
		from staged_vehicles s
		join vehicles v on v.fleet_id = s.fleet_id and v.number = s.number
		order by v.id`+w.t.locking("for no key update of v"))
	return known, err
}

// upsertVehicles writes vs whole.
func (w *Writer) upsertVehicles(vs []fleet.Vehicle) error {
	if len(vs) == 0 {
		return nil
	}
	if err := w.fillVehicles(vs); err != nil {
		return err
	}
	// What was written last is found by its number: see vehicleNames, dueList.
	// In one order, so that two uploads do not wait for each other.
	_, err := w.t.exec(`
		insert into vehicles (
			fleet_id, depot_id, number, plate, category,
			make, model, year, duty, first_used, actuation, gross_kg, sort_key, search, written)
		select
			fleet_id, depot_id, number, plate, category,
			make, model, year, duty, first_used, actuation, gross_kg, sort_key, search, ` + w.t.writing("vehicles") + `
		from staged_vehicles
		where true
		order by fleet_id, sort_key, number
		on conflict (fleet_id, number) do update set
			depot_id = excluded.depot_id,
			plate = excluded.plate,
			category = excluded.category,
			make = excluded.make,
			model = excluded.model,
			year = excluded.year,
			duty = excluded.duty,
			first_used = excluded.first_used,
			actuation = excluded.actuation,
			gross_kg = excluded.gross_kg,
			sort_key = excluded.sort_key,
			search = excluded.search,
			written = excluded.written`)
	if err != nil {
		return err
	}
	// Overviews go by the depot that forecasts repeat. Few vehicles move.
	_, err = w.t.exec(`
		update axle_forecasts
		set depot_id = v.depot_id
		from staged_vehicles s
		join vehicles v on v.fleet_id = s.fleet_id and v.number = s.number
		where axle_forecasts.vehicle_id = v.id and axle_forecasts.depot_id <> v.depot_id`)
	return err
}

// vehicleColumns in the order of scanVehicle.
const vehicleColumns = `
	v.id,
	v.fleet_id,
	v.depot_id,
	v.number,
	v.plate,
	v.category,
	v.make,
	v.model,
	v.year,
	v.duty,
	v.first_used,
	v.actuation,
	v.gross_kg`

func scanVehicle(v *fleet.Vehicle) []any {
	return []any{
		&v.ID,
		&v.FleetID,
		&v.DepotID,
		&v.Number,
		&v.Plate,
		&v.Category,
		&v.Make,
		&v.Model,
		&v.Year,
		&v.Duty,
		(*someDay)(&v.FirstUsed),
		&v.Actuation,
		&v.GrossKg,
	}
}

// sortKey is a number as people sort it, whatever its case: each run of
// digits has its length put before it, so that Bus 9 comes before Bus 10.
func sortKey(number string) string {
	var b strings.Builder
	s := key(number)
	for i := 0; i < len(s); {
		if s[i] < '0' || s[i] > '9' {
			b.WriteByte(s[i])
			i++
			continue
		}
		start := i
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i++
		}
		digits := strings.TrimLeft(s[start:i], "0")
		b.WriteByte('0' + byte(min(len(digits), 40))) // still ASCII; no real number is longer
		b.WriteString(digits)
	}
	return b.String()
}

// searchText is what a search looks in; see like. Number and plate are in it
// twice, for people leave out their spaces and dashes.
func searchText(v *fleet.Vehicle) string {
	return key(v.Number+"\n"+v.Plate+"\n"+v.Make+" "+v.Model) + "\n" + squeeze(v.Number+"\n"+v.Plate)
}

var squeezer = strings.NewReplacer(" ", "", "-", "")

// squeeze is a number or plate without its spaces and dashes.
func squeeze(s string) string { return squeezer.Replace(strings.ToLower(s)) }

// searched are the texts of which one must be in what searchText made.
func searched(text string) []string {
	parts := []string{key(text)}
	if s := squeeze(text); s != "" && s != key(text) {
		parts = append(parts, s)
	}
	return parts
}

var likeEscaper = strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`)

// like is the pattern that finds one of the texts searched: both sides are in
// lower case, for only one of the databases ignores it.
func like(part string) string { return "%" + likeEscaper.Replace(part) + "%" }
