package chart

import (
	"strings"
	"testing"

	"brakewear/forecast"
)

func TestReliability(t *testing.T) {
	if Reliability(nil) != nil {
		t.Error("no rows: got a chart, want none")
	}
	// Invented scores: a model that is as sure as it should be.
	row := forecast.ScoreRow{ScoreGroup: forecast.ScoreGroup{Model: "full", By: "all"}}
	row.Day.N, row.Day.Cover80 = 200, .8
	copy(row.Day.Reliability[:], forecast.ReliabilityLevels[:])
	c := Reliability([]forecast.ScoreRow{row})
	if want := "full: the 80 % interval held 80 % of 200"; !strings.Contains(c.Alt, want) {
		t.Errorf("alt %q lacks %q", c.Alt, want)
	}
	svg := string(c.SVG(WideWidth, WideHeight))
	if !strings.Contains(svg, ">full</text>") || strings.Contains(svg, "NaN") {
		t.Errorf("got %s, want a key that names the model and no NaN", svg)
	}
}
