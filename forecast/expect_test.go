package forecast

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestExpect: invented pads that lose 0.01 mm a day at 50 km a day, read every
// 100 days with no error but rounding.
func TestExpect(t *testing.T) {
	fitted := []Fitment{fitment(0, Position{Part: Pad})}
	v := padVehicle(pad12, 400, steady(.01, 100, 200, 300, 400), fitted)
	for _, m := range []Model{newFull(), &Pooled{}, Line{}} {
		t.Run(m.Name(), func(t *testing.T) {
			es := Expect(m, v, 500, 25_000)
			if len(es) != 4 {
				t.Fatalf("%d positions expected, want the 4 pads: %+v", len(es), es)
			}
			for _, e := range es {
				if math.Abs(e.Median-7) > .3 || !(e.Low < 7 && e.High > 7) {
					t.Errorf("%s: %.2f mm (%.2f to %.2f), want 7", e.Pos, e.Median, e.Low, e.High)
				}
				// The method's gauge and visit errors alone make 3 * 0.32 mm.
				if w := e.High - e.Low; w < 1.9 || w > 4 {
					t.Errorf("%s: range %.2f mm wide, want some 2 to 3", e.Pos, w)
				}
				if e.Last == nil || e.Last.Day != 400 || e.Last.MM != 8 {
					t.Errorf("%s: last reading %+v, want 8 mm on day 400", e.Pos, e.Last)
				}
			}
		})
	}
}

func TestExpectUsesTheOdometer(t *testing.T) {
	v := padVehicle(pad12, 400, steady(.01, 100, 200, 300, 400), []Fitment{fitment(0, Position{Part: Pad})})
	m := newFull()
	far := Expect(m, v, 450, 26_000) // 6000 km on: 1.2 mm
	near := Expect(m, v, 450, 20_000)
	unread := Expect(m, v, 450, math.NaN())
	if d := near[0].Median - far[0].Median; math.Abs(d-1.2) > .4 {
		t.Errorf("6000 km make %.2f mm, want about 1.2", d)
	}
	width := func(e Expected) float64 { return e.High - e.Low }
	if !(width(unread[0]) > width(near[0])) {
		t.Errorf("unread odometer: range %.2f mm wide, want more than the %.2f with it", width(unread[0]), width(near[0]))
	}
	roomy := *v
	roomy.Odometer = append(make([]Odometer, 0, 100), v.Odometer...)
	Expect(m, &roomy, 450, 26_000)
	if got := roomy.Odometer[:len(v.Odometer)+1]; got[len(v.Odometer)] != (Odometer{}) {
		t.Errorf("the vehicle was changed: its readings go on with %+v", got[len(v.Odometer)])
	}
}

// TestExpectLast: of many visits the model looks at medians, people at what was
// read last.
func TestExpectLast(t *testing.T) {
	var days []Day
	for d := Day(5); d <= 400; d += 5 {
		days = append(days, d)
	}
	v := padVehicle(pad12, 400, append(steady(.01, days...), reading(400, allPads[1], 7.2)), []Fitment{fitment(0, Position{Part: Pad})})
	for i, want := range []float64{8, 7.2, 8, 8} {
		if e := Expect(newFull(), v, 410, math.NaN())[i]; e.Last == nil || e.Last.Day != 400 || e.Last.MM != want {
			t.Errorf("%s: last reading %+v, want %g mm on day 400", e.Pos, e.Last, want)
		}
	}
}

// TestExpectGrowing: a drum's diameter grows, and its range is in order.
func TestExpectGrowing(t *testing.T) {
	v := &Vehicle{ID: "1", Odometer: []Odometer{{0, 0}, {400, 20_000}}, Axles: []Axle{{
		Number: 1,
		Specs:  map[Part]Spec{Drum: {New: 300, Limit: 303}, Lining: {New: 15, Limit: 4}},
		Readings: []Reading{
			{Day: 100, Km: math.NaN(), Pos: Position{Part: Lining, Side: "left"}, MM: 14},
			{Day: 200, Km: math.NaN(), Pos: Position{Part: Drum, Side: "left"}, MM: 300.5},
		},
	}}}
	for _, e := range Expect(newFull(), v, 400, 20_000) {
		if !(e.Low <= e.Median && e.Median <= e.High) {
			t.Errorf("%s: %g is not within %g to %g", e.Pos, e.Median, e.Low, e.High)
		}
		if e.Pos == (Position{Part: Drum, Side: "left"}) && !(e.Median >= 300.4 && e.Median < 303) {
			t.Errorf("drum read 300.5 mm is expected at %g", e.Median)
		}
	}
}

// TestExpectOfSome: the parts that are asked for are expected to show what they are
// where all are asked for, to the last bit.
func TestExpectOfSome(t *testing.T) {
	m := newFull()
	rapid.Check(t, func(t *rapid.T) {
		v := anyAxle(t)
		v.Axles = append(v.Axles, anyAxle(t).Axles...)
		var all []AxlePart
		for i := range v.Axles {
			a := &v.Axles[i]
			a.Number = i + 1
			a.Specs = map[Part]Spec{Pad: a.Specs[Pad], Rotor: {New: 30, Limit: 27}}
			for _, r := range slices.Clone(a.Readings) {
				if r.Pos.Side != "" && rapid.IntRange(0, 3).Draw(t, "rotor too") == 0 {
					a.Readings = append(a.Readings, reading(r.Day, Position{Part: Rotor, Side: r.Pos.Side}, 28+r.MM/6))
				}
			}
			all = append(all, AxlePart{a.Number, Pad}, AxlePart{a.Number, Rotor})
		}
		of := rapid.SliceOfNDistinct(rapid.SampledFrom(all), 1, len(all), rapid.ID).Draw(t, "asked for")
		day := v.Odometer[len(v.Odometer)-1].Day + Day(rapid.IntRange(0, 300).Draw(t, "later"))
		// in is what is said of those asked for.
		in := func(es []Expected) (out []string) {
			for _, e := range es {
				if slices.Contains(of, AxlePart{e.Axle, e.Pos.Part}) {
					last := Reading{}
					if e.Last != nil {
						last = *e.Last
					}
					e.Last = nil
					out = append(out, fmt.Sprint(e, last))
				}
			}
			return out
		}
		want, got := in(Expect(m, v, day, math.NaN())), in(Expect(m, v, day, math.NaN(), of...))
		if !slices.Equal(got, want) {
			t.Errorf("of %v got\n%q, want\n%q", of, got, want)
		}
	})
}

// BenchmarkExpect is one visit of a vehicle with one axle, four places and six
// earlier visits.
func BenchmarkExpect(b *testing.B) {
	v := padVehicle(pad12, 600, steady(.01, 100, 200, 300, 400, 500, 600), []Fitment{fitment(0, Position{Part: Pad})})
	m := newFull()
	for b.Loop() {
		Expect(m, v, 650, 32_500)
	}
}
