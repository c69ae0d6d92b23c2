package plan

import (
	"math"
	"testing"

	"brakewear/forecast"
)

// TestWasted compares with left·E[max(0, T-day)/T] by hand, now being 0 and 10 mm left; T even
// between 0 and 200 gives (100 - 100 ln 2)/200 for day 100.
func TestWasted(t *testing.T) {
	always := func(x float64) forecast.Dist { return forecast.DistOf(func(float64) float64 { return x }) }
	for _, c := range []struct {
		name  string
		limit forecast.Dist
		day   float64
		want  float64
	}{
		{"at once", always(100), 0, 10},
		{"early", always(100), 40, 6},
		{"on the day", always(100), 100, 0},
		{"late", always(100), 120, 0},
		{"reached before now", always(-5), 0, 0},
		{"reached never", always(math.Inf(1)), 40, 10},
		{"uncertain", forecast.DistOf(func(p float64) float64 { return 200 * p }), 100, 10 * (100 - 100*math.Ln2) / 200},
	} {
		if got := Wasted(c.limit, 0, 10, c.day); math.Abs(got-c.want) > .01 {
			t.Errorf("%s: got %g mm, want %g", c.name, got, c.want)
		}
	}
}

// TestOutlook: the limit is reached on a day evenly between 1000 and 1200, which is in 50 days
// with a chance of a quarter and in 10 with the 5 % that are accepted.
func TestOutlook(t *testing.T) {
	pad := forecast.Spec{New: 20, Limit: 3}
	day := forecast.DistOf(func(p float64) float64 { return 1000 + 200*p })
	axle := func(mm float64, spec forecast.Spec, warnings ...forecast.Warning) forecast.AxleForecast {
		return forecast.AxleForecast{
			Axle: 2, AsOf: 1000, Crossing: forecast.Crossing{Day: day}, Warnings: warnings,
			Positions: []forecast.PositionForecast{{ThicknessMM: mm, Spec: spec}},
		}
	}
	p := &Problem{Start: 1050, Days: 3}
	for _, c := range []struct {
		name         string
		f            forecast.AxleForecast
		left, usable float64 // mm
	}{
		{"pads", axle(5, pad), 2, 17},
		{"thicker than new", axle(21, pad), 17, 17},
		{"a drum", axle(229.6, forecast.Spec{New: 228.6, Limit: 230.6}), 1, 2},
	} {
		var j Job
		if !j.Outlook(&c.f, p) || j.Axle != 2 || j.Usable != c.usable || len(j.Past) != 3 || len(j.Wasted) != 3 {
			t.Errorf("%s: got %+v", c.name, j)
			continue
		}
		for d := range 3 {
			if want := .25 + .005*float64(d); math.Abs(j.Past[d]-want) > 1e-9 {
				t.Errorf("%s: day %d passed with %g, want %g", c.name, d, j.Past[d], want)
			}
			if want := Wasted(day, 1000, c.left, 1050+float64(d)); math.Abs(j.Wasted[d]-want) > 1e-9 {
				t.Errorf("%s: day %d wastes %g mm, want %g", c.name, d, j.Wasted[d], want)
			}
		}
		if least, most := Wasted(day, 1000, c.left, 1011), Wasted(day, 1000, c.left, 1008); j.After < least || j.After > most {
			t.Errorf("%s: %g mm wasted of the next set, want what day 1010 wastes, %g to %g", c.name, j.After, least, most)
		}
	}
	var j Job
	f := axle(3, pad, forecast.Warning{Code: forecast.PastLimit})
	if !j.Outlook(&f, p) || j.Past[0] != 1 || j.Past[2] != 1 || j.Wasted[0] != 0 || j.After != 0 {
		t.Errorf("measured at its limit: got %+v, want it passed for sure, and nothing wasted", j)
	}
	f = axle(5, pad)
	f.Crossing.Day = forecast.Dist{}
	if j.Outlook(&f, p) {
		t.Errorf("no date: got %+v", j)
	}
	f = axle(5, pad)
	f.Limiting = -1
	if j.Outlook(&f, p) {
		t.Errorf("nothing measured: got %+v", j)
	}
}
