package forecast

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Closed form of the CRPS of a normal law: Gneiting and Raftery (2007), equation
// 21: sd [ z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi) ].
func normalCRPS(mean, sd, x float64) float64 {
	z := (x - mean) / sd
	return sd * (z*(2*distuv.UnitNormal.CDF(z)-1) + 2*distuv.UnitNormal.Prob(z) - 1/math.Sqrt(math.Pi))
}

func TestCRPSOfNormal(t *testing.T) {
	d := normalDist(100, 20)
	for _, x := range []float64{20, 60, 80, 95, 100, 103, 130, 150, 190} {
		got, want := d.CRPS(x), normalCRPS(100, 20, x)
		// A law kept as 29 quantiles is not quite the normal one.
		if math.Abs(got-want) > .05+.002*want {
			t.Errorf("CRPS at %g = %.4f, want %.4f", x, got, want)
		}
	}
}

// Closed form by hand: for a uniform law on 0..1 the CRPS at x inside is
// x³/3 + (1-x)³/3.
func TestCRPSOfUniform(t *testing.T) {
	d := DistOf(func(p float64) float64 { return p })
	for _, x := range []float64{.01, .3, .5, .77, .99} {
		got, want := d.CRPS(x), x*x*x/3+(1-x)*(1-x)*(1-x)/3
		if math.Abs(got-want) > 1e-6 {
			t.Errorf("CRPS at %g = %.8f, want %.8f", x, got, want)
		}
	}
}

func TestCRPSOfCertainty(t *testing.T) {
	d := DistOf(func(float64) float64 { return 7 })
	for _, x := range []float64{3, 7, 12} {
		if got, want := d.CRPS(x), math.Abs(x-7); math.Abs(got-want) > 1e-12 {
			t.Errorf("CRPS at %g = %g, want the absolute error %g", x, got, want)
		}
	}
	if got := (Dist{}).CRPS(1); !math.IsNaN(got) {
		t.Errorf("of an unknown law: %g", got)
	}
	open := DistOf(func(p float64) float64 { return 1 / (.9 - min(p, .9)) })
	if got := open.CRPS(3); !math.IsInf(got, 1) {
		t.Errorf("of an open law: %g", got)
	}
	if got := open.Clamp(0, 50).CRPS(3); math.IsInf(got, 0) || math.IsNaN(got) {
		t.Errorf("of a clamped law: %g", got)
	}
}

// CRPS = 2 integral over p of the pinball loss (Gneiting and Raftery 2007,
// section 4.2, in its quantile form), summed finely here.
func TestCRPSIsMeanPinball(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.SliceOfN(rapid.Float64Range(0, 10), len(Levels), len(Levels)).Draw(t, "steps")
		x0, i := rapid.Float64Range(-20, 200).Draw(t, "x"), -1
		sum := 0.
		d := DistOf(func(float64) float64 { i++; sum += steps[i]; return sum })
		const n = 4000
		var want float64
		for k := range n {
			p := (float64(k) + .5) / n
			want += 2 * pinball(p, d.Quantile(p), x0) / n
		}
		if got := d.CRPS(x0); math.Abs(got-want) > .02+.002*want {
			t.Fatalf("CRPS = %g, pinball %g", got, want)
		}
	})
}

// The interval score is proper: on average the true quantiles score best
// (Gneiting and Raftery 2007, equation 43). Worked by hand for single values.
func TestIntervalScore(t *testing.T) {
	d := DistOf(func(p float64) float64 { return 100 * p })
	for _, tt := range []struct{ level, x, want float64 }{
		{.8, 50, 80},               // inside: its width
		{.8, 5, 80 + 10*5},         // 5 below 10
		{.8, 100, 80 + 10*10},      // 10 above 90
		{.95, 0, 95 + 40*2.5},      // 2.5 below 2.5
		{.5, 76, 50 + 4*1},         // 1 above 75
		{.5, 25, 50}, {.5, 75, 50}, // on its ends
	} {
		if got := d.IntervalScore(tt.level, tt.x); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("score of the %g interval at %g = %g, want %g", tt.level, tt.x, got, tt.want)
		}
	}
}

// Definitions of Saxena et al. (2010), section 3, worked by hand.
func TestPrognosticMetrics(t *testing.T) {
	if got := RelativeAccuracy(80, 100); math.Abs(got-.8) > 1e-12 {
		t.Errorf("relative accuracy = %g, want .8", got)
	}
	if !InCone(118, 100, .2) || InCone(79, 100, .2) {
		t.Error("the cone of 20 % about 100 is 80 to 120")
	}
	d := DistOf(func(p float64) float64 { return 1000 + 200*p }) // uniform
	if got := ConeMass(d, 1000, 100, .2); math.Abs(got-.2) > 1e-9 {
		t.Errorf("mass in 1080..1120 = %g, want .2", got)
	}
	for _, tt := range []struct {
		name   string
		series []Prognosis
		want   float64
	}{
		{"always good", []Prognosis{{10, 92}, {50, 47}, {80, 22}}, .9},
		{"good from half on", []Prognosis{{10, 150}, {50, 55}, {80, 22}}, .5},
		{"lost again", []Prognosis{{10, 92}, {50, 80}, {80, 22}}, .2},
		{"off at the end", []Prognosis{{10, 92}, {80, 60}}, 0},
		{"never said", []Prognosis{{10, math.Inf(1)}}, 0},
		{"none", nil, 0},
	} {
		if got := PrognosticHorizon(tt.series, 100, .1); math.Abs(got-tt.want) > 1e-12 {
			t.Errorf("%s: horizon = %g, want %g", tt.name, got, tt.want)
		}
	}
}

// pinball returns the loss of the p-quantile q when x comes true: p (x-q) above
// it, (1-p) (q-x) below it.
func pinball(p, q, x float64) float64 {
	if x >= q {
		return p * (x - q)
	}
	return (1 - p) * (q - x)
}
