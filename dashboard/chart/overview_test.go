package chart

import (
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// quarter is invented: what was before, the rest of a week and two weeks, of
// which the second has fewer hours than its limits need.
func quarter() []Span {
	monday := fleet.NewDate(2026, 3, 2)
	return []Span{
		{To: monday + 2, Expected: 12.25, Booked: 4, Needed: 31},
		{From: monday + 3, To: monday + 6, Expected: 1.5, Booked: .5, Needed: 2.5, Free: 24},
		{From: monday + 7, To: monday + 13, Expected: 20, Needed: 60, Free: 40},
		{From: monday + 14, To: monday + 20, Expected: .01, Needed: .02},
	}
}

// duties are invented.
var duties = []Range{
	{"city, pads", 33, [5]float64{2.05, 2.9, 3.44, 4.6, 5.77}},
	{"regional, pads", 15, [5]float64{.36, .6, .82, 1, 1.33}},
}

// The pictures of an overview say their figures, in words and in the drawing.
func TestOverviewTells(t *testing.T) {
	cs := charts()
	for _, c := range []struct {
		name  string
		alt   []string
		drawn []string
		not   []string
	}{
		{"left", []string{"132 measured axles", "3 at or past the limit", "8 with 0 to 10 %", "11 with 90 to 100 %"}, []string{"none", "3", "20", "usable thickness left, %"}, nil},
		// 12.25 + 1.5 + 20 + 0.01, of which 4.5 booked.
		{"limits", []string{"33.8 expected by 22 Mar 2026, 4.5 of them on axles that are booked", "12.2 were reached by now", "The most, 20.0, fall in the week of 9 Mar"},
			[]string{"by now", "5 Mar", "12", "1.5", "20", "booked", "not booked"}, []string{"0.0"}},
		{"hours", []string{"94 for axles that are to be booked by then", "64 free", "In 2 of the weeks more are needed than are free"}, []string{"beyond what is free", "free", "technician hours"}, nil},
		{"cost", []string{"rest of Mar 9391 (booked 9010, parts 201, labour 180); Apr 826 (booked 0, parts 449, labour 377)."}, []string{"9391", "826", "labour"}, nil},
		{"wear", []string{"city, pads 3.44 (2.05 to 5.77, 33 axles); regional, pads 0.82 (0.36 to 1.33, 15 axles)."}, []string{"city, pads (33)", "regional, pads (15)", "median"}, nil},
	} {
		ch := cs[c.name]
		for _, want := range c.alt {
			if !strings.Contains(ch.Alt, want) {
				t.Errorf("%s: %q does not say %q", c.name, ch.Alt, want)
			}
		}
		svg := string(ch.SVG(WideWidth, WideHeight))
		for _, want := range c.drawn {
			if !strings.Contains(svg, ">"+want+"<") {
				t.Errorf("%s: the picture does not say %q", c.name, want)
			}
		}
		for _, not := range c.not {
			if strings.Contains(svg, ">"+not+"<") {
				t.Errorf("%s: the picture says %q", c.name, not)
			}
		}
	}
}

// Where there is nothing there is no picture.
func TestOverviewOfNothing(t *testing.T) {
	for name, c := range map[string]*Chart{
		"no classes":   LiningLeft(nil),
		"no axles":     LiningLeft(make([]int, 11)),
		"no weeks":     Limits(units.Reader{}, nil),
		"no limits":    Limits(units.Reader{}, []Span{{From: 1, To: 7}}),
		"no hours":     Hours(units.Reader{}, []Span{{From: 1, To: 7}}),
		"no spans":     Hours(units.Reader{}, nil),
		"no cost":      Stack("Cost", "KR", []string{"Mar"}, []Layer{{"booked", []float64{0}}}),
		"no groups":    Ranges("Wear", "mm", nil),
		"none wears":   Ranges("Wear", "mm", []Range{{Name: "city", N: 5}}),
		"single month": Stack("Cost", "KR", nil, nil),
	} {
		if c != nil {
			t.Errorf("%s: got a picture: %s", name, c.Alt)
		}
	}
}

// More groups than there is room for are cut off, in the words as well.
func TestRangesCut(t *testing.T) {
	var rs []Range
	for i := range maxRanges + 1 {
		rs = append(rs, Range{Name: string(rune('A' + i)), N: 9, At: [5]float64{1, 2, 3, 4, 5}})
	}
	c := Ranges("Wear", "mm", rs)
	if svg := string(c.SVG(WideWidth, WideHeight)); !strings.Contains(svg, ">G (9)<") || strings.Contains(svg, ">H (9)<") || strings.Contains(c.Alt, "H 3.00") {
		t.Errorf("got %s", c.Alt)
	}
}

// Bars are where their counts put them: the golden pictures would show a
// change, this shows that they were right to begin with.
func TestBarsTrue(t *testing.T) {
	a := newWeekAxis(quarter())
	before0, before1 := a.of(quarter()[0])
	first0, first1 := a.of(quarter()[1])
	next0, _ := a.of(quarter()[2])
	if !(before0 < before1 && before1 < first0 && first0 < first1 && first1 < next0) {
		t.Errorf("weeks overlap: %g to %g, %g to %g, %g", before0, before1, first0, first1, next0)
	}
	for x, want := range map[float64]string{.04: "", .05: "0.1", 1.24: "1.2", 9.94: "9.9", 9.96: "10", 1234.4: "1234"} {
		if got := figure(x); got != want {
			t.Errorf("%g: got %q, want %q", x, got, want)
		}
	}
}
