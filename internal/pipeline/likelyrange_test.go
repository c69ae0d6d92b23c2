package pipeline

import "testing"

// A value outside the likely range lies outside the one that is said. Numbers are invented.
func TestLikelyRange(t *testing.T) {
	for _, c := range []struct {
		mm, low, high     float64
		wantLow, wantHigh string
	}{
		{16.2, 16.43, 18.51, "16.4", "18.5"},
		{16.4, 16.43, 18.51, "16.43", "18.51"},
		{16.4, 16.402, 18.51, "16.41", "18.51"},
		{18.5, 16.43, 18.46, "16.43", "18.46"},
		{18.6, 16.43, 18.46, "16.4", "18.5"},
	} {
		low, high := likelyRange(c.mm, c.low, c.high)
		if mmText(low) != c.wantLow || mmText(high) != c.wantHigh {
			t.Errorf("%v outside %v to %v: got %s to %s, want %s to %s", c.mm, c.low, c.high, mmText(low), mmText(high), c.wantLow, c.wantHigh)
		}
	}
}
