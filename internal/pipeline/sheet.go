package pipeline

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// Sheet is an inspection sheet of one vehicle: where its parts are measured,
// and what is known of each and likely there on a day.
type Sheet struct {
	Vehicle      fleet.Vehicle
	Fleet, Depot string
	Day          fleet.Date
	Odometer     *SheetOdometer // nil when none was read before the day
	// Wheels come as a person walks round the vehicle: from the front left
	// wheel back along the left side, then along the right side to the front.
	Wheels []Wheel
	// Assumed says that the axles are not on record.
	Assumed bool
	// ApartMM is by how much inner and outer pad, or the two sides, may differ.
	ApartMM float64
}

// SheetOdometer is what a new odometer reading is judged by. Distances are as
// the instrument shows them.
type SheetOdometer struct {
	Date fleet.Date // of the last reading that is believed
	Km   float64
	// The vehicle may have gone on by so many km a day since, and so many
	// besides.
	PerDay, Besides float64
	Next            *fleet.Odometer // first reading after the sheet's day
}

// Reach is the furthest that the instrument can show on a day.
func (o *SheetOdometer) Reach(d fleet.Date) float64 {
	return o.Km + o.Besides + o.PerDay*math.Max(0, float64(d-o.Date))
}

// Wheel is one end of an axle.
type Wheel struct {
	Axle   int
	Side   fleet.Side
	Brake  fleet.Brake
	Places []Place // from the outside in
	// Trip is the last signal of the axle's wear sensor, from which the
	// thickness is known at which it trips; nil when there was none.
	Trip *fleet.Reading
}

// Place is one position to be measured.
type Place struct {
	fleet.Position
	Seldom bool // it is measured now and then
	// Spec has the limit that is in force; nil when none is known.
	Spec *fleet.Spec
	// Last is the last reading of the part that is on; nil when it was never
	// read.
	Last *LastReading
	// Likely is what a reading would show; nil where that is not known.
	Likely *Likely
	// Thinnest says that Last and Likely are of the most worn of several places
	// of which this is one: they are not read apart on this vehicle.
	Thinnest bool
}

// LastReading is a value read before.
type LastReading struct {
	Date fleet.Date
	MM   float64
}

// Likely is a range in mm outside of which a value is doubtful.
type Likely struct{ Median, Low, High float64 }

// FieldOf names a position on a sheet: "2-left-outer-pad".
func FieldOf(p fleet.Position) string {
	return strings.ReplaceAll(strings.TrimPrefix(p.String(), "axle "), " ", "-")
}

// Place returns the place of a position, or nil.
func (sh *Sheet) Place(p fleet.Position) *Place {
	for i := range sh.Wheels {
		for j := range sh.Wheels[i].Places {
			if x := &sh.Wheels[i].Places[j]; x.Position == p {
				return x
			}
		}
	}
	return nil
}

// Wheel returns one end of an axle, or nil.
func (sh *Sheet) Wheel(axle int, side fleet.Side) *Wheel {
	i := slices.IndexFunc(sh.Wheels, func(w Wheel) bool { return w.Axle == axle && w.Side == side })
	if i < 0 {
		return nil
	}
	return &sh.Wheels[i]
}

// Sheet returns the sheet of a vehicle for a day. brakes are those of its
// axles, from the front, for a vehicle whose axles are not on record; where
// they are, brakes are not looked at.
func (s *Service) Sheet(ctx context.Context, sc auth.Scope, vehicleID int64, day fleet.Date, brakes []fleet.Brake) (*Sheet, error) {
	sh, _, err := s.sheet(ctx, sc, vehicleID, day, brakes)
	return sh, err
}

// sheet is Sheet that also returns what is known of the vehicle, with axles
// that are on record alone.
func (s *Service) sheet(ctx context.Context, sc auth.Scope, vehicleID int64, day fleet.Date, brakes []fleet.Brake) (*Sheet, *store.History, error) {
	h, err := s.DB.History(ctx, sc, vehicleID)
	if err != nil {
		return nil, nil, err
	}
	m, _, err := s.fitted(ctx, s.Today())
	if err != nil {
		return nil, nil, err
	}
	ts, err := s.Thresholds(ctx, sc, h.Vehicle.FleetID)
	if err != nil {
		return nil, nil, err
	}
	laid := h
	sh, err := sheetOf(m, &laid, day, brakes)
	if err != nil {
		return nil, nil, err
	}
	if t := ts.Of(rules.PadDifference, h.Vehicle.Category); t != nil {
		sh.ApartMM = t.X
	}
	return sh, &h, nil
}

// sheetOf lays out a sheet for what is known of a vehicle, h, and adds the axles
// to h that are not on record.
func sheetOf(m forecast.Model, h *store.History, day fleet.Date, brakes []fleet.Brake) (*Sheet, error) {
	sh := &Sheet{Vehicle: h.Vehicle, Fleet: h.Fleet, Depot: h.Depot, Day: day}
	sh.Odometer = sheetOdometer(VehicleOf(h), day)
	if len(h.Axles) == 0 && len(brakes) > 0 {
		if len(brakes) > fleet.MaxAxle {
			return nil, fleet.Invalidf("axles: want at most %d", fleet.MaxAxle)
		}
		sh.Assumed = true
		for i, b := range brakes {
			a := fleet.Axle{Number: i + 1, Brake: b, Specs: map[fleet.Part]fleet.Spec{}}
			if err := a.Validate(); err != nil {
				return nil, err
			}
			for _, p := range fleet.Parts {
				if spec, ok := rules.StandIn(h.Vehicle.Category, a.Number, p); ok && p.Of(b) {
					a.Specs[p] = spec
				}
			}
			h.Axles = append(h.Axles, a)
		}
	}
	likely := map[fleet.Position]Expected{}
	for _, e := range expected(m, h, day, nil) {
		likely[e.Position] = e
	}
	for i := range h.Axles {
		a := &h.Axles[i]
		for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
			sh.Wheels = append(sh.Wheels, wheelOf(h, a, side, day, likely))
		}
	}
	slices.SortStableFunc(sh.Wheels, func(a, b Wheel) int {
		if a.Side != b.Side {
			return cmp.Compare(a.Side, b.Side) // left before right
		}
		if a.Side == fleet.Left {
			return cmp.Compare(a.Axle, b.Axle)
		}
		return cmp.Compare(b.Axle, a.Axle)
	})
	return sh, nil
}

// wheelOf lays out one end of an axle: what is measured at every visit first,
// as finely as it was measured before.
func wheelOf(h *store.History, a *fleet.Axle, side fleet.Side, day fleet.Date, likely map[fleet.Position]Expected) Wheel {
	w := Wheel{Axle: a.Number, Side: side, Brake: a.Brake}
	var read, faces bool // pads, and their faces apart
	for i := range h.Readings {
		r := &h.Readings[i]
		if r.Position.Axle != a.Number {
			continue
		}
		if r.Tripped {
			w.Trip = r // the last one stands: they come by date
			continue
		}
		read = read || r.Position.Part == fleet.Pad
		faces = faces || r.Position.Face != ""
	}
	add := func(part fleet.Part, face fleet.Face, seldom bool) {
		p := Place{Position: fleet.Position{Axle: a.Number, Part: part, Side: side, Face: face}, Seldom: seldom}
		if spec, ok := SpecInForce(h, a, part); ok {
			p.Spec = &spec
		}
		p.fill(h, day, likely)
		w.Places = append(w.Places, p)
	}
	if a.Brake == fleet.DrumBrake {
		add(fleet.Lining, "", false)
		add(fleet.Drum, "", true)
		return w
	}
	coarse := read && !faces
	if coarse {
		add(fleet.Pad, "", false)
	}
	add(fleet.Pad, fleet.Outer, coarse)
	add(fleet.Pad, fleet.Inner, coarse)
	add(fleet.Rotor, "", true)
	return w
}

// fill finds what is known of p: of the place itself, or of the thinnest of
// several with it.
func (p *Place) fill(h *store.History, day fleet.Date, likely map[fleet.Position]Expected) {
	for i, at := range []fleet.Position{
		p.Position,
		{Axle: p.Axle, Part: p.Part, Side: p.Side},
		{Axle: p.Axle, Part: p.Part},
	} {
		e, ok := likely[at]
		if !ok || i == 1 && at == p.Position {
			continue
		}
		p.Thinnest = i > 0
		p.Likely = &Likely{e.Median, e.Low, e.High}
		if e.LastMM != nil {
			p.Last = &LastReading{*e.LastDate, *e.LastMM}
		}
		return
	}
	// Nothing is forecast, such as of a part without a specification.
	for i := range h.Readings {
		if r := &h.Readings[i]; r.Position == p.Position && r.Date <= day && !r.Tripped {
			p.Last = &LastReading{r.Date, r.MM}
		}
	}
}

// sheetOdometer returns what is known of the odometer on a day.
func sheetOdometer(v *forecast.Vehicle, day fleet.Date) *SheetOdometer {
	all := v.Odometer
	before := make([]forecast.Odometer, 0, len(all))
	var next *fleet.Odometer
	for _, o := range all {
		d := fleet.Date(o.Day)
		switch {
		case d <= day:
			before = append(before, o)
		case next == nil || d < next.Date:
			next = &fleet.Odometer{Date: d, Km: o.Km}
		}
	}
	t := forecast.CleanOdometer(before, swapsUntil(v, day)...)
	if !t.Known() {
		return nil
	}
	last := t.Last.Day
	return &SheetOdometer{
		Date:    fleet.Date(last),
		Km:      t.Display(t.Last.Km),
		PerDay:  t.Reach(last+1) - t.Reach(last),
		Besides: t.Reach(last) - t.Last.Km,
		Next:    next,
	}
}

// swapsUntil returns the declared changes of the instrument up to a day.
func swapsUntil(v *forecast.Vehicle, day fleet.Date) (swaps []forecast.DeclaredSwap) {
	for _, s := range v.Swaps {
		if fleet.Date(s.Day) <= day {
			swaps = append(swaps, s)
		}
	}
	return swaps
}
