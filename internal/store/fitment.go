package store

import (
	"errors"
	"time"

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

// FittedAgain adds those of fs whose like was set aside or corrected to another place or
// day, up to a moment, and does not count, and returns how many: who fits a part by hand
// where they know that no fitment counts means it, and what is sent again does not.
func (w *Writer) FittedAgain(fs []fleet.Fitment, known time.Time) (added int, err error) {
	defer w.end("store fitments", &err)
	if err := enter(w, fs, func(f *fleet.Fitment) int64 { return f.VehicleID }); err != nil {
		return 0, err
	}
	table := recordTables[fleet.FitmentRecord]
	if w.t.db.dialect == Postgres { // whoever lets one count again meanwhile is waited for
		for i := range fs {
			_, err := w.t.exec(`select 1 from fitments where vehicle_id = ? and day = ? order by id for update`, fs[i].VehicleID, fs[i].Date)
			if err != nil {
				return 0, err
			}
		}
	}
	for i := range fs {
		f := &fs[i]
		var revision int
		var undone bool
		err := w.t.one([]any{&revision, &undone}, `
			select revision, coalesce(set_aside_at <= ?, false)
			from fitments
			where `+table.key+`
			order by set_aside_at is null desc, revision desc
			limit 1`, append([]any{instant(known)}, fitmentKeyArgs(f)...)...)
		switch {
		case errors.Is(err, errNoRows), err == nil && !undone:
			continue
		case err != nil:
			return added, err
		}
		p := f.Position
		_, err = w.t.exec(`
			insert into fitments (
				fleet_id, vehicle_id, day, axle, part, side, face,
				odometer_km, mm, upload_id, line, revision)
			values `+places(12),
			w.fleetOf[f.VehicleID], f.VehicleID, f.Date, p.Axle, string(p.Part), string(p.Side), string(p.Face),
			f.OdometerKm, f.MM, w.upload, f.Line, revision+1)
		if err != nil {
			return added, err
		}
		added++
	}
	return added, nil
}
