package store

import (
	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

var (
	stagedOdometers = stage{
		name:    "staged_odometers",
		from:    "odometer_readings",
		columns: []string{"vehicle_id", "day", "km"},
	}
	stagedSwaps = stage{
		name:    "staged_swaps",
		from:    "cluster_swaps",
		columns: []string{"vehicle_id", "day", "old_km", "new_km"},
	}
)

// Odometers adds odometer readings, and the cluster swaps they declare. One is
// already there when the vehicle has one of the same date and value, even if it
// was set aside; a swap when it has one of the same date and values.
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
	if err := enter(w, os, func(o *fleet.Odometer) int64 { return o.VehicleID }); err != nil {
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
	if err != nil {
		return c, err
	}
	// A swap may be declared of a reading that is there already.
	swaps, err := w.swaps(os)
	added = min(len(os), added+swaps)
	return Counts{Added: added, Repeated: len(os) - added}, err
}

// swaps adds the cluster swaps that os declare and returns how many are new
// beside readings that are not.
func (w *Writer) swaps(os []fleet.Odometer) (added int, err error) {
	n := 0
	row := make([]any, len(stagedSwaps.columns))
	err = w.t.fill(stagedSwaps, func(yield func([]any) bool) {
		for _, o := range os {
			if o.PreviousKm == nil {
				continue
			}
			n++
			row = append(row[:0], o.VehicleID, o.Date, *o.PreviousKm, o.Km)
			if !yield(row) {
				return
			}
		}
	})
	if err != nil || n == 0 {
		return 0, err
	}
	// The reading is another upload's, or set aside.
	err = w.t.one([]any{&added}, `
		select count(*)
		from staged_swaps s
		where not exists (
			select 1
			from cluster_swaps c
			where c.vehicle_id = s.vehicle_id and c.day = s.day and c.old_km = s.old_km and c.new_km = s.new_km)
		and not exists (
			select 1
			from odometer_readings o
			where o.vehicle_id = s.vehicle_id and o.day = s.day and o.km = s.new_km and o.upload_id = ?)`, w.upload)
	if err != nil {
		return 0, err
	}
	_, err = w.t.exec(`
		insert into cluster_swaps (fleet_id, vehicle_id, day, old_km, new_km, upload_id)
		select v.fleet_id, s.vehicle_id, s.day, s.old_km, s.new_km, ?
		from staged_swaps s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by s.vehicle_id, s.day, s.old_km, s.new_km
		on conflict do nothing`, w.upload)
	return added, err
}

// clusterSwaps calls fn for the swaps r that count and that w admits, by date.
func (t *tx) clusterSwaps(w where, fn func(s *fleet.ClusterSwap)) error {
	w = counting.of(w)
	return t.each(func(r *sqlx.Rows) error {
		var s fleet.ClusterSwap
		if err := r.Scan(&s.ID, &s.VehicleID, &s.Date, &s.OldKm, &s.NewKm, &s.UploadID); err != nil {
			return err // a row half read is no row
		}
		fn(&s)
		return nil
	}, `
		select r.id, r.vehicle_id, r.day, r.old_km, r.new_km, r.upload_id
		from cluster_swaps r`+w.String()+`
		order by r.vehicle_id, r.day, r.id`, w.args...)
}
