package forecast

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

var (
	pad12   = Spec{New: 12, Limit: 2}
	nan     = math.NaN()
	padLeft = Position{Part: Pad, Side: "left"}
	// hundredKm drives 100 km a day.
	hundredKm = CleanOdometer([]Odometer{{0, 0}, {100, 10000}})
)

func reading(d Day, p Position, mm float64) Reading {
	return Reading{Day: d, Km: nan, Pos: p, MM: mm}
}

func fitment(d Day, p Position) Fitment { return Fitment{Day: d, Km: nan, Pos: p} }

// show writes lives as "position start-day:values", a star for a known start.
func show(l Lives) []string {
	var out []string
	for _, s := range l.Series {
		var b strings.Builder
		fmt.Fprintf(&b, "%s @%d", s.Pos, s.StartDay)
		if s.Known {
			b.WriteString("*")
		}
		b.WriteString(":")
		for _, r := range s.Readings {
			fmt.Fprintf(&b, " %g", r.MM)
		}
		if s.Current {
			b.WriteString(" now")
		}
		out = append(out, b.String())
	}
	return out
}

// The cases are invented.
func TestSegments(t *testing.T) {
	padRight := Position{Part: Pad, Side: "right"}
	all := Position{Part: Pad}
	leftIn := Position{Part: Pad, Side: "left", Face: "inner"}
	leftOut := Position{Part: Pad, Side: "left", Face: "outer"}
	for _, c := range []struct {
		name     string
		readings []Reading
		fitments []Fitment
		want     []string
	}{
		{name: "nothing at all", want: []string{"pad @0: now"}},
		{
			name:     "no fitment",
			readings: []Reading{reading(20, padLeft, 8), reading(10, padLeft, 9)},
			want:     []string{"left pad @10: 9 8 now"},
		},
		{
			name:     "a fitment of all positions cuts each",
			readings: []Reading{reading(10, padLeft, 4), reading(10, padRight, 5), reading(30, padLeft, 11), reading(30, padRight, 11.5)},
			fitments: []Fitment{fitment(20, all)},
			want: []string{
				"left pad @10: 4", "left pad @20*: 11 now",
				"right pad @10: 5", "right pad @20*: 11.5 now",
			},
		},
		{
			name:     "a fitment of one side leaves the other",
			readings: []Reading{reading(10, padLeft, 4), reading(10, padRight, 5), reading(30, padRight, 4.5)},
			fitments: []Fitment{fitment(20, padLeft)},
			want:     []string{"left pad @10: 4", "left pad @20*: now", "right pad @10: 5 4.5 now"},
		},
		{
			name:     "a fitment of a side covers both faces",
			readings: []Reading{reading(10, leftIn, 4), reading(10, leftOut, 5), reading(30, leftIn, 11)},
			fitments: []Fitment{fitment(20, padLeft)},
			want: []string{
				"left inner pad @10: 4", "left inner pad @20*: 11 now",
				"left outer pad @10: 5", "left outer pad @20*: now",
			},
		},
		{
			name:     "the thinnest of both is renewed when the older one is",
			readings: []Reading{reading(10, all, 5), reading(25, all, 4.5), reading(40, all, 11)},
			fitments: []Fitment{fitment(20, padLeft), fitment(30, padRight)},
			want:     []string{"pad @10: 5 4.5", "pad @20*: 11 now"},
		},
		{
			name:     "on the day of fitting: the old part, unless near new",
			readings: []Reading{reading(10, padLeft, 6), reading(20, padLeft, 5.5), reading(20, padLeft, 11.8), reading(30, padLeft, 11)},
			fitments: []Fitment{fitment(20, padLeft)},
			want:     []string{"left pad @10: 6 5.5", "left pad @20*: 11.8 11 now"},
		},
		{
			name:     "a rise without a fitment",
			readings: []Reading{reading(10, padLeft, 6), reading(20, padLeft, 5.5), reading(30, padLeft, 11), reading(40, padLeft, 10)},
			want:     []string{"left pad @10: 6 5.5", "left pad @30: 11 10 now"},
		},
		{
			name:     "a rise of the jump itself is none",
			readings: []Reading{reading(10, padLeft, 6), reading(20, padLeft, 8)},
			want:     []string{"left pad @10: 6 8 now"},
		},
		{
			name:     "two of one day that disagree are no change",
			readings: []Reading{reading(10, padLeft, 9), reading(20, padLeft, 8.5), reading(20, padLeft, 5), reading(30, padLeft, 8)},
			want:     []string{"left pad @10: 9 8.5 5 8 now"},
		},
		{
			name:     "the future is not known",
			readings: []Reading{reading(10, padLeft, 9), reading(101, padLeft, 3)},
			fitments: []Fitment{fitment(101, padLeft)},
			want:     []string{"left pad @10: 9 now"},
		},
		{
			name:     "fitted and never measured",
			fitments: []Fitment{fitment(10, padLeft), fitment(10, padRight)},
			want:     []string{"left pad @10*: now", "right pad @10*: now"},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := &Axle{Number: 1, Specs: map[Part]Spec{Pad: pad12}, Readings: c.readings, Fitments: c.fitments}
			before := slices.Clone(c.readings)
			got := Segments(a, hundredKm, 100, Jump)
			if g, w := show(got), c.want; !slices.Equal(g, w) {
				t.Errorf("got\n%q\nwant\n%q", g, w)
			}
			if len(got.Warnings) > 0 {
				t.Errorf("warnings %v", got.Warnings)
			}
			for i, r := range c.readings {
				if r.Day != before[i].Day || r.MM != before[i].MM || !math.IsNaN(r.Km) {
					t.Errorf("reading %d changed to %v", i, r)
				}
			}
			for _, s := range got.Series {
				for _, r := range s.Readings {
					if r.Km != 100*float64(r.Day) {
						t.Errorf("reading of day %d at %g km", r.Day, r.Km)
					}
				}
			}
		})
	}
}

func TestSegmentsDrumGrows(t *testing.T) {
	drum := Position{Part: Drum, Side: "left"}
	// New 228.6 and limit 230.6 mm: WP-23, a vehicle maker's service manual.
	a := &Axle{
		Specs:    map[Part]Spec{Drum: {New: 228.6, Limit: 230.6}},
		Readings: []Reading{reading(10, drum, 229.2), reading(20, drum, 229.6), reading(30, drum, 228.7), reading(15, drum, 2294)},
		Fitments: []Fitment{fitment(25, drum)},
	}
	got := Segments(a, hundredKm, 100, Jump)
	want := []string{"left drum @10: 229.2 229.6", "left drum @25*: 228.7 now"}
	if g := show(got); !slices.Equal(g, want) {
		t.Errorf("got %q, want %q", g, want)
	}
	if len(got.SetAside) != 1 || got.SetAside[0].Reading.MM != 2294 {
		t.Errorf("set aside %v, want the slipped decimal point", got.SetAside)
	}
	if w := got.Series[0].Spec.Wear(229.6); math.Abs(w-1) > 1e-12 {
		t.Errorf("wear %g, want 1", w)
	}
}

func TestSegmentsBadInput(t *testing.T) {
	for _, c := range []struct {
		name  string
		spec  map[Part]Spec
		mm    float64
		aside int
		code  Code
		want  string // in the warning
	}{
		{"negative", map[Part]Spec{Pad: pad12}, -1, 1, BadInput, "below zero"},
		{"not a number", map[Part]Spec{Pad: pad12}, nan, 1, BadInput, "not a number"},
		{"thicker than new", map[Part]Spec{Pad: pad12}, 20, 1, BadInput, "less worn than new (12 mm)"},
		{"limit above new", map[Part]Spec{Pad: {New: 2, Limit: 12}}, 8, 0, BadInput, "limit of 12 mm lies above the new value of 2 mm"},
		{"limit is new", map[Part]Spec{Pad: {New: 12, Limit: 12}}, 8, 0, BadInput, "both 12 mm"},
		{"no new value", map[Part]Spec{Pad: {Limit: 2}}, 8, 0, BadInput, "positive numbers"},
		{"no specification", map[Part]Spec{Rotor: {New: 24, Limit: 22}}, 8, 0, NoSpec, "1 reading, but no new and limit"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := &Axle{Specs: c.spec, Readings: []Reading{reading(10, padLeft, c.mm)}}
			got := Segments(a, hundredKm, 100, Jump)
			if len(got.SetAside) != c.aside {
				t.Errorf("%d set aside, want %d", len(got.SetAside), c.aside)
			}
			if len(got.Warnings) != 1 || got.Warnings[0].Code != c.code || !strings.Contains(got.Warnings[0].Text, c.want) {
				t.Errorf("warnings %v, want %s with %q", got.Warnings, c.code, c.want)
			}
			for _, s := range got.Series {
				if len(s.Readings) > 0 {
					t.Errorf("kept %v", s.Readings)
				}
			}
		})
	}
}

func TestLivesCurrent(t *testing.T) {
	all := Position{Part: Pad}
	a := &Axle{
		Specs:    map[Part]Spec{Pad: pad12},
		Readings: []Reading{reading(10, all, 5), reading(30, padLeft, 11)},
		Fitments: []Fitment{fitment(20, all)},
	}
	got := Segments(a, hundredKm, 100, Jump)
	cur := got.Current()
	if len(cur) != 1 || cur[0].Pos != padLeft {
		t.Errorf("current %v, want the left pad alone: the thinnest of both was not read since", cur)
	}
}
