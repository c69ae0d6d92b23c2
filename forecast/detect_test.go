package forecast

import (
	"math"
	"slices"
	"testing"
)

// teller is a model that always says the same of an axle.
type teller Basis

func (teller) Name() string { return "teller" }

func (m teller) Forecast(*Vehicle, Day, Options) []AxleForecast {
	return []AxleForecast{{Axle: 1, Basis: Basis(m)}}
}

// A vehicle by hand, 50 km a day: pads fitted on day 900, changed off the record
// on days 1150 and 1450, the last set with a caliper that seizes on day 1480.
func TestDetection(t *testing.T) {
	left, right := Position{Part: Pad, Side: "left"}, Position{Part: Pad, Side: "right"}
	read := func(d Day, pos Position, mm float64) Reading {
		return Reading{Day: d, Km: math.NaN(), Pos: pos, MM: mm}
	}
	v := &Vehicle{ID: "v", Axles: []Axle{{
		Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}},
		Readings: []Reading{
			read(1000, left, 9), read(1100, left, 5), read(1200, left, 11), read(1400, left, 6),
			read(1500, left, 11), read(1500, right, 9.8), read(1550, left, 1), read(1550, right, 9.2),
			read(1600, left, 10), read(1600, right, 8),
		},
	}}}
	for d := Day(900); d <= 1610; d += 30 {
		v.Odometer = append(v.Odometer, Odometer{d, 50 * float64(d)})
	}
	shown := func(d Day) *float64 {
		return &v.Odometer[slices.IndexFunc(v.Odometer, func(o Odometer) bool { return o.Day == d })].Km
	}
	*shown(1020) += 10 // less than a day's driving
	*shown(1110) -= 9000
	*shown(1230) *= 10
	for d := Day(1410); d <= 1610; d += 30 { // a new cluster
		*shown(d) -= 70e3
	}
	truth := Truth{
		Lives: []Life{
			{Axle: 1, Part: Pad, Fitted: 900, Removed: 1150, Declared: true},
			{Axle: 1, Part: Pad, Fitted: 1150, Removed: 1450, FittedKm: 1150 * 50},
			{Axle: 1, Part: Pad, Fitted: 1450, Removed: NotRemoved, FittedKm: 1450 * 50, DragSide: "right", DragDay: 1480},
		},
		Shifts: []Shift{{1400, 70e3}},
		Path:   []Odometer{{900, 45e3}, {1610, 1610 * 50}},
		Faults: &Faults{
			Readings: []Misread{
				{Day: 1550, Axle: 1, Pos: left, Meant: 10, Written: 1},
				{Day: 1500, Axle: 1, Pos: right, Meant: 10, Written: 9.8, Swapped: true},
				{Day: 1600, Axle: 1, Pos: right, Meant: 9, Written: 8},
				{Day: 1100, Axle: 1, Pos: left, Meant: 7, Written: 5}, // of parts gone
			},
			Odometer: []OdometerTypo{
				{1020, 51000, 51010}, {1110, 55500, 46500}, {1230, 61500, 615000},
			},
		},
	}
	for i := range truth.Lives {
		l := &truth.Lives[i]
		l.CrossDay, l.CrossKm = float64(l.Fitted)+700, l.FittedKm+700*50
	}
	run := func(b Basis) map[string]Detected {
		s, err := (Backtest{
			AsOf: []Day{1610}, Workers: 1,
			Train: func(Day) ([]Model, error) { return []Model{teller(b)}, nil },
			Truth: func(*Vehicle) (Truth, bool) { return truth, true },
		}).Run(slices.Values([]*Vehicle{v}))
		if err != nil {
			t.Fatal(err)
		}
		out := make(map[string]Detected)
		for _, d := range s.Detection() {
			out[d.What] = d
		}
		return out
	}
	type count = [2]int
	same := map[string]count{
		// All but the first error do not fit between their neighbours.
		SetTypos: {2, 3}, SetPlainTypos: {2, 2}, SmallTypos: {1, 3}, SetGood: {0, 21},
		FoundClusters: {1, 1}, FalseClusters: {0, 1},
	}
	for _, tt := range []struct {
		name string
		says Basis
		want map[string]count
	}{
		{"nothing", Basis{}, map[string]count{
			FoundChanges: {0, 2}, TrueChanges: {}, FalseChanges: {0, 7},
			FoundTypos1: {}, FoundTypos2: {0, 1}, FoundTypos4: {}, FoundTypos: {0, 1}, FoundSwapped: {0, 1}, FlaggedGood: {0, 3},
		}},
		{"the truth", Basis{
			Changes:  []Change{{Part: Pad, After: 1100, Before: 1200}, {Part: Pad, Side: "left", After: 1400, Before: 1500}, {Part: Pad, Side: "right", After: 1400, Before: 1500}},
			SetAside: []SetAside{{Reading: read(1550, left, 1)}},
			Doubted:  []Reading{read(1600, right, 8)},
		}, map[string]count{
			FoundChanges: {2, 2}, TrueChanges: {2, 2}, FalseChanges: {0, 7},
			FoundTypos2: {1, 1}, FoundTypos: {1, 1}, FoundSwapped: {0, 1}, FlaggedGood: {0, 3},
		}},
		{"too much", Basis{
			Changes:  []Change{{Part: Pad, After: 1000, Before: 1100}, {Part: Pad, After: 1400, Before: 1500}},
			SetAside: []SetAside{{Reading: read(1500, left, 11)}, {Reading: read(1500, right, 9.8)}},
			Drags:    []Drag{{Part: Pad, Side: "left"}},
		}, map[string]count{
			FoundChanges: {1, 2}, TrueChanges: {1, 2}, FalseChanges: {1, 7},
			FoundTypos: {0, 1}, FoundSwapped: {1, 1}, FlaggedGood: {1, 3},
		}},
	} {
		got := run(tt.says)
		for _, want := range []map[string]count{same, tt.want} {
			for what, n := range want {
				if d := got[what]; d.N != n[0] || d.Of != n[1] {
					t.Errorf("%s: %s: got %d of %d, want %d of %d", tt.name, what, d.N, d.Of, n[0], n[1])
				}
			}
		}
	}

	// The caliper is judged on day 1600, which lies after the grid's first.
	drags := func(side string) map[string]Detected {
		s, err := (Backtest{
			AsOf: []Day{1470, 1490}, Workers: 1,
			Train: func(Day) ([]Model, error) { return []Model{teller{Drags: []Drag{{Part: Pad, Side: side}}}}, nil },
			Truth: func(*Vehicle) (Truth, bool) { return truth, true },
		}).Run(slices.Values([]*Vehicle{v}))
		if err != nil {
			t.Fatal(err)
		}
		out := make(map[string]Detected)
		for _, d := range s.Detection() {
			out[d.What] = d
		}
		return out
	}
	for side, found := range map[string]int{"right": 1, "left": 0} {
		got := drags(side)
		if d := got[FoundDrags]; d.N != found || d.Of != 1 {
			t.Errorf("drag on the %s: found %d of %d", side, d.N, d.Of)
		}
		// 120 of 700 days' distance since: no quarter of a life.
		if d, ok := got[FoundLongDrags]; ok {
			t.Errorf("drag on the %s: %+v, want none so long", side, d)
		}
	}

	truth.Faults = nil
	if got := run(Basis{}); len(got) > 0 {
		t.Errorf("where faults are not known: %v", got)
	}
}
