package forecast

import (
	"math"
	"testing"
)

// The expected values come from summing the defining integral day by day.
func TestEffectiveTrack(t *testing.T) {
	tr := CleanOdometer(monthly(18000, 1000, 3000, 3500, 9000, 9000, 12000, 14000, 15000, 19000, 21000, 22000, 25000, 26500, 28000))
	w := WearSeason{Cos: .06, Sin: -.04}
	e := tr.Effective(w)
	sum := func(a, b Day) float64 {
		var s float64
		const cuts = 24
		for i := range int(b-a) * cuts {
			lo, hi := float64(a)+float64(i)/cuts, float64(a)+float64(i+1)/cuts
			mid := 2 * math.Pi / 365.25 * (lo + hi) / 2
			s += (tr.kmAt(hi) - tr.kmAt(lo)) * (1 + w.Cos*math.Cos(mid) + w.Sin*math.Sin(mid))
		}
		return s
	}
	for _, d := range []Day{18000, 18013, 18100, 18290, 18390, 18500} {
		if got, want := e.At(d), sum(18000, d); math.Abs(got-want) > .05 {
			t.Errorf("At(%d) = %.3f, want %.3f", d, got, want)
		}
	}
	if got, want := e.At(17995), -sum(17995, 18000); math.Abs(got-want) > .05 {
		t.Errorf("before the first reading = %.3f, want %.3f", got, want)
	}
	plain := tr.Effective(WearSeason{})
	if got, want := plain.At(18100), tr.Km(18100)-1000; got != want {
		t.Errorf("without a season = %g, want %g", got, want)
	}
	if got := (Track{}).Effective(w).At(3); !math.IsNaN(got) {
		t.Errorf("of nothing = %g, want NaN", got)
	}
}

func TestWearSeasonAhead(t *testing.T) {
	w := WearSeason{Cos: .07, Sin: .02}
	for _, km := range []float64{0, 10, 500, 12345, 400000} {
		eff := w.Effective(km, 20123, 55)
		if got := w.Real(eff, 20123, 55); math.Abs(got-km) > 1e-3 {
			t.Errorf("Real(Effective(%g)) = %g", km, got)
		}
	}
	// A whole number of years wears like the year's mean.
	if got, want := w.Effective(55*4*365.25, 20123, 55), 55*4*365.25; math.Abs(got-want) > 1e-6 {
		t.Errorf("four years = %g effective km, want %g", got, want)
	}
	if got := w.Real(math.Inf(1), 20123, 55); !math.IsInf(got, 1) {
		t.Errorf("Real(Inf) = %g", got)
	}
	if got := w.Real(700, 20123, 0); got != 700 {
		t.Errorf("standing: %g, want 700", got)
	}
}

// TestRoadDay, with an invented history: the total at an effective distance between two readings is that of the
// first day by whose end the distance is covered, found by trying every day.
func TestRoadDay(t *testing.T) {
	track := CleanOdometer(monthly(18000, 1000, 3000, 3500, 9000, 9000, 12000, 14000, 15000, 19000, 21000, 22000, 25000, 26500, 28000))
	w := WearSeason{Cos: -.3, Sin: .5}
	r := road{track: track, eff: track.Effective(w), season: w}
	r.lastEff = r.eff.At(track.Last.Day)
	first := track.days[0]
	for s := .01; s < r.lastEff/1000; s += .037 {
		d := first
		for r.eff.At(d) < 1000*s {
			d++
		}
		a, b := r.eff.At(d-1), r.eff.At(d)
		want := track.Km(d-1) + (track.Km(d)-track.Km(d-1))*(1000*s-a)/(b-a)
		if got := r.km(s); got != want {
			t.Errorf("at %g effective km: total %.12g, want %.12g", 1000*s, got, want)
		}
	}
}
