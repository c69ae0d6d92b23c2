package forecast

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// An n-point Gauss rule is exact for polynomials up to degree 2n-1; the moments
// of the standard normal law are the double factorials (closed form).
func TestHermiteNodes(t *testing.T) {
	want := 1.
	for k := 0; k < 2*reachNodes; k += 2 {
		if k > 0 {
			want *= float64(k - 1)
		}
		var even, odd float64
		for g, z := range hermiteZ {
			even += hermiteW[g] * math.Pow(z, float64(k))
			odd += hermiteW[g] * math.Pow(z, float64(k+1))
		}
		if math.Abs(even/want-1) > 1e-12 || math.Abs(odd) > 1e-12*want*float64(k+1) {
			t.Errorf("moments %d, %d = %.15g, %.3g; want %.15g, 0", k, k+1, even, odd, want)
		}
	}
}

// exactDay returns E F(last + exp(mu + sd Z)) for the piecewise linear F of km,
// in closed form: on each piece an expectation of (L-a)+ for a log-normal L,
// which is exp(mu+sd²/2) Phi(d+sd) - a Phi(d) with d = (mu - ln a)/sd.
func exactDay(km Dist, last, mu, sd float64) float64 {
	call := func(a float64) float64 {
		if a <= 0 {
			return math.Exp(mu+sd*sd/2) - a
		}
		d := (mu - math.Log(a)) / sd
		return math.Exp(mu+sd*sd/2)*distuv.UnitNormal.CDF(d+sd) - a*distuv.UnitNormal.CDF(d)
	}
	above := func(a float64) float64 { // P(L >= a)
		if a <= 0 {
			return 1
		}
		return distuv.UnitNormal.CDF((mu - math.Log(a)) / sd)
	}
	n := len(Levels) - 1
	sum := Levels[0]*above(km.X[0]-last) + (1-Levels[n])*above(km.X[n]-last)
	for i := range n {
		a, b := km.X[i]-last, km.X[i+1]-last
		if math.IsInf(b, 1) {
			break
		}
		sum += (Levels[i+1] - Levels[i]) / (b - a) * (call(a) - call(b))
	}
	return sum
}

func normalDist(mean, sd float64) Dist {
	return DistOf(func(p float64) float64 { return mean + sd*distuv.UnitNormal.Quantile(p) })
}

func TestUsageDays(t *testing.T) {
	// Invented: 60 km/day from day 20000 to 20600, read monthly.
	var rs []Odometer
	for i := range 21 {
		rs = append(rs, Odometer{Day(20000 + 30*i), float64(1800*i) + 300*math.Sin(float64(i))})
	}
	tr := CleanOdometer(rs)
	m := DefaultUsage()
	u := m.Forecast(tr, "M1", 20620)
	for _, tt := range []struct {
		name string
		km   Dist
		tol  float64 // of the probability
	}{
		{"wide", normalDist(tr.Last.Km+20000, 6000), .004},
		{"near", normalDist(tr.Last.Km+1500, 600), .004},
		{"far", normalDist(tr.Last.Km+150000, 30000), .004},
		{"partly past", normalDist(tr.Last.Km+1000, 1500), .004},
		// The nodes leave steps where the limit is known far better than the
		// distance driven.
		{"narrow", normalDist(tr.Last.Km+20000, 1000), .01},
	} {
		got := u.Days(tt.km)
		worst := 0.
		for i, day := range got.X {
			if math.IsInf(day, 1) {
				continue
			}
			since := day - float64(tr.Last.Day)
			if since < 2 {
				continue // in the past, below; days are whole there
			}
			mu, sd := u.law.logKm(tr.Last.Day, 0, since)
			f := exactDay(tt.km, tr.Last.Km, mu, sd)
			worst = max(worst, math.Abs(f-Levels[i]))
		}
		t.Logf("%s: largest error in probability %.4f", tt.name, worst)
		if worst > tt.tol {
			t.Errorf("%s: error in probability %.4f, want at most %.4f", tt.name, worst, tt.tol)
		}
		for i, x := range tt.km.X {
			if x <= tr.Last.Km {
				if want := tr.Day(x); got.X[i] != want {
					t.Errorf("%s: crossing in the past on day %.2f, want %.2f", tt.name, got.X[i], want)
				}
			}
		}
	}
}

func TestUsageDaysAtTheEdges(t *testing.T) {
	tr := CleanOdometer([]Odometer{{20000, 1000}, {20100, 1000}, {20200, 1000}})
	u := SimpleUsage(tr, 20210)
	for name, u := range map[string]Usage{"simple": u, "model": func() Usage { m := DefaultUsage(); return m.Forecast(tr, "M1", 20210) }()} {
		d := u.Days(normalDist(9000, 500))
		if d.Quantile(.5) < 20200+1000 {
			t.Errorf("%s: a standing vehicle covers 8,000 km by day %.0f", name, d.Quantile(.5))
		}
		if rate := u.KmPerDay(); !(rate > 0 && rate < 10) {
			t.Errorf("%s: a standing vehicle drives %g km/day", name, rate)
		}
	}
	if got := u.Days(Dist{}); got.Known() {
		t.Error("days of an unknown limit are known")
	}
	var none Usage
	if got := none.Days(normalDist(9000, 500)); got.Known() {
		t.Error("days of an unknown usage are known")
	}
	inf := DistOf(func(p float64) float64 {
		if p > .3 {
			return math.Inf(1)
		}
		return 1500 + 1000*p
	})
	d := SimpleUsage(CleanOdometer(monthly(20000, 0, 1000, 2000, 3000)), 20100).Days(inf)
	if math.IsInf(d.Quantile(.2), 1) || !math.IsInf(d.Quantile(.5), 1) || math.IsNaN(d.Quantile(.3)) {
		t.Errorf("a limit that is partly never reached: %v", d.X)
	}
}

func TestUsageDaysProperties(t *testing.T) {
	model := DefaultUsage()
	rapid.Check(t, func(t *rapid.T) {
		tr := CleanOdometer(anyOdometer(t))
		asOf := Day(rapid.Int32Range(0, 40000).Draw(t, "asOf"))
		u := model.Forecast(tr, "M1", asOf)
		if rapid.Bool().Draw(t, "simple") {
			u = SimpleUsage(tr, asOf)
		}
		mean := rapid.Float64Range(-1e5, 2e6).Draw(t, "mean")
		sd := rapid.Float64Range(1, 1e5).Draw(t, "sd")
		near, far := u.Days(normalDist(mean, sd)), u.Days(normalDist(mean+5000, sd))
		if !u.Known() {
			if near.Known() {
				t.Fatal("days without usage")
			}
			return
		}
		for i, x := range near.X {
			if math.IsNaN(x) || math.IsInf(x, -1) || i > 0 && x < near.X[i-1] {
				t.Fatalf("quantiles %v", near.X)
			}
			if far.X[i] < x-1e-6 {
				t.Fatalf("a limit 5,000 km further is reached on day %g, not after %g", far.X[i], x)
			}
		}
		if rate := u.KmPerDay(); !(rate > 0) || math.IsInf(rate, 0) {
			t.Fatalf("%g km/day", rate)
		}
	})
}
