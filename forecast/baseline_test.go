package forecast

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// padVehicle is an invented car, front axle with these pads, that drives
// 50 km a day from day 0 to asOf.
func padVehicle(spec Spec, asOf Day, readings []Reading, fitments []Fitment) *Vehicle {
	v := &Vehicle{ID: "V1", Class: "M1", Axles: []Axle{{
		Number: 1, Specs: map[Part]Spec{Pad: spec}, Readings: readings, Fitments: fitments,
	}}}
	for d := Day(0); d <= asOf; d += 30 {
		v.Odometer = append(v.Odometer, Odometer{d, 50 * float64(d)})
	}
	return v
}

// checkSane wants what holds for every forecast whatever went in.
func checkSane(t rapid.TB, f *AxleForecast) {
	t.Helper()
	checkDist := func(what string, d Dist) {
		t.Helper()
		if len(d.X) == 0 {
			return
		}
		if !d.Known() {
			t.Errorf("%s: %d quantiles", what, len(d.X))
		}
		for i, x := range d.X {
			if math.IsNaN(x) || math.IsInf(x, -1) || i > 0 && x < d.X[i-1] {
				t.Errorf("%s: quantile %g is %g in %v", what, Levels[i], x, d.X)
				return
			}
		}
	}
	checkDist("axle km", f.Crossing.Km)
	checkDist("axle day", f.Crossing.Day)
	for _, p := range f.Positions {
		checkDist(p.Pos.String()+" km", p.Crossing.Km)
		checkDist(p.Pos.String()+" day", p.Crossing.Day)
		if p.ThicknessMM < 0 || math.IsInf(p.ThicknessMM, 0) || math.IsNaN(p.ThicknessMM) && p.Readings > 0 {
			t.Errorf("%s: thickness %g", p.Pos, p.ThicknessMM)
		}
		if p.RatePer10000 < 0 || math.IsInf(p.RatePer10000, 0) || math.IsNaN(p.RatePer10000) && p.Crossing.Km.Known() && p.Readings > 1 {
			t.Errorf("%s: rate %g", p.Pos, p.RatePer10000)
		}
		for i, q := range p.Path {
			if math.IsNaN(q.Km+q.Mid+q.Lo+q.Hi) || q.Lo > q.Mid || q.Mid > q.Hi || i > 0 && q.Km < p.Path[i-1].Km {
				t.Errorf("%s: path point %d is %v", p.Pos, i, q)
				break
			}
		}
	}
	if f.Limiting >= len(f.Positions) || f.Limiting < 0 && f.Crossing.Km.Known() {
		t.Errorf("limiting %d of %d", f.Limiting, len(f.Positions))
	}
	if f.Crossing.Day.Quantile(.5) < float64(f.AsOf) && !f.Has(PastLimit) {
		t.Errorf("median day %g before %d, and no word of it: %v", f.Crossing.Day.Quantile(.5), f.AsOf, f.Warnings)
	}
	for _, w := range f.Warnings {
		if w.Text == "" || strings.Contains(w.Text, "NaN") || strings.Contains(w.Text, "%!") {
			t.Errorf("warning %s: %q", w.Code, w.Text)
		}
	}
}

// straightModels are the two models of straight lines, untrained.
var straightModels = []Model{Line{}, &Pooled{}}

// TestBadInput: all invented.
func TestBadInput(t *testing.T) {
	const asOf = 900
	left, right := padLeft, Position{Part: Pad, Side: "right"}
	many := make([]Reading, 10_000)
	for i := range many {
		many[i] = reading(Day(i%asOf), left, 12-8*float64(i%asOf)/asOf+.1*float64(i%7))
	}
	new0 := []Fitment{fitment(0, Position{Part: Pad})}
	good := []Reading{reading(300, left, 10), reading(600, left, 8), reading(600, right, 8.5)}
	for _, c := range []struct {
		name     string
		spec     Spec
		readings []Reading
		fitments []Fitment
		want     []Code // of both models
		known    bool   // a limit is forecast by both
	}{
		{"good", pad12, good, new0, nil, true},
		{"one position only", pad12, good[:2], new0, nil, true},
		{"negative thickness", pad12, append([]Reading{reading(700, left, -3)}, good...), new0, []Code{BadInput}, true},
		{"thicker than new", pad12, append([]Reading{reading(700, left, 30)}, good...), new0, []Code{BadInput}, true},
		{"not a number", pad12, append([]Reading{reading(700, left, nan)}, good...), new0, []Code{BadInput}, true},
		{"infinite", pad12, append([]Reading{reading(700, left, math.Inf(1))}, good...), new0, []Code{BadInput}, true},
		{"all equal", pad12, []Reading{reading(300, left, 9), reading(500, left, 9), reading(700, left, 9)}, nil, nil, true},
		{"rising", pad12, []Reading{reading(300, left, 8), reading(500, left, 8.8), reading(700, left, 9.6)}, nil, []Code{Rising}, true},
		{"two of one day that disagree", pad12, append([]Reading{reading(600, left, 4)}, good...), new0, nil, true},
		{"limit above new", Spec{New: 2, Limit: 12}, good, new0, []Code{BadInput}, false},
		{"limit equals new", Spec{New: 12, Limit: 12}, good, new0, []Code{BadInput}, false},
		{"specification not a number", Spec{New: nan, Limit: 2}, good, new0, []Code{BadInput}, false},
		{"dates in the future", pad12, []Reading{reading(1000, left, 5), reading(2000, left, 3)}, []Fitment{fitment(950, left)}, []Code{NoReadings}, false},
		{"fitted in the future", pad12, good, append([]Fitment{fitment(5000, left)}, new0...), nil, true},
		{"fitted thinner than the limit", pad12, good, []Fitment{{Day: 0, Km: nan, Pos: Position{Part: Pad}, MM: 1}}, []Code{BadInput}, true},
		{"10,000 readings", pad12, many, nil, nil, true},
		{"at the limit", pad12, append([]Reading{reading(890, left, 2)}, good...), new0, []Code{PastLimit}, true},
		{"one reading, past the limit", pad12, []Reading{reading(890, left, 1.5)}, nil, []Code{PastLimit, FewReadings}, true},
		{"long ago", pad12, []Reading{reading(100, left, 11), reading(200, left, 10.5)}, nil, []Code{OldReadings}, true},
		{"no readings at all", pad12, nil, nil, []Code{NoReadings}, false},
		{"a side that is none", pad12, append([]Reading{reading(600, Position{Part: Pad, Side: "middle", Face: "top"}, 7)}, good...), append([]Fitment{fitment(100, Position{Part: Pad, Side: "middle"})}, new0...), nil, true},
		{"sensor signal alone", pad12, []Reading{{Day: 800, Km: nan, Pos: left, MM: 3, Tripped: true}}, new0, []Code{FewReadings}, true},
		{"a reading of a part without values", pad12, append([]Reading{reading(600, Position{Part: Rotor}, 24)}, good...), new0, []Code{NoSpec}, true},
	} {
		for _, m := range straightModels {
			t.Run(c.name+"/"+m.Name(), func(t *testing.T) {
				v := padVehicle(c.spec, asOf, c.readings, c.fitments)
				fs := m.Forecast(v, asOf, Options{Paths: true})
				if len(fs) != 1 {
					t.Fatalf("%d forecasts, want 1", len(fs))
				}
				checkSane(t, &fs[0])
				for _, code := range c.want {
					if !fs[0].Has(code) {
						t.Errorf("no warning %s in %v", code, fs[0].Warnings)
					}
				}
				if fs[0].Has(Rising) && c.name != "rising" && c.name != "all equal" {
					t.Errorf("the thickness falls, but it says %v", fs[0].Warnings)
				}
				if c.known && !fs[0].Crossing.Km.Known() {
					t.Errorf("no limit forecast: %v", fs[0].Warnings)
				}
				if len(c.want) == 0 {
					for _, w := range fs[0].Warnings {
						if w.Code == BadInput || w.Code == PastLimit {
							t.Errorf("warning %v", w)
						}
					}
				}
			})
		}
	}
}

// TestBadOdometer: all invented.
func TestBadOdometer(t *testing.T) {
	readings := []Reading{reading(300, padLeft, 10), reading(600, padLeft, 8)}
	for _, c := range []struct {
		name     string
		odometer []Odometer
		want     Code
		km       bool // a distance is forecast
	}{
		{"none", nil, UsageUnknown, false},
		{"one", []Odometer{{500, 40000}}, UsageUnknown, true},
		{"standing still", []Odometer{{0, 40000}, {300, 40000}, {600, 40000}, {890, 40000}}, Standing, false},
		{"not numbers", []Odometer{{0, nan}, {300, math.Inf(1)}, {600, -5}}, UsageUnknown, false},
		{"running backwards", []Odometer{{0, 50000}, {300, 40000}, {600, 30000}, {890, 20000}}, OdometerFault, false},
	} {
		for _, m := range straightModels {
			t.Run(c.name+"/"+m.Name(), func(t *testing.T) {
				v := padVehicle(pad12, 0, readings, nil)
				v.Odometer = c.odometer
				f := m.Forecast(v, 900, Options{Paths: true})[0]
				checkSane(t, &f)
				if c.name != "running backwards" && !f.Has(c.want) {
					t.Errorf("no warning %s in %v", c.want, f.Warnings)
				}
				if c.km && !f.Crossing.Km.Known() {
					t.Errorf("no distance: %v", f.Warnings)
				}
				if !c.km && c.name == "none" && f.Crossing.Km.Known() {
					t.Errorf("a distance from nothing: %v", f.Crossing.Km)
				}
			})
		}
	}
}

// TestMeasuredPastLimitRules: a part last measured at or below its limit is
// past it, whatever the line through its readings says.
func TestMeasuredPastLimitRules(t *testing.T) {
	readings := []Reading{reading(100, padLeft, 9), reading(400, padLeft, 8.8), reading(700, padLeft, 2)}
	for _, m := range straightModels {
		f := m.Forecast(padVehicle(pad12, 720, readings, nil), 720, Options{})[0]
		if !f.Has(PastLimit) {
			t.Errorf("%s: no word of the limit: %v", m.Name(), f.Warnings)
		}
		if d := f.Crossing.Day.Quantile(.999); d > 700 {
			t.Errorf("%s: the limit may come on day %g, after the reading that was at it", m.Name(), d)
		}
	}
}

// TestAxleIsFirstPosition: the chance of the axle is the greatest of its
// positions'.
func TestAxleIsFirstPosition(t *testing.T) {
	right := Position{Part: Pad, Side: "right"}
	readings := []Reading{
		reading(200, padLeft, 10), reading(400, padLeft, 8.1), reading(600, padLeft, 6),
		reading(200, right, 11), reading(400, right, 9.2), reading(600, right, 8),
	}
	for _, m := range straightModels {
		f := m.Forecast(padVehicle(pad12, 600, readings, nil), 600, Options{})[0]
		if len(f.Positions) != 2 || f.Positions[f.Limiting].Pos != padLeft {
			t.Fatalf("%s: limiting %d of %v", m.Name(), f.Limiting, f.Positions)
		}
		for km := 0.0; km < 2e5; km += 500 {
			want := max(f.Positions[0].Crossing.Km.CDF(km), f.Positions[1].Crossing.Km.CDF(km))
			if got := f.Crossing.Km.CDF(km); math.Abs(got-want) > 2e-3 {
				t.Errorf("%s: chance by %g km is %g, want %g", m.Name(), km, got, want)
			}
		}
	}
}

// TestDashboardScale: after a change of the cluster the limit is told on the
// scale of the new one.
func TestDashboardScale(t *testing.T) {
	v := padVehicle(pad12, 0, []Reading{reading(300, padLeft, 10), reading(600, padLeft, 8), reading(870, padLeft, 6.2)}, nil)
	v.Odometer = nil
	for d := Day(0); d <= 900; d += 30 {
		km := 100e3 + 50*float64(d)
		if d > 450 {
			km = 50 * float64(d-450) // a new cluster, from 0
		}
		v.Odometer = append(v.Odometer, Odometer{d, km})
	}
	f := Line{}.Forecast(v, 900, Options{Paths: true})[0]
	checkSane(t, &f)
	// 2 mm in 15,000 km: 4.2 mm from 6.2 mm at about 21,000 km of the new cluster.
	if got := f.Crossing.Km.Quantile(.5); math.Abs(got-52500) > 1500 {
		t.Errorf("limit at %.0f km, want about 52,500", got)
	}
	if math.Abs(f.OdometerKm-22500) > 1 {
		t.Errorf("odometer %.0f km, want 22,500", f.OdometerKm)
	}
	if p := f.Positions[0].Path; math.Abs(p[0].Km-(-7500)) > 200 {
		t.Errorf("path starts at %.0f km, want the first reading's -7,500", p[0].Km)
	}
}

// TestUnmeasuredRotorDoesNotDecide: nothing is known of the rotors, so they
// are not forecast where the pads were measured.
func TestUnmeasuredRotorDoesNotDecide(t *testing.T) {
	v := padVehicle(pad12, 600, []Reading{reading(300, padLeft, 10), reading(600, padLeft, 8)}, nil)
	v.Axles[0].Specs[Rotor] = Spec{New: 24, Limit: 22}
	f := (&Pooled{}).Forecast(v, 600, Options{})[0]
	for _, p := range f.Positions {
		if p.Pos.Part == Rotor {
			t.Errorf("forecast of %v", p.Pos)
		}
	}
	v.Axles[0].Readings = append(v.Axles[0].Readings, reading(600, Position{Part: Rotor, Side: "left"}, 22.1))
	f = (&Pooled{}).Forecast(v, 600, Options{})[0]
	if p := f.Positions[f.Limiting]; p.Pos.Part != Rotor {
		t.Errorf("limiting %v, want the rotor a tenth above its limit", p.Pos)
	}
}
