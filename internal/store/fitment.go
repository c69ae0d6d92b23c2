package store

import (
	"brakewear/internal/fleet"
)

var stagedFitments = stage{
	name: "staged_fitments",
	from: "fitments",
	columns: []string{
		"vehicle_id", "day",
		"axle", "part", "side", "face",
		"odometer_km", "mm", "line",
	},
}

// Fitments adds fitments. One is already there when the vehicle has one at
// the same position and date, whatever its value: what was recorded is not
// overwritten.
func (w *Writer) Fitments(fs []fleet.Fitment) (c Counts, err error) {
	defer w.end("store fitments", &err)
	if len(fs) == 0 {
		return c, nil
	}
	for i := range fs {
		if err := fs[i].Validate(); err != nil {
			return c, err
		}
	}
	row := make([]any, len(stagedFitments.columns))
	err = w.t.fill(stagedFitments, func(yield func([]any) bool) {
		for i := range fs {
			f := &fs[i]
			row = append(row[:0],
				f.VehicleID, f.Date,
				f.Position.Axle, string(f.Position.Part), string(f.Position.Side), string(f.Position.Face),
				f.OdometerKm, f.MM, f.Line)
			if !yield(row) {
				return
			}
		}
	})
	if err != nil {
		return c, err
	}
	if err := enter(w, fs, func(f *fleet.Fitment) int64 { return f.VehicleID }); err != nil {
		return c, err
	}
	added, err := w.t.count(`
		insert into fitments (
			fleet_id, vehicle_id, day,
			axle, part, side, face,
			odometer_km, mm, upload_id, line)
		select
			v.fleet_id, s.vehicle_id, s.day,
			s.axle, s.part, s.side, s.face,
			s.odometer_km, s.mm, ?, s.line
		from staged_fitments s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by s.vehicle_id, s.day, s.axle, s.part, s.side, s.face
		on conflict do nothing`, w.upload)
	return Counts{Added: added, Repeated: len(fs) - added}, err
}
