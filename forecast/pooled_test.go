package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// lineFleet is an invented fleet that the model is true of: straight lines,
// normal rates. One pad per vehicle, fitted on day 0; the truth is the distance
// at the limit.
type lineFleet struct {
	vehicles []*Vehicle
	limitKm  []float64
}

const (
	fleetStart, fleetStartSD = 0.0, 0.12
	fleetRate, fleetRateSD   = 0.15, 0.03 // mm per 1000 km
	fleetGaugeSD             = 0.25
)

// straightFleet draws n cars with at most so many readings each, 5,000 km apart.
func straightFleet(rng *rand.Rand, class string, n, readings int, declared bool) lineFleet {
	var f lineFleet
	for i := range n {
		start := fleetStart + fleetStartSD*rng.NormFloat64()
		rate := fleetRate + fleetRateSD*rng.NormFloat64()
		v := padVehicle(pad12, 1000, nil, nil)
		v.ID, v.Class = fmt.Sprint(class, i), class
		if declared {
			v.Axles[0].Fitments = []Fitment{fitment(0, padLeft)}
		}
		for k := range readings {
			d := Day(100 * (k + 1))
			mm := 12 - start - rate*.05*float64(d) + fleetGaugeSD*rng.NormFloat64()
			v.Axles[0].Readings = append(v.Axles[0].Readings, reading(d, padLeft, mm))
		}
		f.vehicles = append(f.vehicles, v)
		f.limitKm = append(f.limitKm, (10-start)/rate*1000)
	}
	return f
}

func train(t testing.TB, vs []*Vehicle, asOf Day) *Pooled {
	t.Helper()
	p, err := TrainPooled(slices.Values(vs), asOf)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestPooledLearns: the parameters the fleet was drawn from come back.
func TestPooledLearns(t *testing.T) {
	fleet := straightFleet(rand.New(rand.NewPCG(1, 1)), "M1", 800, 6, true)
	p := train(t, fleet.vehicles, 1000)
	g, ok := p.Groups["M1|1|pad"]
	if !ok {
		t.Fatalf("no group in %v, thin %v", p.Groups, p.Thin)
	}
	for _, c := range []struct {
		what              string
		got, want, within float64
	}{
		{"rate", g.Rate, fleetRate, .005},
		{"start", g.Start, fleetStart, .04},
		{"sd of rates", math.Sqrt(g.Between.BB), fleetRateSD, .003},
		{"sd of readings", math.Sqrt(g.Residual), fleetGaugeSD, .02},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s %g, want %g +- %g", c.what, c.got, c.want, c.within)
		}
	}
	if g.Lives < 790 || g.Lives+g.Left != 800 || g.Vehicles != 800 || g.Readings != 4800 {
		t.Errorf("learned from %+v", g)
	}
}

// TestPooledIntervals: of other cars of the fleet, with none to five readings
// and with or without their fitting on record, the 80 % interval holds the
// truth 80 times in 100, and more readings make it narrower.
func TestPooledIntervals(t *testing.T) {
	p := train(t, straightFleet(rand.New(rand.NewPCG(1, 2)), "M1", 600, 6, true).vehicles, 1000)
	for _, declared := range []bool{true, false} {
		last := math.Inf(1)
		for readings := range 6 {
			if !declared && readings == 0 {
				continue // drawn new on day 0, and nobody could know
			}
			const n = 1200
			test := straightFleet(rand.New(rand.NewPCG(2, uint64(readings))), "M1", n, readings, declared)
			in, width := 0, 0.0
			for i, v := range test.vehicles {
				f := p.Forecast(v, Day(100*readings+30), Options{})[0]
				checkSane(t, &f)
				lo, hi := f.Crossing.Km.Quantile(.1), f.Crossing.Km.Quantile(.9)
				if lo <= test.limitKm[i] && test.limitKm[i] <= hi {
					in++
				}
				width += (hi - lo) / n
			}
			share := float64(in) / n
			t.Logf("declared %v, %d readings: %.1f %% inside, mean width %.0f km", declared, readings, 100*share, width)
			// Standard error of the share: 1.2 points.
			if share < .76 || share > .85 {
				t.Errorf("declared %v, %d readings: 80 %% interval holds %.1f %%", declared, readings, 100*share)
			}
			if width > last*1.02 {
				t.Errorf("declared %v, %d readings: mean width %.0f km, one reading less gave %.0f", declared, readings, width, last)
			}
			last = width
		}
	}
}

// TestPooledBorrows: class, axle and part; else the part alone; else bands.
func TestPooledBorrows(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	vs := straightFleet(rng, "M1", 30, 4, true).vehicles
	vs = append(vs, straightFleet(rng, "N1", 5, 4, true).vehicles...)
	p := train(t, vs, 1000)
	for _, c := range []struct {
		class string
		part  Part
		want  string // group, or blank for a band
	}{
		{"M1", Pad, "M1|1|pad"}, {"N1", Pad, "||pad"}, {"O4", Pad, "||pad"}, {"M1", Lining, ""},
	} {
		g, band := p.group(c.class, 1, c.part)
		if band != (c.want == "") || !band && g != p.Groups[c.want] {
			t.Errorf("%s %s: band %v, group %+v, want %q", c.class, c.part, band, g, c.want)
		}
	}
	if why := p.Thin["N1|1|pad"]; why == "" {
		t.Errorf("N1 is not among the thin groups %v", p.Thin)
	}
	v := padVehicle(Spec{New: 10, Limit: 1}, 600, []Reading{reading(300, Position{Part: Lining}, 9)}, nil)
	v.Axles[0].Specs = map[Part]Spec{Lining: {New: 10, Limit: 1}}
	if f := p.Forecast(v, 600, Options{})[0]; !f.Has(DefaultPrior) || !f.Crossing.Km.Known() {
		t.Errorf("a lining nobody knows: %v", f.Warnings)
	}
	if f := p.Forecast(vs[0], 600, Options{})[0]; f.Has(DefaultPrior) || math.Abs(f.Basis.PeerRate-10*fleetRate) > .3 {
		t.Errorf("peer rate %g, warnings %v", f.Basis.PeerRate, f.Warnings)
	}
}

// TestPooledBands: without a fleet the forecast is wide, holds the whole
// planning band and says so. Car front 0.5 to 2.5 mm per 10,000 km: from
// memory, derived from pad thickness and life figures.
func TestPooledBands(t *testing.T) {
	f := (&Pooled{}).Forecast(padVehicle(pad12, 60, nil, []Fitment{fitment(60, padLeft)}), 60, Options{})[0]
	if !f.Has(DefaultPrior) || !f.Has(NoReadings) {
		t.Errorf("warnings %v", f.Warnings)
	}
	lo, hi := f.Crossing.Km.Quantile(.025)-3000, f.Crossing.Km.Quantile(.975)-3000
	if math.Abs(lo/40000-1) > .1 || math.Abs(hi/200000-1) > .1 {
		t.Errorf("95 %% interval %.0f to %.0f km, want 10 mm at the ends of the band: 40,000 to 200,000", lo, hi)
	}
}

// TestPooledStrange: mistyped readings do not spoil what the group learns.
func TestPooledStrange(t *testing.T) {
	fleet := straightFleet(rand.New(rand.NewPCG(4, 1)), "M1", 300, 6, true)
	for i := 0; i < 300; i += 30 {
		r := &fleet.vehicles[i].Axles[0].Readings[5]
		r.MM /= 10 // a slipped decimal point
	}
	g := train(t, fleet.vehicles, 1000).Groups["M1|1|pad"]
	if g.Left < 8 || g.Left > 14 {
		t.Errorf("%d lives left out, 10 have a mistyped reading", g.Left)
	}
	if sd := math.Sqrt(g.Residual); math.Abs(sd-fleetGaugeSD) > .03 {
		t.Errorf("sd of readings %g, want %g", sd, fleetGaugeSD)
	}
}

// TestPooledOrderAndJSON: the order of vehicles does not matter, nor does a
// way through JSON.
func TestPooledOrderAndJSON(t *testing.T) {
	fleet := straightFleet(rand.New(rand.NewPCG(5, 1)), "M1", 60, 5, true)
	for _, v := range fleet.vehicles[:20] {
		v.Axles[0].Fitments = nil // tell of the rate alone
	}
	p := train(t, fleet.vehicles, 1000)
	turned := slices.Clone(fleet.vehicles)
	slices.Reverse(turned)
	near := cmpopts.EquateApprox(1e-7, 1e-12)
	ignore := cmpopts.IgnoreFields(PooledGroup{}, "Iterations")
	if d := cmp.Diff(p, train(t, turned, 1000), near, ignore); d != "" {
		t.Errorf("another order learns something else (-want +got):\n%s", d)
	}
	if d := cmp.Diff(p, train(t, fleet.vehicles, 1000)); d != "" {
		t.Errorf("learning again gave other bits:\n%s", d)
	}
	b, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	var q Pooled
	if err := json.Unmarshal(b, &q); err != nil {
		t.Fatal(err)
	}
	want, got := p.Forecast(fleet.vehicles[7], 1000, Options{Paths: true}), q.Forecast(fleet.vehicles[7], 1000, Options{Paths: true})
	if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
		t.Errorf("through JSON:\n%s", d)
	}
}

// TestPooledRatesOnly: a fleet without a single declared fitting still tells
// of its rates.
func TestPooledRatesOnly(t *testing.T) {
	fleet := straightFleet(rand.New(rand.NewPCG(6, 1)), "M1", 400, 6, false)
	g := train(t, fleet.vehicles, 1000).Groups["M1|1|pad"]
	if math.Abs(g.Rate-fleetRate) > .006 || math.Abs(math.Sqrt(g.Between.BB)-fleetRateSD) > .006 {
		t.Errorf("rate %g, sd %g, want %g and %g", g.Rate, math.Sqrt(g.Between.BB), fleetRate, fleetRateSD)
	}
}

// TestPooledDrum: diameters grow, and are one code path with the rest.
func TestPooledDrum(t *testing.T) {
	fleet := straightFleet(rand.New(rand.NewPCG(7, 1)), "M1", 40, 5, true)
	drums := make([]*Vehicle, len(fleet.vehicles))
	for i, v := range fleet.vehicles {
		d := clone(v)
		a := &d.Axles[0]
		a.Specs = map[Part]Spec{Drum: {New: 228, Limit: 238}}
		for k := range a.Readings {
			a.Readings[k].Pos.Part = Drum
			a.Readings[k].MM = 240 - a.Readings[k].MM
		}
		a.Fitments[0].Pos.Part = Drum
		drums[i] = d
	}
	p, q := train(t, fleet.vehicles, 1000), train(t, drums, 1000)
	f, g := p.Forecast(fleet.vehicles[3], 600, Options{})[0], q.Forecast(drums[3], 600, Options{})[0]
	for i, x := range f.Crossing.Km.X {
		if y := g.Crossing.Km.X[i]; math.Abs(x-y) > 1e-6*x {
			t.Errorf("quantile %g: pads %g km, drums %g", Levels[i], x, y)
		}
	}
	if a, b := f.Positions[0].ThicknessMM, g.Positions[0].ThicknessMM; math.Abs(a+b-240) > 1e-6 {
		t.Errorf("pad %g mm, drum %g mm, want the same wear", a, b)
	}
}

// TestTrainPooledNothing: no vehicles, or none with readings, is no error.
func TestTrainPooledNothing(t *testing.T) {
	if _, err := TrainPooled(nil, 0); err == nil {
		t.Error("no sequence: no error")
	}
	p := train(t, nil, 0)
	if len(p.Groups) != 0 {
		t.Errorf("learned %v from nothing", p.Groups)
	}
	for range train(t, []*Vehicle{{ID: "bare"}}, 0).Groups {
		t.Error("learned from a vehicle without axles")
	}
}

func BenchmarkTrainPooled(b *testing.B) {
	vs := straightFleet(rand.New(rand.NewPCG(8, 1)), "M1", 2000, 8, true).vehicles
	b.ReportAllocs()
	for b.Loop() {
		if _, err := TrainPooled(slices.Values(vs), 1000); err != nil {
			b.Fatal(err)
		}
	}
}

// TestPooledDrift: rates that change half way through a life are learned as a
// drift, lines that stay straight as next to none.
func TestPooledDrift(t *testing.T) {
	const sd = .3
	rng := rand.New(rand.NewPCG(9, 1))
	fleet := straightFleet(rng, "M1", 600, 8, true)
	straight := train(t, fleet.vehicles, 1000).Groups["M1|1|pad"].Drift
	for _, v := range fleet.vehicles {
		rs := v.Axles[0].Readings
		change := sd * rng.NormFloat64() * fleetRate
		for k := 4; k < len(rs); k++ {
			rs[k].MM -= change * .05 * float64(rs[k].Day-rs[3].Day)
		}
	}
	drifting := train(t, fleet.vehicles, 1000).Groups["M1|1|pad"].Drift
	t.Logf("drift of straight lines %.3f, of drifting ones %.3f", straight, drifting)
	if straight > .1 || math.Abs(drifting-sd) > .08 {
		t.Errorf("drifts %.3f and %.3f, want about 0 and %g", straight, drifting, sd)
	}
}
