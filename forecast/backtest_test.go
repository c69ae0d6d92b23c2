package forecast

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// inventFleet makes up vehicles with one axle of 12 mm pads (limit 2 mm) that
// wear evenly at a rate of their own, inspected every 60 to 180 days and changed
// when thin, with the truth. Invented numbers.
func inventFleet(seed uint64, n int) ([]*Vehicle, map[*Vehicle]Truth) {
	rng := rand.New(rand.NewPCG(seed, 1))
	truth := make(map[*Vehicle]Truth)
	var vs []*Vehicle
	for i := range n {
		v := &Vehicle{ID: fmt.Sprintf("v%d", i), Class: []string{"M1", "N1"}[i%2], Depot: "South"}
		perDay := 60 * math.Exp(.3*rng.NormFloat64())
		rate := []float64{2e-4, 3e-4}[i%2] * math.Exp(.3*rng.NormFloat64()) // mm/km
		a := Axle{Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}}}
		pos := Position{Part: Pad}
		km := func(d Day) float64 { return 20e3 + perDay*float64(d-18000) }
		var tr Truth
		fitted := Day(18000)
		life := func(removed Day) {
			cross := km(fitted) + 10/rate
			tr.Lives = append(tr.Lives, Life{
				Axle: 1, Part: Pad, Fitted: fitted, Removed: removed, FittedKm: km(fitted), RemovedKm: km(removed), Declared: true,
				CrossKm: cross, CrossDay: 18000 + (cross-20e3)/perDay, First: pos,
				Km10: 10 / []float64{2e-4, 3e-4}[i%2],
			})
		}
		a.Fitments = append(a.Fitments, Fitment{Day: fitted, Km: km(fitted), Pos: pos})
		for d := fitted + Day(60+rng.IntN(120)); d < 20500; d += Day(60 + rng.IntN(120)) {
			mm := 12 - rate*(km(d)-km(fitted))
			shown := math.Round(10*(mm+.15*rng.NormFloat64())) / 10
			v.Odometer = append(v.Odometer, Odometer{d, km(d)})
			a.Readings = append(a.Readings, Reading{Day: d, Km: km(d), Pos: pos, MM: max(0, shown), Step: .1})
			if shown < 4 {
				life(d)
				fitted = d
				a.Fitments = append(a.Fitments, Fitment{Day: d, Km: km(d), Pos: pos})
			}
		}
		life(NotRemoved)
		v.Axles = []Axle{a}
		vs = append(vs, v)
		truth[v] = tr
	}
	return vs, truth
}

func baselines(vs []*Vehicle) func(Day) ([]Model, error) {
	return func(d Day) ([]Model, error) {
		return []Model{TrainTwoPoint(slices.Values(vs), d), TrainFixedInterval(slices.Values(vs), d)}, nil
	}
}

func TestBacktestOfBaselines(t *testing.T) {
	vs, truth := inventFleet(3, 250)
	b := Backtest{
		AsOf: []Day{19500, 19200, 19900}, Train: baselines(vs), Along: true, Workers: 1,
		Truth: func(v *Vehicle) (Truth, bool) { tr, ok := truth[v]; return tr, ok },
	}
	s, err := b.Run(slices.Values(vs))
	if err != nil {
		t.Fatal(err)
	}
	two, _ := s.Row(ScoreGroup{"two-point", "all", ""})
	fixed, _ := s.Row(ScoreGroup{"fixed", "all", ""})
	rule, _ := s.Row(ScoreGroup{ThresholdRule, "all", ""})
	for _, r := range []ScoreRow{two, fixed} {
		t.Logf("%s: %d cases, MAE %.0f km %.0f days, relative CRPS %.1f %%, cover %.2f/%.2f, per decision passed %.3f wasted %.2f, at 5 %% of lives wasted %.2f (level %.3f), PH %.2f, CRA %.2f",
			r.Model, r.Cases, r.Km.MAE, r.Day.MAE, r.Relative.CRPS, r.Km.Cover80, r.Km.Cover95,
			r.Booking.Passed, r.Booking.Wasted, r.Booking.At5.Wasted, r.Booking.At5.Level, r.Lives.Horizon, r.Lives.CRA)
	}
	t.Logf("threshold: %+v", rule.Booking.At5)
	if two.Cases != fixed.Cases || two.Cases < 700 {
		t.Errorf("cases %d and %d, want the same, over 700", two.Cases, fixed.Cases)
	}
	if !(two.Km.MAE < .6*fixed.Km.MAE && two.Relative.CRPS < .6*fixed.Relative.CRPS) {
		t.Error("on even wear the two-point line must beat the fixed interval by far")
	}
	if fixed.Km.Cover80 < .7 || fixed.Km.Cover80 > .9 {
		t.Errorf("80 %% interval of the fixed interval holds %.2f", fixed.Km.Cover80)
	}
	if two.Lives.N < 200 || !(two.Lives.Horizon > fixed.Lives.Horizon) || !(two.Lives.CRA > fixed.Lives.CRA) {
		t.Errorf("along lives: two-point %+v, fixed %+v", two.Lives, fixed.Lives)
	}
	if rule.Booking.Lives == 0 || rule.Booking.At5.Wasted < .05 {
		t.Errorf("threshold rule: %+v", rule.Booking)
	}

	// The same bits whoever does the work.
	b.Workers = 7
	again, err := b.Run(slices.Values(vs))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(s.Rows(), again.Rows()) {
		t.Error("scores depend on the number of workers")
	}
}

// The models' own truth of the fleet is close to that read off its history,
// where parts came near their limit.
func TestObservedTruth(t *testing.T) {
	vs, truth := inventFleet(4, 60)
	found, off := 0, 0.
	for _, v := range vs {
		got, want := ObservedTruth(v, 21000), truth[v]
		if len(got.Lives) < len(want.Lives)-1 {
			t.Errorf("%s: %d lives, want about %d", v.ID, len(got.Lives), len(want.Lives))
		}
		for _, l := range got.Lives {
			if math.IsNaN(l.CrossKm) {
				continue
			}
			for _, w := range want.Lives {
				if w.Fitted == l.Fitted {
					found++
					off += math.Abs(l.CrossKm-w.CrossKm) / (w.CrossKm - w.FittedKm)
				}
			}
		}
	}
	if found < 60 || off/float64(found) > .05 {
		t.Errorf("%d crossings found, mean error %.3f of the life; want over 60, below .05", found, off/float64(found))
	}
	s, err := (Backtest{AsOf: []Day{19500}, Train: baselines(vs)}).Run(slices.Values(vs))
	if err != nil {
		t.Fatal(err)
	}
	if r, ok := s.Row(ScoreGroup{"fixed", "all", ""}); !ok || r.Km.N < 20 {
		t.Errorf("scored on %d observed crossings", r.Km.N)
	}
}

// A change off the record is unknowable until the next inspection.
func TestBacktestLeavesOutUnknowable(t *testing.T) {
	read := func(d Day, mm float64) Reading {
		return Reading{Day: d, Km: float64(d), Pos: Position{Part: Pad}, MM: mm}
	}
	v := &Vehicle{ID: "v", Odometer: []Odometer{{1000, 1000}, {1600, 1600}}, Axles: []Axle{{
		Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}},
		Readings: []Reading{read(1000, 8), read(1100, 7), read(1300, 11), read(1600, 9)},
	}}}
	truth := Truth{Lives: []Life{
		{Axle: 1, Part: Pad, Fitted: 800, Removed: 1150, FittedKm: 800, RemovedKm: 1150, CrossKm: 1500, CrossDay: 1500},
		{Axle: 1, Part: Pad, Fitted: 1150, Removed: NotRemoved, FittedKm: 1150, CrossKm: 2000, CrossDay: 2000},
	}}
	for _, tt := range []struct {
		asOf     Day
		cases    int
		readings string
	}{{1120, 1, "2"}, {1200, 0, ""}, {1350, 1, "1"}} {
		s, err := (Backtest{
			AsOf: []Day{tt.asOf}, Train: baselines([]*Vehicle{v}),
			Truth: func(*Vehicle) (Truth, bool) { return truth, true },
		}).Run(slices.Values([]*Vehicle{v}))
		if err != nil {
			t.Fatal(err)
		}
		r, _ := s.Row(ScoreGroup{"two-point", "all", ""})
		if r.Cases != tt.cases {
			t.Errorf("day %d: %d cases, want %d", tt.asOf, r.Cases, tt.cases)
		}
		if _, ok := s.Row(ScoreGroup{"two-point", "readings", tt.readings}); ok != (tt.cases == 1) {
			t.Errorf("day %d: not in bucket %q", tt.asOf, tt.readings)
		}
	}
}

// After a changed cluster the forecast counts on the dashboard's scale, and so
// does its score.
func TestBacktestAcrossSwap(t *testing.T) {
	pos := Position{Part: Pad}
	v := &Vehicle{ID: "v"}
	a := Axle{Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}}, Fitments: []Fitment{{Day: 1000, Km: 100e3, Pos: pos}}}
	for d := Day(1030); d <= 1600; d += 30 {
		total := 100e3 + 50*float64(d-1000)
		shown := total
		if d > 1300 {
			shown = total - 115e3
		}
		v.Odometer = append(v.Odometer, Odometer{d, shown})
		a.Readings = append(a.Readings, Reading{Day: d, Km: shown, Pos: pos, MM: 12 - (total-100e3)*2e-4})
	}
	v.Axles = []Axle{a}
	// On day 1301 the new cluster has not been read yet.
	for _, asOf := range []Day{1250, 1301, 1610} {
		s, err := (Backtest{
			AsOf: []Day{asOf}, Train: baselines([]*Vehicle{v}),
			Truth: func(*Vehicle) (Truth, bool) {
				return Truth{
					Lives:  []Life{{Axle: 1, Part: Pad, Fitted: 1000, Removed: NotRemoved, FittedKm: 100e3, Declared: true, CrossKm: 150e3, CrossDay: 2000}},
					Shifts: []Shift{{1301, 115e3}},
				}, true
			},
		}).Run(slices.Values([]*Vehicle{v}))
		if err != nil {
			t.Fatal(err)
		}
		r, _ := s.Row(ScoreGroup{"two-point", "all", ""})
		if r.Km.N != 1 || r.Km.MAE > 100 || r.Day.MAE > 2 {
			t.Errorf("day %d: %d cases, off by %.0f km and %.1f days; want 1, nothing", asOf, r.Km.N, r.Km.MAE, r.Day.MAE)
		}
	}
}

func TestBacktestRefuses(t *testing.T) {
	if _, err := (Backtest{}).Run(slices.Values([]*Vehicle(nil))); err == nil {
		t.Error("no days: want an error")
	}
	failing := func(Day) ([]Model, error) { return nil, fmt.Errorf("too few vehicles") }
	if _, err := (Backtest{AsOf: []Day{1}, Train: failing}).Run(slices.Values([]*Vehicle(nil))); err == nil {
		t.Error("training fails: want its error")
	}
}

// The textbook case: 12 mm new, 6 mm after 37,856 miles, limit 2 mm: 6,309
// miles per mm and 25,237 miles left (Mathematics textbook for automotive
// technicians, 2019, case study 16).
func TestTwoPointTextbook(t *testing.T) {
	pos := Position{Part: Pad}
	v := &Vehicle{ID: "v", Odometer: []Odometer{{1000, 0}, {2000, 37856}}, Axles: []Axle{{
		Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}},
		Fitments: []Fitment{{Day: 1000, Km: 0, Pos: pos}},
		Readings: []Reading{{Day: 2000, Km: 37856, Pos: pos, MM: 6}},
	}}}
	f := (&TwoPoint{Spread: assumedSpread}).Forecast(v, 2000, Options{})[0]
	if got := f.Crossing.Km.Quantile(.5) - 37856; math.Abs(got-25237.33) > .01 {
		t.Errorf("left = %.2f miles, want 25,237.33", got)
	}
	if got := f.Positions[0].ThicknessMM; math.Abs(got-6) > 1e-9 {
		t.Errorf("thickness now = %g, want 6", got)
	}
	if got := 1e4 / f.Positions[0].RatePer10000; math.Abs(got-6309.33) > .01 {
		t.Errorf("miles per mm = %.2f, want 6,309.33", got)
	}
}

func TestBaselinesOnBadInput(t *testing.T) {
	pos := Position{Part: Pad}
	spec := map[Part]Spec{Pad: {New: 12, Limit: 2}}
	odo := monthly(18000, 1000, 3000, 5000, 7000, 9000)
	read := func(mms ...float64) []Reading {
		var rs []Reading
		for i, mm := range mms {
			rs = append(rs, Reading{Day: 18000 + Day(30*i), Km: math.NaN(), Pos: pos, MM: mm})
		}
		return rs
	}
	vs := map[string]*Vehicle{
		"nothing":      {},
		"no odometer":  {Axles: []Axle{{Number: 1, Specs: spec, Readings: read(10, 9)}}},
		"no readings":  {Odometer: odo, Axles: []Axle{{Number: 1, Specs: spec}}},
		"all equal":    {Odometer: odo, Axles: []Axle{{Number: 1, Specs: spec, Readings: read(9, 9, 9)}}},
		"rising":       {Odometer: odo, Axles: []Axle{{Number: 1, Specs: spec, Readings: read(8, 8.5, 9)}}},
		"not numbers":  {Odometer: odo, Axles: []Axle{{Number: 1, Specs: spec, Readings: read(math.NaN(), -3, 90)}}},
		"past limit":   {Odometer: odo, Axles: []Axle{{Number: 1, Specs: spec, Readings: read(4, 3, 1.5)}}},
		"at the limit": {Odometer: odo, Axles: []Axle{{Number: 1, Specs: spec, Readings: read(4, 3, 2)}}},
		"standing":     {Odometer: monthly(18000, 500, 500, 500), Axles: []Axle{{Number: 1, Specs: spec, Readings: read(9, 8)}}},
		"bad limits":   {Odometer: odo, Axles: []Axle{{Number: 1, Specs: map[Part]Spec{Pad: {New: 2, Limit: 12}}, Readings: read(9, 8)}}},
	}
	fleet, _ := inventFleet(5, 30)
	models, _ := baselines(fleet)(20000)
	empty, _ := baselines(nil)(20000)
	for name, v := range vs {
		for _, m := range append(models, empty...) {
			for _, f := range m.Forecast(v, 18130, Options{}) {
				for _, d := range []Dist{f.Crossing.Km, f.Crossing.Day} {
					for i, x := range d.X {
						if math.IsNaN(x) || i > 0 && x < d.X[i-1] {
							t.Errorf("%s, %s: quantiles %v", name, m.Name(), d.X)
							break
						}
					}
				}
				if f.Crossing.Day.Known() && f.Crossing.Day.Quantile(.5) <= 18130 && !f.Has(PastLimit) {
					t.Errorf("%s, %s: a date in the past without saying so", name, m.Name())
				}
				if name == "past limit" && m.Name() == "two-point" && !f.Has(PastLimit) {
					t.Errorf("%s: not said", name)
				}
			}
		}
	}
}

// knowing is a model that was told each vehicle's true rate.
type knowing map[*Vehicle]Truth

func (knowing) Name() string { return "knowing" }

func (m knowing) Forecast(v *Vehicle, asOf Day, opt Options) []AxleForecast {
	for _, l := range m[v].Lives {
		if l.Fitted < asOf && asOf <= l.Removed {
			f := AxleForecast{Axle: 1, Model: "knowing", Crossing: Crossing{Km: normalDist(l.CrossKm, 10), Day: normalDist(l.CrossDay, 1)}}
			p := PositionForecast{Pos: l.First}
			if opt.Paths {
				at := func(share float64) PathPoint {
					mm := 12 - 10*share
					return PathPoint{l.FittedKm + share*(l.CrossKm-l.FittedKm), mm, mm - .1, mm + .1}
				}
				p.Path = []PathPoint{at(0), at(.5), at(1.3)}
			}
			f.Positions = []PositionForecast{p}
			return []AxleForecast{f}
		}
	}
	return nil
}

// Readings were made up with an error of .15 mm and steps of .1 mm: the mean
// absolute error of the truth is .15 sqrt(2/pi) = .12.
func TestBacktestScoresReadings(t *testing.T) {
	vs, truth := inventFleet(6, 100)
	s, err := (Backtest{
		AsOf: []Day{19000, 19600}, Readings: true,
		Train: func(Day) ([]Model, error) { return []Model{knowing(truth)}, nil },
		Truth: func(v *Vehicle) (Truth, bool) { return truth[v], true },
	}).Run(slices.Values(vs))
	if err != nil {
		t.Fatal(err)
	}
	r, _ := s.Row(ScoreGroup{"knowing", "all", ""})
	if got := r.Readings; got.N < 150 || math.Abs(got.MAE-.12) > .02 || got.Cover80 < .95 || got.IS80 < 2*z80*readingSD {
		t.Errorf("readings: %+v", got)
	}
	if r.Km.MAE > 1 || r.Booking.Wasted > .01 {
		t.Errorf("the truth itself is off by %g km and wastes %g", r.Km.MAE, r.Booking.Wasted)
	}
}
