package store

import (
	"brakewear/internal/fleet"
)

var stagedOdometers = stage{
	name:    "staged_odometers",
	from:    "odometer_readings",
	columns: []string{"vehicle_id", "day", "km"},
}

// Odometers adds odometer readings. One is already there when the vehicle has
// one of the same date and value, even if it was set aside.
func (w *Writer) Odometers(os []fleet.Odometer) (c Counts, err error) {
	defer w.end("store odometer readings", &err)
	if len(os) == 0 {
		return c, nil
	}
	for i := range os {
		if err := os[i].Validate(); err != nil {
			return c, err
		}
	}
	row := make([]any, len(stagedOdometers.columns))
	err = w.t.fill(stagedOdometers, func(yield func([]any) bool) {
		for _, o := range os {
			row = append(row[:0], o.VehicleID, o.Date, o.Km)
			if !yield(row) {
				return
			}
		}
	})
	if err != nil {
		return c, err
	}
	if err := w.enter(stagedOdometers.name); err != nil {
		return c, err
	}
	added, err := w.t.count(`
		insert into odometer_readings (fleet_id, vehicle_id, day, km, upload_id)
		select v.fleet_id, s.vehicle_id, s.day, s.km, ?
		from staged_odometers s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by s.vehicle_id, s.day, s.km
		on conflict do nothing`, w.upload)
	return Counts{Added: added, Repeated: len(os) - added}, err
}
