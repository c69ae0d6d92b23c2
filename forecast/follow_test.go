package forecast

import (
	"math"
	"slices"
	"sync"
	"testing"
)

// watcher is a model that knows the life of one vehicle's parts exactly and
// writes down what it was shown.
type watcher struct {
	mu    sync.Mutex
	shown map[Day]Axle
	at    map[Day]int // odometer readings known
}

func (*watcher) Name() string { return "watcher" }

func (m *watcher) Forecast(v *Vehicle, asOf Day, _ Options) []AxleForecast {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.shown[asOf] = v.Axles[0]
	m.at[asOf] = len(v.Odometer)
	return []AxleForecast{{Axle: 1, Crossing: Crossing{Km: normalDist(50e3, 1), Day: normalDist(1950, .01)}}}
}

// A set fitted on day 950 is taken off on day 1500, half worn, with its limit
// due on day 1950. The policy keeps it on: it is asked again at each inspection
// to come, sees nothing of the set fitted in its place, and wastes nothing.
func TestLivesGoOn(t *testing.T) {
	pos := Position{Part: Pad}
	read := func(d Day, mm float64) Reading { return Reading{Day: d, Km: 50 * float64(d-950), Pos: pos, MM: mm} }
	v := &Vehicle{ID: "v", Depot: "South", Axles: []Axle{{
		Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}},
		Readings: []Reading{read(1100, 10.5), read(1300, 8.5), read(1500, 6.5), read(1650, 10.5)},
		Fitments: []Fitment{{Day: 950, Pos: pos}, {Day: 1500, Pos: pos}},
	}}}
	for d := Day(950); d <= 1700; d += 50 {
		v.Odometer = append(v.Odometer, Odometer{d, 50 * float64(d-950)})
	}
	life := Life{
		Axle: 1, Part: Pad, Fitted: 950, Removed: 1500, FittedKm: 0, RemovedKm: 27500, Declared: true,
		CrossKm: 50e3, CrossDay: 1950, First: pos,
		ToCome: []Reading{read(1650, 5), read(1800, 3.5)},
	}
	truth := Truth{Lives: []Life{life}, GoesOn: true, OdometerToCome: []Odometer{{1800, 42500}}}
	m := &watcher{shown: map[Day]Axle{}, at: map[Day]int{}}
	s, err := (Backtest{
		AsOf: []Day{1000}, Along: true, Workers: 1,
		Train: func(Day) ([]Model, error) { return []Model{m}, nil },
		Truth: func(*Vehicle) (Truth, bool) { return truth, true },
	}).Run(slices.Values([]*Vehicle{v}))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		day                Day
		readings, fitments int
	}{{1100, 4, 2}, {1300, 4, 2}, {1500, 5, 1}, {1650, 5, 1}, {1800, 5, 1}} {
		a, ok := m.shown[tt.day]
		if !ok || len(a.Readings) != tt.readings || len(a.Fitments) != tt.fitments {
			t.Errorf("day %d: asked %t, shown %d readings and %d fitments, want %d and %d", tt.day, ok, len(a.Readings), len(a.Fitments), tt.readings, tt.fitments)
		}
	}
	last := m.shown[1800]
	if got := last.Readings[len(last.Readings)-1]; got.Depot != "South" || got.MM != 3.5 {
		t.Errorf("last reading to come: %+v", got)
	}
	if got := m.at[1800] - m.at[1300]; got != 1 {
		t.Errorf("%d odometer readings to come, want 1", got)
	}
	r, _ := s.Row(ScoreGroup{"watcher", "all", ""})
	if b := r.Booking; b.Lives != 1 || b.AtRisk.Level != defaultRisk || b.AtRisk.Passed != 0 || b.AtRisk.Wasted > .002 {
		t.Errorf("booking %+v, want one life with nothing wasted", b)
	}
	// Five inspections before the limit.
	if r.Lives.N != 1 || math.Abs(r.Lives.CRA-1) > 1e-3 {
		t.Errorf("along lives %+v, want one and no error", r.Lives)
	}
	// The rule reads .15 left on day 1800: at a tenth it is passed, at a fifth
	// .15 of the life is wasted.
	rule, _ := s.Row(ScoreGroup{ThresholdRule, "all", ""})
	at := func(share float64) PlanPoint {
		return rule.Booking.Replanned[slices.Index(thresholdShares, share)]
	}
	if rule.Booking.AtRisk.Passed != 1 || at(.1).Passed != 1 || at(.2).Passed != 0 || math.Abs(at(.2).Wasted-.15) > 1e-9 || math.Abs(at(.45).Wasted-.45) > 1e-9 {
		t.Errorf("threshold rule: %+v", rule.Booking.Replanned)
	}
}
