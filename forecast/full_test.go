package forecast

import (
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// All vehicles in this file are invented.

var allPads = []Position{
	{Pad, "left", "inner"}, {Pad, "left", "outer"}, {Pad, "right", "inner"}, {Pad, "right", "outer"},
}

func newFull() *Full { return &Full{Params: DefaultParams()} }

// steady returns readings of all four pads every 90 days from new at 12 mm on
// day 0, falling by mm a day.
func steady(mmPerDay float64, days ...Day) []Reading {
	var out []Reading
	for _, d := range days {
		for _, p := range allPads {
			out = append(out, reading(d, p, math.Round(10*(12-mmPerDay*float64(d)))/10))
		}
	}
	return out
}

func one(t testing.TB, m Model, v *Vehicle, asOf Day) AxleForecast {
	t.Helper()
	fs := m.Forecast(v, asOf, Options{Paths: true})
	if len(fs) != 1 {
		t.Fatalf("%d forecasts, want 1", len(fs))
	}
	checkSane(t, &fs[0])
	return fs[0]
}

func codes(f *AxleForecast) []Code {
	var out []Code
	for _, w := range f.Warnings {
		out = append(out, w.Code)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func TestFullSteady(t *testing.T) {
	// 0.01 mm a day at 50 km a day: 2 mm per 10,000 km, limit 2 mm after
	// 1000 days and 50,000 km.
	fit := []Fitment{fitment(0, Position{Part: Pad})}
	f := one(t, newFull(), padVehicle(pad12, 600, steady(.01, 100, 200, 300, 400, 500, 600), fit), 600)
	if got := f.Crossing.Km.Quantile(.5); math.Abs(got-50_000) > 3000 {
		t.Errorf("median %g km, want 50,000 within 3000", got)
	}
	if got := f.Crossing.Day.Quantile(.5); math.Abs(got-1000) > 60 {
		t.Errorf("median day %g, want 1000 within 60", got)
	}
	if len(f.Positions) != 4 || f.Readings != 24 {
		t.Errorf("%d positions, %d readings; want 4 and 24", len(f.Positions), f.Readings)
	}
	for _, p := range f.Positions {
		if math.Abs(p.ThicknessMM-6) > .3 || math.Abs(p.RatePer10000-2) > .3 {
			t.Errorf("%s: %g mm, %g mm per 10,000 km; want 6 and 2", p.Pos, p.ThicknessMM, p.RatePer10000)
		}
		if p.Since != 0 || !p.SinceKnown || p.Readings != 6 {
			t.Errorf("%s: since %d (%v) from %d readings", p.Pos, p.Since, p.SinceKnown, p.Readings)
		}
		if !(p.Crossing.Km.Quantile(.5) >= f.Crossing.Km.Quantile(.5)) {
			t.Errorf("%s: its median comes before the axle's", p.Pos)
		}
		// The path goes from new through what was read (9 mm at 15,000 km) and what is now past
		// the limit, and is the less certain the farther ahead.
		for km, mm := range map[float64]float64{0: 12, 15_000: 9, 30_000: 6, 50_000: 2} {
			if mid, half, ok := pathAt(p.Path, km); !ok || math.Abs(mid-mm) > .5 || km == 30_000 && half > .5 || km == 50_000 && half < .5 {
				t.Errorf("%s: the path has %g ± %g mm at %g km (%v), want %g", p.Pos, mid, half, km, ok, mm)
			}
		}
	}
	if want := []Code{DefaultPrior}; !slices.Equal(codes(&f), want) {
		t.Errorf("warnings %v, want %v", f.Warnings, want)
	}
	b := f.Basis
	if sum := b.ShareWear + b.ShareUsage + b.ShareGauge + b.ShareStart; math.Abs(sum-1) > 1e-9 {
		t.Errorf("shares add up to %g: %+v", sum, b)
	}
	if !(b.Width80IfMeasured > 0 && b.Width80IfMeasured < b.Width80Days) {
		t.Errorf("width %g days, %g after one more inspection", b.Width80Days, b.Width80IfMeasured)
	}
}

// TestFullWarns holds the model to a word on everything out of the ordinary.
func TestFullWarns(t *testing.T) {
	whole := []Fitment{fitment(0, Position{Part: Pad})}
	good := steady(.01, 100, 200, 300, 400)
	with := func(rs ...Reading) []Reading { return append(slices.Clone(good), rs...) }
	changed := steady(.01, 100, 200, 300, 400)
	for _, p := range allPads {
		changed = append(changed, reading(500, p, 11.6))
	}
	dragged := steady(.01, 100, 200, 300)
	for _, d := range []Day{400, 500} {
		for i, p := range allPads {
			mm := 12 - .01*float64(d)
			if i < 2 {
				mm -= []float64{.024, .010}[i] * float64(d-300)
			}
			dragged = append(dragged, reading(d, p, math.Round(10*mm)/10))
		}
	}
	for _, c := range []struct {
		name     string
		readings []Reading
		want     []Code
		unwanted []Code
	}{
		{"nothing odd", good, nil, []Code{SetAsideCode, Remeasure, PartChange, Dragging, PastLimit}},
		{"too thick", with(reading(450, allPads[0], 11.5), reading(450, allPads[1], 7.5)), []Code{SetAsideCode}, []Code{Remeasure, PartChange}},
		{"too thin, not borne out", with(reading(450, allPads[0], 2.5), reading(450, allPads[1], 7.5), reading(450, allPads[2], 7.5), reading(450, allPads[3], 7.5)), []Code{Remeasure}, nil},
		{"too thin, contradicted since", append(append(steady(.01, 100, 200), reading(250, allPads[0], 4)), steady(.01, 300, 400)...), []Code{SetAsideCode}, []Code{Remeasure}},
		{"new pads that nobody recorded", changed, []Code{PartChange}, nil},
		{"a caliper drags", dragged, []Code{Dragging}, []Code{PartChange}},
		{"last measured at the limit", with(reading(450, allPads[0], 2), reading(450, allPads[2], 2.1)), []Code{PastLimit}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := one(t, newFull(), padVehicle(pad12, 520, c.readings, whole), 520)
			for _, code := range c.want {
				if !f.Has(code) {
					t.Errorf("no warning %s in %v", code, f.Warnings)
				}
			}
			for _, code := range c.unwanted {
				if f.Has(code) {
					t.Errorf("unwanted warning %s in %v", code, f.Warnings)
				}
			}
			if f.Has(SetAsideCode) != (len(f.Basis.SetAside) > 0) {
				t.Errorf("set aside %v, warnings %v", f.Basis.SetAside, f.Warnings)
			}
			if f.Has(PartChange) != (len(f.Basis.Changes) > 0) {
				t.Errorf("changes %v, warnings %v", f.Basis.Changes, f.Warnings)
			}
		})
	}
}

// TestFullThinReading: a thin reading that stands alone never makes the shown
// date later than without it.
func TestFullThinReading(t *testing.T) {
	whole := []Fitment{fitment(0, Position{Part: Pad})}
	good := steady(.01, 100, 200, 300, 400)
	without := one(t, newFull(), padVehicle(pad12, 450, good, whole), 450)
	for mm := 7.5; mm > 1; mm -= .5 {
		f := one(t, newFull(), padVehicle(pad12, 450, append(slices.Clone(good), reading(450, allPads[0], mm)), whole), 450)
		if got, most := f.Crossing.Km.Quantile(.5), without.Crossing.Km.Quantile(.5); mm < 7 && got > most {
			t.Errorf("with %g mm read: median %g km, without %g", mm, got, most)
		}
	}
}

// TestFullThinTaken: what the other side of a visit cannot tell a dragging brake from, a thin
// reading is taken as true when that makes the date earlier; what not even three times the pace
// since the visit before explains, the most that a dragging brake does, was mistyped.
func TestFullThinTaken(t *testing.T) {
	whole := []Fitment{fitment(0, Position{Part: Pad})}
	good := steady(.01, 100, 200)
	median := func(mm float64) (float64, []Warning) {
		rs := slices.Clone(good)
		if mm > 0 {
			rs = append(rs, reading(400, allPads[0], mm))
		}
		f := one(t, newFull(), padVehicle(pad12, 405, rs, whole), 400)
		if mm > 0 && (len(f.Basis.Doubted) != 1 || f.Basis.Doubted[0].MM != mm) {
			t.Errorf("%g mm: doubted %v", mm, f.Basis.Doubted)
		}
		return f.Crossing.Km.Quantile(.5), f.Warnings
	}
	without, _ := median(0)
	for _, c := range []struct {
		mm   float64 // of 8 expected
		says string
		most float64 // the median, km
	}{
		{5, "Until then the earlier date is shown", .8 * without}, // 5 mm at 20,000 km are 28,600 to the limit, and 50,000 without
		{1, "was not used", without + 500},
	} {
		got, says := median(c.mm)
		if got > c.most || !slices.ContainsFunc(says, func(w Warning) bool { return w.Code == Remeasure && strings.Contains(w.Text, c.says) }) {
			t.Errorf("%g mm: median %g km, without it %g; want at most %g and %q in %v", c.mm, got, without, c.most, c.says, says)
		}
	}
}

// TestFullStarts covers the ways in which a set's life begins.
func TestFullStarts(t *testing.T) {
	pads := steady(.01, 100, 200, 300, 400)
	for _, c := range []struct {
		name     string
		readings []Reading
		fitments []Fitment
		since    []Day
		known    bool
		used     int
	}{
		{"declared", pads, []Fitment{fitment(0, Position{Part: Pad})}, []Day{0, 0, 0, 0}, true, 16},
		{"never seen fitted", pads, nil, []Day{100, 100, 100, 100}, false, 16},
		{"fitted twice", pads, []Fitment{fitment(0, Position{Part: Pad}), fitment(250, Position{Part: Pad})}, []Day{250, 250, 250, 250}, true, 8},
		// Read when taken off, so before the new ones went on.
		{"read on the day of fitting", pads, []Fitment{fitment(400, Position{Part: Pad})}, []Day{400, 400, 400, 400}, true, 0},
		{"one side renewed", pads, []Fitment{fitment(0, Position{Part: Pad}), fitment(420, Position{Part: Pad, Side: "left"})}, []Day{420, 420, 0, 0}, true, 16},
		{"renewed side by side within a week", pads, []Fitment{fitment(420, Position{Part: Pad, Side: "left"}), fitment(424, Position{Part: Pad, Side: "right"})}, []Day{420, 420, 424, 424}, true, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := one(t, newFull(), padVehicle(pad12, 450, c.readings, c.fitments), 450)
			for i, p := range f.Positions {
				if p.Since != c.since[i] || p.SinceKnown != c.known {
					t.Errorf("%s: since %d (%v), want %d (%v)", p.Pos, p.Since, p.SinceKnown, c.since[i], c.known)
				}
			}
			if f.Readings != c.used {
				t.Errorf("%d readings used, want %d", f.Readings, c.used)
			}
		})
	}
	// A single side renewed: its pads outlast the others.
	f := one(t, newFull(), padVehicle(pad12, 450, pads, []Fitment{fitment(0, Position{Part: Pad}), fitment(420, Position{Part: Pad, Side: "left"})}), 450)
	if f.Limiting < 2 || !(f.Positions[0].ThicknessMM > 11 && f.Positions[2].ThicknessMM < 8) {
		t.Errorf("limiting %d, left %g mm, right %g mm", f.Limiting, f.Positions[0].ThicknessMM, f.Positions[2].ThicknessMM)
	}
}

// TestFullPositions covers what is measured where.
func TestFullPositions(t *testing.T) {
	drum := Spec{New: 228.6, Limit: 230.6}
	rotor := Spec{New: 25, Limit: 23}
	read := func(p Position, from, perDay float64) []Reading {
		var out []Reading
		for d := Day(100); d <= 400; d += 100 {
			out = append(out, reading(d, p, from+perDay*float64(d)))
		}
		return out
	}
	for _, c := range []struct {
		name     string
		specs    map[Part]Spec
		readings []Reading
		fitments []Fitment
		want     []Position
		limiting int
	}{
		{"outer pads only: the inner ones are forecast too", map[Part]Spec{Pad: pad12}, append(read(allPads[1], 12, -.01), read(allPads[3], 12, -.01)...), []Fitment{fitment(0, Position{Part: Pad})}, allPads, -1},
		{"the thinnest of all", map[Part]Spec{Pad: pad12}, read(Position{Part: Pad}, 12, -.01), nil, []Position{{Part: Pad}}, 0},
		{"the thinnest of each side", map[Part]Spec{Pad: pad12}, append(read(Position{Pad, "left", ""}, 12, -.01), read(Position{Pad, "right", ""}, 12, -.015)...), nil, []Position{{Pad, "left", ""}, {Pad, "right", ""}}, 1},
		{"the thinnest of all, then one by one", map[Part]Spec{Pad: pad12}, append(read(Position{Part: Pad}, 12, -.01), steady(.01, 440)...), []Fitment{fitment(0, Position{Part: Pad})}, allPads, -1},
		{"linings", map[Part]Spec{Lining: {New: 5, Limit: 1}}, read(Position{Lining, "left", ""}, 5, -.004), []Fitment{fitment(0, Position{Part: Lining})}, []Position{{Lining, "left", ""}, {Lining, "right", ""}}, -1},
		{"rotor of which nothing is known", map[Part]Spec{Pad: pad12, Rotor: rotor}, steady(.01, 100, 200), []Fitment{fitment(0, Position{Part: Pad})}, append(slices.Clone(allPads), Position{Rotor, "left", ""}, Position{Rotor, "right", ""}), -1},
		{"rotor of an axle never inspected, its sides alike", map[Part]Spec{Pad: pad12, Rotor: rotor}, nil, []Fitment{fitment(0, Position{Part: Pad})}, allPads, 0},
		{"rotor nearer to its limit", map[Part]Spec{Pad: pad12, Rotor: rotor}, append(steady(.01, 100, 200), read(Position{Rotor, "left", ""}, 24, -.0015)...), []Fitment{fitment(0, Position{Part: Pad})}, append(slices.Clone(allPads), Position{Rotor, "left", ""}, Position{Rotor, "right", ""}), 4},
		{"drum that grows", map[Part]Spec{Lining: {New: 5, Limit: 1}, Drum: drum}, append(read(Position{Lining, "left", ""}, 5, -.001), read(Position{Drum, "right", ""}, 229.9, .001)...), []Fitment{fitment(0, Position{Part: Lining})}, []Position{{Lining, "left", ""}, {Lining, "right", ""}, {Drum, "left", ""}, {Drum, "right", ""}}, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := padVehicle(pad12, 450, c.readings, c.fitments)
			v.Axles[0].Specs = c.specs
			f := one(t, newFull(), v, 450)
			var got []Position
			for _, p := range f.Positions {
				got = append(got, p.Pos)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("positions %v, want %v", got, c.want)
			}
			if c.limiting >= 0 && f.Limiting != c.limiting {
				t.Errorf("limiting %d, want %d: %v", f.Limiting, c.limiting, f.Crossing.Km.Quantile(.5))
			}
		})
	}
}

// TestFullSensor: a tripped sensor as the only news moves the date forward.
func TestFullSensor(t *testing.T) {
	fit := []Fitment{fitment(0, Position{Part: Pad})}
	trip := Reading{Day: 450, Km: nan, Pos: allPads[0], MM: 3, Tripped: true}
	none := one(t, newFull(), padVehicle(pad12, 450, nil, fit), 450)
	f := one(t, newFull(), padVehicle(pad12, 450, []Reading{trip}, fit), 450)
	if got := f.Positions[0].ThicknessMM; got > 3.3 || got < 1.5 {
		t.Errorf("%g mm after a signal at 3 mm", got)
	}
	for _, p := range []float64{.1, .5, .9} {
		if !(f.Crossing.Km.Quantile(p) < none.Crossing.Km.Quantile(p)) {
			t.Errorf("%g quantile %g km with the signal, %g without", p, f.Crossing.Km.Quantile(p), none.Crossing.Km.Quantile(p))
		}
	}
	// Worn well below already: the signal is no news.
	thin := append(steady(.022, 300, 400), trip)
	a := one(t, newFull(), padVehicle(pad12, 450, thin[:8], fit), 450)
	b := one(t, newFull(), padVehicle(pad12, 450, thin, fit), 450)
	if d := math.Abs(a.Crossing.Km.Quantile(.5) - b.Crossing.Km.Quantile(.5)); d > 300 {
		t.Errorf("a signal long expected moves the median by %g km", d)
	}
}

// TestFullBorrows: a vehicle's earlier set tells of the present one.
func TestFullBorrows(t *testing.T) {
	fits := []Fitment{fitment(0, Position{Part: Pad}), fitment(450, Position{Part: Pad})}
	slow := one(t, newFull(), padVehicle(pad12, 460, steady(.006, 100, 200, 300, 400), fits), 460)
	fast := one(t, newFull(), padVehicle(pad12, 460, steady(.02, 100, 200, 300, 400), fits), 460)
	none := one(t, newFull(), padVehicle(pad12, 460, nil, fits), 460)
	q := func(f AxleForecast, p float64) float64 { return f.Crossing.Km.Quantile(p) - f.OdometerKm }
	if !(q(fast, .5) < .6*q(slow, .5)) {
		t.Errorf("median %g km after a fast set, %g after a slow one", q(fast, .5), q(slow, .5))
	}
	if !(q(slow, .9)/q(slow, .1) < .7*q(none, .9)/q(none, .1)) {
		t.Errorf("80 %% interval of a factor %g after a known set, %g after none", q(slow, .9)/q(slow, .1), q(none, .9)/q(none, .1))
	}
}

func TestFullBadInput(t *testing.T) {
	const asOf = 900
	left := allPads[0]
	many := make([]Reading, 10_000)
	for i := range many {
		many[i] = reading(Day(i%asOf), allPads[i%4], 12-8*float64(i%asOf)/asOf+.1*float64(i%7))
	}
	new0 := []Fitment{fitment(0, Position{Part: Pad})}
	good := steady(.01, 300, 600)
	with := func(rs ...Reading) []Reading { return append(slices.Clone(good), rs...) }
	for _, c := range []struct {
		name     string
		spec     Spec
		readings []Reading
		fitments []Fitment
		want     []Code
		known    bool
	}{
		{"good", pad12, good, new0, nil, true},
		{"one position only", pad12, []Reading{reading(300, left, 9), reading(600, left, 6)}, new0, nil, true},
		{"negative thickness", pad12, with(reading(700, left, -3)), new0, []Code{BadInput}, true},
		{"thicker than new", pad12, with(reading(700, left, 30)), new0, []Code{BadInput}, true},
		{"not a number", pad12, with(reading(700, left, nan)), new0, []Code{BadInput}, true},
		{"infinite", pad12, with(reading(700, left, math.Inf(1))), new0, []Code{BadInput}, true},
		{"all equal", pad12, []Reading{reading(300, left, 9), reading(500, left, 9), reading(700, left, 9)}, nil, nil, true},
		{"all as new", pad12, []Reading{reading(300, left, 12), reading(500, left, 12), reading(890, left, 12)}, new0, nil, true},
		{"rising", pad12, []Reading{reading(300, left, 8), reading(500, left, 8.5), reading(700, left, 9.2)}, nil, nil, true},
		{"two of one day that disagree", pad12, with(reading(600, left, 2)), new0, nil, true},
		{"limit above new", Spec{New: 2, Limit: 12}, good, new0, []Code{BadInput}, false},
		{"limit equals new", Spec{New: 12, Limit: 12}, good, new0, []Code{BadInput}, false},
		{"specification not a number", Spec{New: nan, Limit: 2}, good, new0, []Code{BadInput}, false},
		{"dates in the future", pad12, steady(.01, 1000, 2000), nil, []Code{NoReadings}, true},
		{"fitted in the future", pad12, good, append([]Fitment{fitment(5000, left)}, new0...), nil, true},
		{"fitted thinner than the limit", pad12, good, []Fitment{{Day: 0, Km: nan, Pos: Position{Part: Pad}, MM: 1}}, []Code{BadInput}, true},
		{"10,000 readings", pad12, many, nil, nil, true},
		{"at the limit", pad12, with(reading(890, left, 2)), new0, []Code{PastLimit}, true},
		{"one reading, past the limit", pad12, []Reading{reading(890, left, 1.5)}, nil, []Code{PastLimit, FewReadings}, true},
		{"long ago", pad12, steady(.01, 100, 200), nil, []Code{OldReadings}, true},
		{"no readings at all", pad12, nil, nil, []Code{NoReadings}, true},
		{"sensor signal alone", pad12, []Reading{{Day: 800, Km: nan, Pos: left, MM: 3, Tripped: true}}, new0, nil, true},
		{"sensor signal of a part bought used", pad12, []Reading{{Day: 800, Km: nan, Pos: left, MM: 3, Tripped: true}}, nil, nil, true},
		{"a sensor trips, then much is read", pad12, []Reading{{Day: 500, Km: nan, Pos: left, MM: 3, Tripped: true}, reading(600, left, 11)}, new0, nil, true},
		{"a reading of a part without values", pad12, with(reading(600, Position{Part: Rotor}, 24)), new0, []Code{NoSpec}, true},
		{"no such side", pad12, with(reading(650, Position{Pad, "top", "back"}, 6)), new0, []Code{BadInput}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := one(t, newFull(), padVehicle(c.spec, asOf, c.readings, c.fitments), asOf)
			for _, code := range c.want {
				if !f.Has(code) {
					t.Errorf("no warning %s in %v", code, f.Warnings)
				}
			}
			if c.name == "no such side" && (len(f.Basis.SetAside) != 1 || f.Basis.SetAside[0].Why != "no such place") {
				t.Errorf("set aside %v, want the one reading", f.Basis.SetAside)
			}
			if c.known != f.Crossing.Km.Known() {
				t.Errorf("limit forecast: %v, want %v; %v", f.Crossing.Km.Known(), c.known, f.Warnings)
			}
			if len(c.want) == 0 && f.Has(BadInput) {
				t.Errorf("warnings %v", f.Warnings)
			}
		})
	}
}

func TestFullBadOdometer(t *testing.T) {
	fit := []Fitment{fitment(0, Position{Part: Pad})}
	for _, c := range []struct {
		name     string
		odometer []Odometer
		want     Code
		km       bool
	}{
		{"none", nil, UsageUnknown, false},
		{"one", []Odometer{{300, 20_000}}, UsageUnknown, true},
		{"standing", []Odometer{{0, 20_000}, {200, 20_000}, {600, 20_000}}, Standing, true},
		{"run back", []Odometer{{0, 10_000}, {100, 15_000}, {200, 20_000}, {300, 2_000}, {400, 30_000}, {500, 35_000}}, OdometerFault, true},
		{"not a number", []Odometer{{0, nan}, {100, math.Inf(1)}}, UsageUnknown, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := padVehicle(pad12, 600, steady(.01, 300, 600), fit)
			v.Odometer = c.odometer
			f := one(t, newFull(), v, 600)
			if !f.Has(c.want) {
				t.Errorf("no warning %s in %v", c.want, f.Warnings)
			}
			if f.Crossing.Km.Known() != c.km || !f.Crossing.Day.Known() {
				t.Errorf("km known %v, want %v; day known %v", f.Crossing.Km.Known(), c.km, f.Crossing.Day.Known())
			}
		})
	}
}

// TestFullSame: the same vehicle gives the same bits whoever works it out and
// whatever was worked out before, and stays untouched.
func TestFullSame(t *testing.T) {
	m := newFull()
	var vs []*Vehicle
	for i := range 40 {
		rs := steady(.004+.0006*float64(i), 100, 200, 300, 400)
		if i%3 == 0 {
			rs[5].MM = 2
		}
		vs = append(vs, padVehicle(pad12, 450, rs[:4*(i%5)], []Fitment{fitment(Day(i), Position{Part: Pad})}))
	}
	want := make([][]AxleForecast, len(vs))
	for i, v := range vs {
		before := clone(v)
		want[i] = m.Forecast(v, 450, Options{})
		if d := cmp.Diff(before, v, cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); d != "" {
			t.Fatalf("vehicle %d was changed: %s", i, d)
		}
	}
	var wg sync.WaitGroup
	for w := range 4 {
		wg.Go(func() {
			for k := range vs {
				i := (k*7 + w*11) % len(vs)
				got := m.Forecast(vs[i], 450, Options{})
				if d := cmp.Diff(got, want[i], cmpopts.EquateNaNs()); d != "" {
					t.Errorf("vehicle %d differs: %s", i, d)
				}
			}
		})
	}
	wg.Wait()
}
