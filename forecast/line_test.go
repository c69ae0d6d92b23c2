package forecast

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// drive is a vehicle that was fitted with new pads on day 0 at km 0 and has one
// reading of day 1000 after so many km.
func drive(spec Spec, km, mm float64) *Vehicle {
	return &Vehicle{
		Class:    "M1",
		Odometer: []Odometer{{0, 0}, {500, km / 2}, {1000, km}},
		Axles: []Axle{{
			Number: 1, Specs: map[Part]Spec{Pad: spec},
			Fitments: []Fitment{{Day: 0, Km: 0, Pos: padLeft}},
			Readings: []Reading{{Day: 1000, Km: km, Pos: padLeft, MM: mm}},
		}},
	}
}

// TestLineTextbook: 12 mm new, 6 mm after 37,856 miles. Mathematics textbook
// for automotive technicians (2019), case study 16, which rounds to 6,309 miles
// a mm and 25,236 miles left; the exact values and the other limits by hand
// (check vectors CV-15 to CV-17).
func TestLineTextbook(t *testing.T) {
	const mile = 1.609344
	for _, c := range []struct {
		name       string
		spec       Spec
		km, mm     float64
		left, rate float64 // km, mm per 10,000 km
	}{
		{"limit 2 mm", Spec{12, 2}, 37856 * mile, 6, 25237.3 * mile, 0.9848},
		{"limit 3 mm", Spec{12, 3}, 37856 * mile, 6, 18928 * mile, 0.9848},
		{"limit 1.5 mm", Spec{12, 1.5}, 37856 * mile, 6, 28392 * mile, 0.9848},
		{"1 mm per 10,000 km", Spec{11, 2}, 50000, 6, 40000, 1},
	} {
		f := Line{}.Forecast(drive(c.spec, c.km, c.mm), 1000, Options{})[0]
		left := f.Crossing.Km.Quantile(.5) - c.km
		if math.Abs(left-c.left) > .1 {
			t.Errorf("%s: %.1f km left, want %.1f", c.name, left, c.left)
		}
		if got := f.Positions[0].RatePer10000; math.Abs(got-c.rate) > 5e-5 {
			t.Errorf("%s: %.5f mm per 10,000 km, want %.4f", c.name, got, c.rate)
		}
		if c.spec.Limit == 2 && c.spec.New == 12 {
			perMM := c.km / mile / (12 - c.mm)
			if math.Abs(perMM-6309.33) > .01 || math.Abs(left/mile-25236) > 1.5 {
				t.Errorf("%.2f miles a mm and %.1f left; the book has 6,309 and 25,236", perMM, left/mile)
			}
			if at := f.Crossing.Km.Quantile(.5) / mile; math.Abs(at-63093) > .5 {
				t.Errorf("limit at %.1f miles, want 63,093", at)
			}
		}
		// It drives km/1000 a day.
		if got, want := f.Crossing.Day.Quantile(.5)-1000, c.left/c.km*1000; math.Abs(got/want-1) > .03 {
			t.Errorf("%s: %.0f days left, want about %.0f", c.name, got, want)
		}
	}
}

// TestLineQuantilesAreFieller: on series S07 of the invented pads, three
// readings and thus one degree of freedom, the quantiles are the ends of the
// Fieller sets that R gives (testdata/regression/expected.csv).
func TestLineQuantilesAreFieller(t *testing.T) {
	v := &Vehicle{Axles: []Axle{{Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 3}}}}}
	day := Day(0)
	for _, r := range csvTable(t, "pads/synthetic_pads.csv") {
		if r["series"] == "S07" {
			day += 100
			km := number(t, r["km_since_new"])
			v.Odometer = append(v.Odometer, Odometer{day, km})
			v.Axles[0].Readings = append(v.Axles[0].Readings, Reading{Day: day, Km: km, Pos: padLeft, MM: number(t, r["thickness_mm"])})
		}
	}
	s := Segments(&v.Axles[0], trackOf(v, day), day, Jump).Series[0]
	l, ok := Line{}.fit(nil, &s)
	if !ok {
		t.Fatal("no line")
	}
	// Its residuals happen to be smaller than any gauge's error.
	fit, err := FitLine([]float64{s.Readings[0].Km, s.Readings[1].Km, s.Readings[2].Km},
		[]float64{12 - s.Readings[0].MM, 12 - s.Readings[1].MM, 12 - s.Readings[2].MM}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if se := math.Sqrt(l.VBB / fit.VBB); math.Abs(se-leastSD/fit.SD) > 1e-9 {
		t.Errorf("standard error %g times the residuals', want %g", se, leastSD/fit.SD)
	}
	l.Trend = fit.Trend
	got := l.crossing(&s)
	for _, r := range csvTable(t, "regression/expected.csv") {
		p, ok := map[string]float64{
			"mean_lo_0.8": .1, "mean_hi_0.8": .9, "mean_lo_0.9": .05, "mean_hi_0.9": .95, "mean_lo_0.95": .025, "mean_hi_0.95": .975,
		}[r["item"]]
		if r["case"] != "pads_S07_ols_n3" || r["section"] != "fieller" || !ok {
			continue
		}
		if q, want := got.Quantile(p), number(t, r["value"]); lre(q, want) < 9 {
			t.Errorf("quantile %g: %.9g, want %.9g", p, q, want)
		}
	}
	if q := got.Quantile(.5); math.Abs(q-74461.93196) > 1e-3 { // x_at_y0 there
		t.Errorf("median %.6f, want 74461.93196", q)
	}
}

// TestLineNever: what the data leave to a slope of zero or less is the chance
// that the limit is never reached. flat5 (invented): slope -0.04, t -0.4714
// with 3 degrees of freedom, two-sided p 0.6695 (R 4.2.2 lm).
func TestLineNever(t *testing.T) {
	v := &Vehicle{Axles: []Axle{{Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 3}}}}}
	for _, r := range csvTable(t, "regression/flat5.csv") {
		x := number(t, r["x"])
		v.Odometer = append(v.Odometer, Odometer{Day(100 * x), 10000 * x})
		v.Axles[0].Readings = append(v.Axles[0].Readings, reading(Day(100*x), padLeft, number(t, r["y"])))
	}
	f := Line{}.Forecast(v, 500, Options{})[0]
	reached := 1 - .669515009204661/2
	for i, p := range Levels {
		if inf := math.IsInf(f.Crossing.Km.X[i], 1); inf != (p > reached) {
			t.Errorf("quantile %g: %g km, want the chance ever to be %.4f", p, f.Crossing.Km.X[i], reached)
		}
	}
}

func TestLineNeedsTwoPoints(t *testing.T) {
	one := []Reading{reading(600, padLeft, 8)}
	near := []Reading{reading(600, padLeft, 8), reading(605, padLeft, 7.9)} // 250 km apart
	for name, rs := range map[string][]Reading{"one": one, "near": near} {
		f := Line{}.Forecast(padVehicle(pad12, 650, rs, nil), 650, Options{})[0]
		if f.Crossing.Km.Known() || f.Limiting != -1 {
			t.Errorf("%s: a line through one place: %v", name, f.Crossing.Km)
		}
		if got := f.Positions[0].ThicknessMM; got != rs[len(rs)-1].MM {
			t.Errorf("%s: thickness %g, want the last reading", name, got)
		}
	}
	f := Line{}.Forecast(padVehicle(pad12, 650, one, []Fitment{fitment(0, padLeft)}), 650, Options{})[0]
	if got := f.Crossing.Km.Quantile(.5); math.Abs(got-75000) > 1 { // 4 mm in 30,000 km
		t.Errorf("with the fitting: %g km, want 75,000", got)
	}
}

// drawVehicle draws an invented car with readings of one position.
func drawVehicle(t *rapid.T) *Vehicle {
	n := rapid.IntRange(1, 7).Draw(t, "readings")
	rate := rapid.Float64Range(.2e-4, 3e-4).Draw(t, "rate")
	known := rapid.Bool().Draw(t, "fitted")
	v := padVehicle(pad12, 1500, nil, nil)
	if known {
		v.Axles[0].Fitments = []Fitment{fitment(0, padLeft)}
	}
	for i := range n {
		d := Day(1400 * (i + 1) / n)
		mm := 12 - rate*50*float64(d) + rapid.Float64Range(-.4, .4).Draw(t, "error")
		v.Axles[0].Readings = append(v.Axles[0].Readings, reading(d, padLeft, max(mm, 0)))
	}
	return v
}

// TestStraightProperties: more wear never moves the limit later; order and
// units do not matter; nothing else than what is known counts.
func TestStraightProperties(t *testing.T) {
	for _, m := range straightModels {
		t.Run(m.Name(), func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				v := drawVehicle(rt)
				f := m.Forecast(v, 1500, Options{Paths: true})[0]
				checkSane(rt, &f)

				// The last reading a little thinner.
				worn := clone(v)
				rs := worn.Axles[0].Readings
				last := &rs[len(rs)-1]
				last.MM = max(0, last.MM-rapid.Float64Range(.01, 2).Draw(rt, "more"))
				g := m.Forecast(worn, 1500, Options{})[0]
				if a, b := f.Crossing.Km.Quantile(.5), g.Crossing.Km.Quantile(.5); b > a+1e-6*math.Abs(a) && !f.Has(PastLimit) {
					rt.Fatalf("limit at %g km, and with more wear at %g", a, b)
				}

				// The same in another order.
				turned := clone(v)
				for i, r := range v.Axles[0].Readings {
					turned.Axles[0].Readings[len(v.Axles[0].Readings)-1-i] = r
				}
				for i, o := range v.Odometer {
					turned.Odometer[len(v.Odometer)-1-i] = o
				}
				g = m.Forecast(turned, 1500, Options{})[0]
				sameQuantiles(rt, "in another order", f.Crossing.Km, g.Crossing.Km, 1)
				sameQuantiles(rt, "in another order", f.Crossing.Day, g.Crossing.Day, 1)

				// What comes later is not known.
				later := clone(v)
				later.Odometer = append(later.Odometer, Odometer{1600, 1e6})
				later.Axles[0].Readings = append(later.Axles[0].Readings, reading(1600, padLeft, 1))
				later.Axles[0].Fitments = append(later.Axles[0].Fitments, fitment(1501, padLeft))
				g = m.Forecast(later, 1500, Options{})[0]
				sameQuantiles(rt, "with a future", f.Crossing.Km, g.Crossing.Km, 1)
			})
		})
	}
}

// TestLineUnits: in miles the limit lies at as many miles.
func TestLineUnits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := drawVehicle(rt)
		f := Line{}.Forecast(v, 1500, Options{})[0]
		miles := clone(v)
		for i := range miles.Odometer {
			miles.Odometer[i].Km /= kmPerMile
		}
		g := Line{}.Forecast(miles, 1500, Options{})[0]
		sameQuantiles(rt, "in miles", f.Crossing.Km, g.Crossing.Km, kmPerMile)
	})
}

func sameQuantiles(t *rapid.T, what string, a, b Dist, unit float64) {
	t.Helper()
	if a.Known() != b.Known() {
		t.Fatalf("%s: known %v, then %v", what, a.Known(), b.Known())
	}
	for i := range a.X {
		if x, y := a.X[i], b.X[i]*unit; x != y && !(math.Abs(x-y) <= 1e-6*(1+math.Abs(x))) {
			t.Fatalf("%s: quantile %g is %g, then %g", what, Levels[i], x, y)
		}
	}
}

// clone copies a vehicle deep enough to change its readings.
func clone(v *Vehicle) *Vehicle {
	out := *v
	out.Odometer = append([]Odometer(nil), v.Odometer...)
	out.Axles = append([]Axle(nil), v.Axles...)
	for i, a := range v.Axles {
		out.Axles[i].Readings = append([]Reading(nil), a.Readings...)
		out.Axles[i].Fitments = append([]Fitment(nil), a.Fitments...)
	}
	return &out
}

func BenchmarkLine(b *testing.B) {
	v := padVehicle(pad12, 1500, nil, []Fitment{fitment(0, Position{Part: Pad})})
	for d := Day(100); d <= 1400; d += 200 {
		for _, p := range places {
			p.Part = Pad
			v.Axles[0].Readings = append(v.Axles[0].Readings, reading(d, p, 12-.006*float64(d)))
		}
	}
	for _, m := range straightModels {
		b.Run(m.Name(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				m.Forecast(v, 1500, Options{})
			}
		})
	}
}
