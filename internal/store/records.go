package store

import (
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// Records are kinds of records of a vehicle.
type Records uint

const (
	AxleRecords Records = 1 << iota
	OdometerRecords
	SwapRecords // of the instrument
	ReadingRecords
	FitmentRecords
	limitRecords
	testRecords
	conditionRecords
	cardRecords
	refusedRecords
	asWritten // readings with how they were written down
)

// rare are the records that few vehicles have, in the order in which histories asks
// whether they have them, with the vehicles: asked by itself each would be a statement
// for nothing, for the one vehicle of most uploads.
var rare = [...]Records{SwapRecords, limitRecords, testRecords, conditionRecords, cardRecords, refusedRecords}

// fillHistories reads records of vehicles, the ids of them.
func (t *tx) fillHistories(of map[int64]*History, ids []any, what Records) error {
	err := t.gather(func() error { return t.askRecords(of, ids, what) })
	if err != nil || what&testRecords == 0 {
		return err
	}
	return t.brakeTests(where{[]string{"r.vehicle_id in " + places(len(ids))}, ids}, counting, func(b *fleet.BrakeTest) {
		h := of[b.VehicleID]
		h.BrakeTests = append(h.BrakeTests, *b)
	})
}

// askRecords asks for records that one query each finds. Those of vehicles that are
// not in of go nowhere.
func (t *tx) askRecords(of map[int64]*History, ids []any, what Records) error {
	var nowhere History
	at := func(id int64) *History {
		if h := of[id]; h != nil {
			return h
		}
		return &nowhere
	}
	in := " in " + places(len(ids))
	mine := where{[]string{"r.vehicle_id" + in}, ids}
	read := bare
	if what&asWritten != 0 {
		read = counting
	}
	for _, ask := range []struct {
		what Records
		each func() error
	}{
		{AxleRecords, func() error {
			return t.axles(where{[]string{"a.vehicle_id" + in}, ids}, func(a *fleet.Axle) {
				h := at(a.VehicleID)
				h.Axles = append(h.Axles, *a)
			})
		}},
		{OdometerRecords, func() error {
			return t.odometers(mine, counting, func(o *fleet.Odometer) {
				h := at(o.VehicleID)
				h.Odometers = append(h.Odometers, *o)
			})
		}},
		{SwapRecords, func() error {
			return t.clusterSwaps(mine, func(s *fleet.ClusterSwap) {
				h := at(s.VehicleID)
				h.Swaps = append(h.Swaps, *s)
			})
		}},
		{ReadingRecords, func() error {
			return t.readingsOf(ids, read, func(d *fleet.Reading) {
				h := at(d.VehicleID)
				h.Readings = append(h.Readings, *d)
			})
		}},
		{FitmentRecords, func() error {
			return t.fitments(mine, counting, func(f *fleet.Fitment) {
				h := at(f.VehicleID)
				h.Fitments = append(h.Fitments, *f)
			})
		}},
		{limitRecords, func() error {
			return t.axleLimits(where{[]string{"l.vehicle_id" + in}, ids}, func(l *fleet.AxleLimit) {
				h := at(l.VehicleID)
				h.Limits = append(h.Limits, *l)
			})
		}},
		{conditionRecords, func() error {
			return t.conditions(mine, counting, func(c *fleet.Condition) {
				h := at(c.VehicleID)
				h.Conditions = append(h.Conditions, *c)
			})
		}},
		{cardRecords, func() error {
			return t.rotorMeasures(where{[]string{"c.vehicle_id" + in}, ids}, func(m *fleet.RotorMeasure) {
				h := at(m.VehicleID)
				h.Rotors = append(h.Rotors, *m)
			})
		}},
		{refusedRecords, func() error { return t.refusals(ids, at) }},
	} {
		if what&ask.what == 0 {
			continue
		}
		if err := ask.each(); err != nil {
			return err
		}
	}
	return nil
}

// refusals adds the changes of parts that somebody says did not take place.
func (t *tx) refusals(ids []any, at func(id int64) *History) error {
	return t.each(func(r *sqlx.Rows) error {
		var s fleet.SuggestedFitment
		if err := r.Scan(&s.VehicleID, &s.Position.Axle, &s.Position.Part, &s.Position.Side, &s.After, &s.Before); err != nil {
			return err // a row half read is no row
		}
		h := at(s.VehicleID)
		h.Refused = append(h.Refused, s)
		return nil
	}, `
		select vehicle_id, axle, part, side, after_day, before_day
		from findings
		where vehicle_id in `+places(len(ids))+` and kind = ? and answer = ?
		order by vehicle_id, subject`, append(slices.Clip(ids), string(fleet.PartChange), string(fleet.Refused))...)
}
