package demo

import (
	"math"
	"slices"
	"strconv"

	"brakewear/internal/fleet"
)

// awkward is a vehicle whose records are not as they should be.
type awkward struct {
	due     span
	prepare func(w *world, p *plan) // before it is made; may be nil
	// spoil changes the records; false asks for another vehicle, where these
	// do not show it. May be nil.
	spoil func(s *sim, v *Vehicle) bool
}

var islandAwkward = map[string]awkward{
	"Van 33":    {later, joins(220), oneReading},
	"Bus 117":   {span{8, 60}, seizes, seized},
	"Refuse 43": {inMonths, nil, mistypedReading},
	"Bus 109":   {later, nil, undeclaredChange},
	"Van 26":    {later, nil, runBack},
	"Car 64":    {later, swapsCluster, nil},
	"Bus 122":   {later, joins(18), noReadings},
	"Car 67":    {anyTime, nil, oldReadings},
}

// joins makes a vehicle new so many days before the end of the records.
func joins(days int) func(*world, *plan) {
	return func(w *world, p *plan) {
		p.origin, p.known = brandNew, true
		p.entry = int(w.opt.Until) - days
		p.birth = p.entry
		p.startKm = 30
		p.year = yearOf(p.birth)
	}
}

// seizes makes the front caliper of one side drag for the last months.
func seizes(w *world, p *plan) {
	p.forceDrag = forcedDrag{axle: 1, day: int(w.opt.Until) - 120}
}

// seized wants the drag to show: measured in the last month, one inner pad
// clearly thinner than the other.
func seized(s *sim, v *Vehicle) bool {
	const shows = 3 // mm
	l := v.Truth.On(1, fleet.Pad, s.opt.Until)
	if l == nil || !l.Drag.Known {
		return false
	}
	thin := map[fleet.Side]float64{}
	for _, r := range v.Readings {
		if r.Position.Axle == 1 && r.Position.Face == fleet.Inner && r.Position.Part == fleet.Pad && r.Date > s.opt.Until-30 {
			thin[r.Position.Side] = r.MM
		}
	}
	return len(thin) == 2 && math.Abs(thin[fleet.Left]-thin[fleet.Right]) >= shows
}

// oneReading leaves the last reading of a front pad.
func oneReading(_ *sim, v *Vehicle) bool {
	for _, r := range slices.Backward(v.Readings) {
		if r.Position.Axle == 1 && r.Position.Part == fleet.Pad {
			v.Readings = []fleet.Reading{r}
			return true
		}
	}
	return false
}

func noReadings(_ *sim, v *Vehicle) bool {
	v.Readings, v.Truth.Typos = nil, nil
	return true
}

// oldReadings ends the inspections nine months before the end of the records,
// with the parts still on from then.
func oldReadings(s *sim, v *Vehicle) bool {
	last := s.opt.Until - 280
	for i := range v.Truth.Lives {
		if v.Truth.Lives[i].Fitted.Date >= last {
			return false
		}
	}
	v.Readings = slices.DeleteFunc(v.Readings, func(r fleet.Reading) bool { return r.Date > last })
	return len(v.Readings) > 0
}

// mistypedReading gives a reading between others of a present front pad a wrong
// digit, so that it looks thin but not impossible.
func mistypedReading(s *sim, v *Vehicle) bool {
	const shows = 3 // mm off
	l := s.axles[0].on[0]
	if l.part != fleet.Pad {
		return false
	}
	r := stream(islandSeed, streamPen)
	for i := range v.Readings {
		x := &v.Readings[i]
		if x.Position.Axle != 1 || x.Position.Part != fleet.Pad || x.Tripped ||
			x.Date <= s.date(l.fitted) || x.Date == v.Readings[len(v.Readings)-1].Date {
			continue
		}
		meant := x.MM
		wrong, kind := slip(r, meant, 1, l.spec.New)
		if kind == "" || kind == "factor ten" || meant-wrong < shows || wrong < l.spec.Limit {
			continue
		}
		for j := range l.n {
			if l.position(j) == x.Position {
				v.Truth.Typos = append(v.Truth.Typos, Typo{
					Date: x.Date, Position: x.Position, Kind: kind,
					TrueMM: s.value(l, j, float64(int(x.Date)-s.road.day0)), MeantMM: meant, WrittenMM: wrong,
				})
			}
		}
		x.MM, x.Given = wrong, strconv.FormatFloat(wrong, 'f', -1, 64)
		return true
	}
	return false
}

// undeclaredChange takes a change of pads off the record that has inspections
// before and after it.
func undeclaredChange(s *sim, v *Vehicle) bool {
	l := v.Truth.On(1, fleet.Pad, s.opt.Until)
	if l == nil || l.Number < 2 || !l.Declared || l.Fitted.Date > s.opt.Until-60 || l.Fitted.Date < s.opt.Until-300 {
		return false
	}
	before, after := 0, 0
	for _, r := range v.Readings {
		switch {
		case r.Position.Axle != 1 || r.Position.Part != fleet.Pad:
		case r.Date > l.Fitted.Date:
			after++
		default:
			before++
		}
	}
	if before < 4 || after < 4 {
		return false
	}
	v.Fitments = slices.DeleteFunc(v.Fitments, func(f fleet.Fitment) bool {
		return f.Position.Axle == 1 && f.Date == l.Fitted.Date
	})
	for i := range v.Truth.Lives {
		if x := &v.Truth.Lives[i]; x.Axle == 1 && x.Fitted.Date == l.Fitted.Date {
			x.Declared = false
		}
	}
	return true
}

// runBack writes the odometer of one inspection lower than the one before.
func runBack(s *sim, v *Vehicle) bool {
	const back = 20000 // km: one digit read wrongly
	for i := range v.Readings {
		x := &v.Readings[i]
		if x.Date < s.opt.Until-200 || x.OdometerKm == nil || *x.OdometerKm < 1.5*back {
			continue
		}
		meant := *x.OdometerKm
		*x.OdometerKm = meant - back // shared by all readings of the day
		v.Truth.OdometerFaults = append(v.Truth.OdometerFaults, OdometerFault{
			Date: x.Date, Kind: "digit", Km: meant, MeantKm: meant, WrittenKm: meant - back,
		})
		return true
	}
	return false
}

// swapsCluster puts a new instrument cluster in.
func swapsCluster(w *world, p *plan) {
	p.swaps = []float64{float64(w.opt.Until) - 300}
}
