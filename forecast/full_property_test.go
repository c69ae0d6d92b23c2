package forecast

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// All vehicles in this file are invented.

// anyAxle draws a vehicle with pads that wear, with gauge errors, odd readings,
// gaps and fittings.
func anyAxle(t *rapid.T) *Vehicle {
	n := rapid.IntRange(0, 6).Draw(t, "visits")
	perDay := rapid.Float64Range(.001, .03).Draw(t, "mm per day")
	day, from := Day(0), Day(0)
	var rs []Reading
	var fs []Fitment
	if rapid.Bool().Draw(t, "declared") {
		fs = append(fs, fitment(0, Position{Part: Pad}))
	}
	places := rapid.SampledFrom([][]Position{allPads, {allPads[1], allPads[3]}, {{Part: Pad}}, {allPads[0]}}).Draw(t, "places")
	for range n {
		day += Day(rapid.IntRange(0, 250).Draw(t, "days on"))
		for _, p := range places {
			mm := 12 - perDay*float64(day-from) + rapid.Float64Range(-.6, .6).Draw(t, "error")
			if rapid.IntRange(0, 15).Draw(t, "odd") == 0 {
				mm = rapid.Float64Range(0, 13).Draw(t, "odd mm")
			}
			rs = append(rs, reading(day, p, max(0, mm)))
		}
		if rapid.IntRange(0, 4).Draw(t, "change") == 0 {
			from = day
			if rapid.Bool().Draw(t, "recorded") {
				fs = append(fs, fitment(day, Position{Part: Pad}))
			}
		}
	}
	return padVehicle(pad12, day+10, rs, fs)
}

func TestFullSaneProperty(t *testing.T) {
	m := newFull()
	rapid.Check(t, func(t *rapid.T) {
		v := anyAxle(t)
		asOf := v.Odometer[len(v.Odometer)-1].Day + Day(rapid.IntRange(0, 600).Draw(t, "later"))
		f := m.Forecast(v, asOf, Options{Paths: true})
		checkSane(t, &f[0])
	})
}

// TestLeftOnSaneProperty: rotors, measured once at the most, that sets of pads outlast or not.
func TestLeftOnSaneProperty(t *testing.T) {
	m := newFull()
	rapid.Check(t, func(t *rapid.T) {
		fs := []Fitment{fitment(0, Position{Part: Rotor})}
		var rs []Reading
		if rapid.Bool().Draw(t, "measured") {
			day := Day(rapid.IntRange(0, 1000).Draw(t, "measured on"))
			mm := rapid.Float64Range(22.9, 24).Draw(t, "mm")
			rs = append(rs, reading(day, Position{Part: Rotor, Side: "left"}, mm), reading(day, Position{Part: Rotor, Side: "right"}, mm))
		}
		end := Day(0)
		for range rapid.IntRange(1, 5).Draw(t, "sets of pads") {
			end += Day(rapid.IntRange(0, 1500).Draw(t, "days on"))
			fs = append(fs, fitment(end, Position{Part: Pad}))
			for _, r := range steady(rapid.Float64Range(.003, .02).Draw(t, "mm per day"), 200, 400) {
				r.Day += end
				rs = append(rs, r)
			}
			end += 400
		}
		checkLeftOn(t, m, rs, fs, end)
	})
}

// checkLeftOn wants of an axle with rotors of 25 mm to 23 that their band lies about what it is
// drawn around and not above new ones.
func checkLeftOn(t rapid.TB, m Model, rs []Reading, fs []Fitment, end Day) {
	t.Helper()
	v := padVehicle(pad12, end, rs, fs)
	v.Axles[0].Specs[Rotor] = Spec{New: 25, Limit: 23}
	f := m.Forecast(v, end, Options{Paths: true})
	checkSane(t, &f[0])
	for _, p := range f[0].Positions {
		for _, x := range p.Path {
			if p.Pos.Part == Rotor && x.Hi > 25.5 { // half a millimetre for what a gauge and new ones are off
				t.Errorf("%s: %.2f mm (%.2f to %.2f) at %.0f km, want none above 25", p.Pos, x.Mid, x.Lo, x.Hi, x.Km)
			}
		}
	}
}

// TestFullMoreWear: lower values at the last visit never move the limit later,
// as long as no reading is out of line.
func TestFullMoreWear(t *testing.T) {
	m := newFull()
	fit := []Fitment{fitment(0, Position{Part: Pad})}
	rapid.Check(t, func(t *rapid.T) {
		perDay := rapid.Float64Range(.004, .015).Draw(t, "mm per day")
		rs := steady(perDay, 150, 300, 450)
		less := slices.Clone(rs)
		by := rapid.Float64Range(.05, .4).Draw(t, "more wear")
		for i := 8; i < 12; i++ {
			less[i].MM -= by
		}
		a := m.Forecast(padVehicle(pad12, 460, rs, fit), 460, Options{})[0]
		b := m.Forecast(padVehicle(pad12, 460, less, fit), 460, Options{})[0]
		for i, p := range Levels {
			// In the far tails a surprise widens the forecast more than it moves it.
			if x, y := a.Crossing.Km.X[i], b.Crossing.Km.X[i]; p <= .95 && y > x+1 {
				t.Fatalf("%g mm more wear moves the %g quantile from %g to %g km", by, p, x, y)
			}
		}
	})
}

// TestFullOrder: the order of readings, fittings and axles does not matter.
func TestFullOrder(t *testing.T) {
	m := newFull()
	rapid.Check(t, func(t *rapid.T) {
		v := anyAxle(t)
		w := clone(v)
		w.Axles[0].Readings = rapid.Permutation(w.Axles[0].Readings).Draw(t, "readings")
		w.Axles[0].Fitments = rapid.Permutation(w.Axles[0].Fitments).Draw(t, "fitments")
		w.Odometer = rapid.Permutation(w.Odometer).Draw(t, "odometer")
		asOf := v.Odometer[len(v.Odometer)-1].Day
		a, b := m.Forecast(v, asOf, Options{})[0], m.Forecast(w, asOf, Options{})[0]
		if !slices.Equal(a.Crossing.Km.X, b.Crossing.Km.X) {
			t.Fatalf("crossing %v, in another order %v", a.Crossing.Km.X, b.Crossing.Km.X)
		}
	})
}

// TestFullUninformative: one more reading that is as expected, by a gauge that
// shows whole 5 mm, changes little.
func TestFullUninformative(t *testing.T) {
	m := newFull()
	fit := []Fitment{fitment(0, Position{Part: Pad})}
	rapid.Check(t, func(t *rapid.T) {
		perDay := rapid.Float64Range(.004, .015).Draw(t, "mm per day")
		rs := steady(perDay, 150, 300, 450)
		more := append(slices.Clone(rs), Reading{Day: 460, Km: nan, Pos: allPads[0], MM: 12 - 460*perDay, Step: 5})
		a := m.Forecast(padVehicle(pad12, 460, rs, fit), 460, Options{})[0]
		b := m.Forecast(padVehicle(pad12, 460, more, fit), 460, Options{})[0]
		for _, p := range []float64{.05, .5, .95} {
			x, y := a.Crossing.Km.Quantile(p)-a.OdometerKm, b.Crossing.Km.Quantile(p)-b.OdometerKm
			if math.Abs(x-y) > .03*math.Abs(x)+100 {
				t.Fatalf("the %g quantile moves from %g to %g km ahead", p, x, y)
			}
		}
	})
}
