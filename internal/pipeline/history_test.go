package pipeline

import "testing"

func TestGaugeStep(t *testing.T) {
	for _, c := range []struct {
		gauge string
		want  float64
	}{
		{"0.1 mm caliper", .1},
		{"1mm stepped gauge", 1},
		{"gauge 0.5 mm", .5},
		{"caliper, 0.05  mm, new", .05},
		{"150 mm caliper", 0}, // its length
		{"v1.2.3 mm", 0},
		{"mm", 0},
		{"caliper", 0},
		{"", 0},
	} {
		if got := GaugeStep(c.gauge); got != c.want {
			t.Errorf("%q: got %g, want %g", c.gauge, got, c.want)
		}
	}
}
