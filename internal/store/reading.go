package store

import (
	"brakewear/internal/fleet"
)

var stagedReadings = stage{
	name: "staged_readings",
	from: "thickness_readings r, inspections i",
	columns: []string{
		"r.vehicle_id", "r.day", "i.odometer_km", "i.technician",
		"r.axle", "r.part", "r.side", "r.face",
		"r.mm", "r.tripped",
		"r.given", "r.unit", "r.gauge", "r.note", "r.line",
	},
}

// Readings adds readings. One is already there when a reading has the same
// vehicle, position, date, value and tripped mark, even if it was set aside.
func (w *Writer) Readings(rs []fleet.Reading) (c Counts, err error) {
	defer w.end("store readings", &err)
	if len(rs) == 0 {
		return c, nil
	}
	for i := range rs {
		if err := rs[i].Validate(); err != nil {
			return c, err
		}
	}
	row := make([]any, len(stagedReadings.columns))
	err = w.t.fill(stagedReadings, func(yield func([]any) bool) {
		for i := range rs {
			r := &rs[i]
			row = append(row[:0],
				r.VehicleID, r.Date, r.OdometerKm, r.Technician,
				r.Position.Axle, string(r.Position.Part), string(r.Position.Side), string(r.Position.Face),
				r.MM, r.Tripped,
				r.Given, r.Unit, r.Gauge, r.Note, r.Line)
			if !yield(row) {
				return
			}
		}
	})
	if err != nil {
		return c, err
	}
	if err := w.enter(stagedReadings.name); err != nil {
		return c, err
	}
	// What is there goes first, or a visit would be made that has no readings.
	_, err = w.t.exec(`
		delete from staged_readings as s
		where exists (
			select 1
			from thickness_readings r
			where r.vehicle_id = s.vehicle_id and r.day = s.day and r.axle = s.axle
				and r.part = s.part and r.side = s.side and r.face = s.face
				and r.mm = s.mm and r.tripped = s.tripped)`)
	if err != nil {
		return c, err
	}
	// In the order of the key, so that two uploads do not wait for each other.
	_, err = w.t.exec(`
		insert into inspections (fleet_id, vehicle_id, day, odometer_km, technician)
		select distinct v.fleet_id, s.vehicle_id, s.day, s.odometer_km, s.technician
		from staged_readings s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by 2, 3, 4, 5
		on conflict do nothing`)
	if err != nil {
		return c, err
	}
	added, err := w.t.count(`
		insert into thickness_readings (
			fleet_id, vehicle_id, inspection_id, day,
			axle, part, side, face,
			mm, tripped,
			given, unit, gauge, note,
			upload_id, line)
		select
			i.fleet_id, s.vehicle_id, i.id, s.day,
			s.axle, s.part, s.side, s.face,
			s.mm, s.tripped,
			s.given, s.unit, s.gauge, s.note,
			?, s.line
		from staged_readings s
		join inspections i
			on i.vehicle_id = s.vehicle_id and i.day = s.day
			and coalesce(i.odometer_km, -1) = coalesce(s.odometer_km, -1)
			and i.technician = s.technician
		where true
		order by s.vehicle_id, s.day, s.axle, s.part, s.side, s.face, s.mm
		on conflict do nothing`, w.upload)
	return Counts{Added: added, Repeated: len(rs) - added}, err
}
