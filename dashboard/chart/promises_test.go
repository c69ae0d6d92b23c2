package chart

import (
	"strings"
	"testing"
)

// Invented forecasts: one that held, one that missed, one far beyond the edge.
func TestPromises(t *testing.T) {
	c := Promises(60, []Promise{{Low: -20, Mid: 5, Up: 30}, {Low: 10, Mid: 20, Up: 40}, {Low: -900, Mid: 0, Up: 900}})
	if want := "the 80 % interval held 2 of 3"; !strings.Contains(c.Alt, want) {
		t.Errorf("got %q, want %q in it", c.Alt, want)
	}
	svg := string(c.SVG(WideWidth, WideHeight))
	if n := strings.Count(svg, `stroke-width="3"`); n != 3 { // two that held, one in the key
		t.Errorf("got %d lines of those that held, want 3", n)
	}
	if strings.Contains(svg, "NaN") {
		t.Error("a NaN is drawn")
	}
	if Promises(60, nil) != nil {
		t.Error("of nothing there is a chart")
	}
}
