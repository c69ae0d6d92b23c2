package forecast

import (
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// All fleets in this file are invented, from seeds.

// inventedFleet is a fleet that follows the model to the letter.
type inventedFleet struct {
	vehicles    int
	front, rear float64 // log mm per 1000 km
	duty        float64 // log effect of "hills" over "flat"
	vehicle     float64 // sds of theta
	axle, set   float64
	bias        map[string]float64 // by depot
	gauge       map[string]float64 // sd, mm
	drift       float64            // sd of the rate that comes and goes within 250 days
	season      WearSeason
}

// draw returns the vehicles, with four pads read every 60 days and new pads
// every 480 days or so.
func (f *inventedFleet) draw(seed uint64) []*Vehicle {
	r := rand.New(rand.NewPCG(seed, 1))
	depots := slices.Sorted(func(yield func(string) bool) {
		for d := range f.gauge {
			if !yield(d) {
				return
			}
		}
	})
	var out []*Vehicle
	for i := range f.vehicles {
		v := &Vehicle{
			ID: fmt.Sprintf("V%04d", i), Class: "M1", Duty: []string{"flat", "hills"}[i%2],
			Model: []string{"Fen", "Moor", "Tarn"}[i%3], Depot: depots[i%len(depots)],
		}
		const days = 1440
		const month = 30
		perDay := 60 * math.Exp(.3*r.NormFloat64())
		km := 0.0
		for d := Day(0); d <= days; d += month {
			v.Odometer = append(v.Odometer, Odometer{d, km})
			km += month * perDay * math.Exp(.2*r.NormFloat64())
		}
		track := CleanOdometer(v.Odometer).Effective(f.season)
		own := f.vehicle * r.NormFloat64()
		if v.Duty == "hills" {
			own += f.duty
		}
		for axle, mu := range []float64{f.front, f.rear} {
			a := Axle{Number: axle + 1, Specs: map[Part]Spec{Pad: {New: 14, Limit: 2}}}
			theta := mu + own + f.axle*r.NormFloat64()
			for fitted := Day(7 * (i % 30)); fitted+60 < days; fitted += 480 {
				a.Fitments = append(a.Fitments, fitment(fitted, Position{Part: Pad}))
				rate := math.Exp(theta + f.set*r.NormFloat64())
				common := 14 + .12*r.NormFloat64()
				var start, pace [4]float64
				for k := range start {
					start[k] = common + .08*r.NormFloat64()
					pace[k] = math.Exp(.08*r.NormFloat64() + []float64{.07, -.07}[k%2])
				}
				drift, s := f.drift*r.NormFloat64(), 0.0
				for d := fitted + month; d < min(fitted+480, days); d += month {
					s += (1 + drift) * (track.At(d) - track.At(d-month)) / 1000
					keep := math.Exp(-month / 250.)
					drift = keep*drift + math.Sqrt(1-keep*keep)*f.drift*r.NormFloat64()
					if (d-fitted)%60 != 0 {
						continue
					}
					visit := .12 * r.NormFloat64()
					for k, p := range allPads {
						mm := start[k] - rate*pace[k]*s + visit + f.bias[v.Depot] + f.gauge[v.Depot]*r.NormFloat64()
						a.Readings = append(a.Readings, Reading{Day: d, Km: nan, Pos: p, MM: max(0, mm), Step: .1, Depot: v.Depot})
					}
				}
			}
			v.Axles = append(v.Axles, a)
		}
		out = append(out, v)
	}
	return out
}

var plainFleet = inventedFleet{
	vehicles: 150, front: math.Log(.17), rear: math.Log(.11), duty: .4,
	vehicle: .25, axle: .1, set: .14, drift: .2,
	gauge: map[string]float64{"north": .2, "south": .2},
}

func trainFull(t testing.TB, vs []*Vehicle) *Full {
	t.Helper()
	m, err := TrainFull(slices.Values(vs), 1440)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func within(t *testing.T, what string, got, want, by float64) {
	t.Helper()
	if !(math.Abs(got-want) <= by) {
		t.Errorf("%s: got %.4f, want %.4f within %.3f", what, got, want, by)
	}
}

// whole is the sd of the mean over a whole life of a rate that drifts with this
// sd.
func whole(drift float64) float64 {
	const days, length = 420., 250.
	return drift * math.Sqrt(driftCov(0, days, 0, days, length)) / days
}

func TestTrainFullRecoversRates(t *testing.T) {
	f := plainFleet
	m := trainFull(t, f.draw(1))
	d := m.Params.Training
	if d.Default || d.Vehicles != f.vehicles || !d.Rates.Converged {
		t.Fatalf("training %+v", d)
	}
	// Means of 150 vehicles of sd .25 are known to .02, sds to a twelfth or so;
	// bounds are three times that.
	theta := func(axle int, duty string) float64 {
		v := Vehicle{Class: "M1", Duty: duty, Model: "Fen", Depot: "north"}
		return m.Params.Rates.priorOf(&v, axle, Pad).mean
	}
	within(t, "front, flat", theta(1, "flat"), f.front, .1)
	within(t, "front, hills", theta(1, "hills"), f.front+f.duty, .1)
	within(t, "rear, flat", theta(2, "flat"), f.rear, .1)
	r := m.Params.Rates
	within(t, "sd between vehicles", r.Vehicle, f.vehicle, .06)
	within(t, "sd between axles", r.Axle, f.axle, .05)
	// Over lives as short as these, what drifts looks much like what lasts: only
	// their sum is known well.
	within(t, "sd between sets and drift", math.Hypot(r.Set, whole(m.Params.Noise[Pad].Drift)), math.Hypot(f.set, whole(f.drift)), .03)
	p := r.priorOf(&Vehicle{Class: "M1", Duty: "flat", Model: "Fen", Depot: "north"}, 1, Pad)
	if p.banded || p.group+p.fleet > .01 {
		t.Errorf("prior of a group of many lives: %+v", p)
	}
	never := r.priorOf(&Vehicle{Class: "M1", Duty: "sand", Model: "Fen", Depot: "east"}, 1, Pad)
	if !(never.fleet > p.fleet) {
		t.Errorf("a duty and depot never seen: variance %g, of known ones %g", never.fleet, p.fleet)
	}
}

// TestTrainFullTiny: fleets that tell nothing get the defaults, and hear so.
func TestTrainFullTiny(t *testing.T) {
	f := plainFleet
	vs := f.draw(2)
	for n := range 5 {
		m := trainFull(t, vs[:n])
		d := m.Diagnostics().(*Training)
		if d.Default != (n < leastTaught) || d.Vehicles != n {
			t.Errorf("%d vehicles: %+v", n, d)
		}
		if n < leastTaught {
			got, want := m.Params, DefaultParams()
			got.Training, got.Usage, want.Usage = nil, UsageModel{}, UsageModel{}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%d vehicles: not the defaults: %s", n, diff)
			}
			if len(d.Notes) == 0 {
				t.Errorf("%d vehicles: no note", n)
			}
		}
		for _, f := range m.Forecast(vs[0], 1440, Options{Paths: true}) {
			checkSane(t, &f)
		}
	}
	if _, err := TrainFull(nil, 0); err == nil {
		t.Error("no vehicles at all: no error")
	}
	bare := []*Vehicle{{ID: "a"}, {ID: "b", Axles: []Axle{{Number: 1}}}, {ID: "c", Axles: []Axle{{Number: 1, Specs: map[Part]Spec{Pad: pad12}}}}}
	if d := trainFull(t, bare).Params.Training; !d.Default || d.Vehicles != 0 {
		t.Errorf("vehicles without readings: %+v", d)
	}
}

// TestTrainFullSame: the same bits whatever the number of processors, and
// nothing lost on the way through JSON.
func TestTrainFullSame(t *testing.T) {
	f := plainFleet
	f.vehicles = 40
	vs := f.draw(3)
	marshal := func(m *Full) string {
		b, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err) // a NaN would be one
		}
		return string(b)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	want := trainFull(t, vs)
	runtime.GOMAXPROCS(4)
	if got := trainFull(t, vs); marshal(got) != marshal(want) {
		t.Error("four processors learn otherwise than one")
	}
	var back Full
	if err := json.Unmarshal([]byte(marshal(want)), &back); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want.Params, back.Params); d != "" {
		t.Errorf("through JSON: %s", d)
	}
	a, b := want.Forecast(vs[0], 1440, Options{}), back.Forecast(vs[0], 1440, Options{})
	if d := cmp.Diff(a, b); d != "" {
		t.Errorf("forecast after JSON: %s", d)
	}
}

// TestTrainFullReads: what comes after asOf teaches nothing, and a sequence is
// read from its beginning each time.
func TestTrainFullReads(t *testing.T) {
	f := plainFleet
	f.vehicles = 20
	vs := f.draw(4)
	var short []*Vehicle
	for _, v := range vs {
		w := clone(v)
		for i := range w.Axles {
			w.Axles[i].Readings = slices.DeleteFunc(w.Axles[i].Readings, func(r Reading) bool { return r.Day > 700 })
			w.Axles[i].Fitments = slices.DeleteFunc(w.Axles[i].Fitments, func(f Fitment) bool { return f.Day > 700 })
		}
		w.Odometer = slices.DeleteFunc(w.Odometer, func(o Odometer) bool { return o.Day > 700 })
		short = append(short, w)
	}
	runs := 0
	counted := func(vs []*Vehicle) iter.Seq[*Vehicle] {
		return func(yield func(*Vehicle) bool) {
			runs++
			for _, v := range vs {
				if !yield(v) {
					return
				}
			}
		}
	}
	a, err := TrainFull(counted(vs), 700)
	if err != nil {
		t.Fatal(err)
	}
	b, err := TrainFull(counted(short), 700)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(a, b); d != "" {
		t.Errorf("the future teaches: %s", d)
	}
	if runs < 4 {
		t.Errorf("%d runs over the fleet", runs)
	}
}

// TestTrainFullRecoversSpreads: how depots read, the season of wear and what
// spreads readings about the model are found again.
func TestTrainFullRecoversSpreads(t *testing.T) {
	f := plainFleet
	f.vehicles = 200
	f.gauge = map[string]float64{"east": .4, "north": .2, "south": .2, "west": .3}
	f.bias = map[string]float64{"east": -.45}
	f.season = WearSeason{Cos: .08, Sin: -.06}
	m := trainFull(t, f.draw(5))
	p, d := m.Params, m.Params.Training
	if !d.Spreads.Converged || d.SpreadLives < 1000 {
		t.Fatalf("training %+v", d)
	}
	// Some 1600 lives of 28 readings: a depot's spread is known to a hundredth
	// of itself and its bias to .01 mm but for what depots have in common with
	// the rate; sds of lives to a few hundredths of themselves.
	for depot, sd := range f.gauge {
		within(t, "gauge of "+depot, p.Depots[depot].SD, sd, .02)
		within(t, "bias of "+depot, p.Depots[depot].Bias, f.bias[depot], .06)
	}
	within(t, "season, cosine", p.Season.Cos, f.season.Cos, .02)
	within(t, "season, sine", p.Season.Sin, f.season.Sin, .02)
	n := p.Noise[Pad]
	within(t, "inner over outer", n.InnerOuter, .07, .015)
	within(t, "acceleration", n.Accel, 0, .15)
	within(t, "visit", n.Visit, .12, .02)
	within(t, "start", n.Start, .12, .03)
	within(t, "start of one", n.StartPlace, .08, .02)
	within(t, "place", math.Hypot(math.Hypot(n.Place, n.Side), whole(math.Hypot(n.DriftPlace, n.DriftSide))), .08, .015)
	within(t, "drift", n.Drift, f.drift, .05)
	if p.Noise[Lining] != n || p.Noise[Rotor] != defaultNoise(Rotor) {
		t.Error("linings share the spreads of pads, rotors keep the default ones")
	}
}

// TestTrainFullFewLives: a fleet too small for its spreads keeps the default
// ones, and says so.
func TestTrainFullFewLives(t *testing.T) {
	f := plainFleet
	m := trainFull(t, f.draw(6)[:5])
	d := m.Params.Training
	if d.Default || d.SpreadLives >= leastNoiseLives || len(d.Notes) != 1 {
		t.Errorf("training %+v", d)
	}
	if m.Params.Noise[Pad] != defaultNoise(Pad) || len(m.Params.Depots) != 0 {
		t.Errorf("spreads %+v, depots %v; want defaults", m.Params.Noise[Pad], m.Params.Depots)
	}
	if len(d.Thin) != 2 {
		t.Errorf("thin groups %v, want both axles", d.Thin)
	}
}
