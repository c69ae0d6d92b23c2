package forecast

import (
	"math"
	"testing"
)

// TestLookBack: what is behind the last visit is the same whether it is looked back
// on or worked out for itself as what lies ahead is; and as good as the same by the
// fewer nodes of a band. The part sets are the reference ones, one of their places
// renewed alone somewhere in a stretch and another with a dragging caliper.
func TestLookBack(t *testing.T) {
	n, v := readVectors(t)
	var worst, thinMean, thinSD float64
	for i, c := range v.Cases {
		a := c.life(n)
		if len(a.visits) == 0 {
			continue
		}
		last := a.visits[len(a.visits)-1]
		renewed := a.births[0]
		renewed.at, renewed.gap = last/10, last/20
		a.births = append(a.births, renewed)
		if a.visits[0] >= renewed.at {
			a.places[3].born = 1
		}
		a.places[0].onset, a.places[0].drag = last/2, 1.6
		var f fitter
		f.open(a)
		f.take(rowsOf(a))
		f.posterior()
		whole := f.grid
		shares := []float64{.1, .37, .5, .81, .999}
		back, thinned := make([]sight, len(shares)), make([]sight, len(shares))
		for k, share := range shares {
			back[k].at, thinned[k].at = share*last, share*last
		}
		f.lookBack(back)
		some := whole.thin()
		f.grid.theta, f.grid.w = some.theta, some.w
		f.lookBack(thinned)
		f.grid = whole
		for k := range shares {
			want, got, thin := point{at: back[k].at, plain: true}, back[k], thinned[k]
			f.look(&want)
			for j := range a.live {
				sd := math.Sqrt(want.sq[j] - want.mean[j]*want.mean[j])
				off := max(math.Abs(got.mean[j]/want.mean[j]-1), math.Abs(got.sq[j]/want.sq[j]-1))
				worst = max(worst, off)
				if !(off < 1e-9) {
					t.Errorf("case %d %s, place %d at %g: got mean %g and square %g, want %g and %g",
						i, c.Kind, j, want.at, got.mean[j], got.sq[j], want.mean[j], want.sq[j])
				}
				thinMean = max(thinMean, math.Abs(thin.mean[j]-want.mean[j])/sd)
				thinSD = max(thinSD, math.Abs(math.Sqrt(thin.sq[j]-thin.mean[j]*thin.mean[j])/sd-1))
			}
		}
	}
	t.Logf("largest error %.1e of the value; by the nodes of a band, %.1e sds of the mean and %.1e of the sd", worst, thinMean, thinSD)
	if thinMean > .03 || thinSD > .03 {
		t.Errorf("by the nodes of a band: mean off by %g sds and sd by %g of itself, want at most .03", thinMean, thinSD)
	}
}

// TestThin: where the posterior has two narrow humps far apart, nodes as close as one
// wide hump needs would miss one of them.
func TestThin(t *testing.T) {
	hump := func(theta, at float64) float64 { return math.Exp(-.5 * (theta - at) * (theta - at) / .01) }
	for _, apart := range []float64{0, .5, 1, 1.3, 2} {
		var g grid
		sum := 0.0
		for i := range 32 {
			theta := -1 + .1*float64(i)
			g.theta, g.w = append(g.theta, theta), append(g.w, hump(theta, 0)+.7*hump(theta, apart))
			sum += g.w[i]
		}
		for i, theta := range g.theta {
			g.w[i] /= sum
			g.mean += g.w[i] * theta
		}
		for i, theta := range g.theta {
			g.sd += g.w[i] * (theta - g.mean) * (theta - g.mean)
		}
		g.sd = math.Sqrt(g.sd)
		some := g.thin()
		theta, w := some.theta, some.w
		var mean, sd, below float64
		for i := range w {
			mean += w[i] * theta[i]
		}
		for i := range w {
			sd += w[i] * (theta[i] - mean) * (theta[i] - mean)
			if theta[i] < apart/2 {
				below += w[i]
			}
		}
		if sd = math.Sqrt(sd); math.Abs(mean-g.mean) > .02*g.sd || math.Abs(sd-g.sd) > .02*g.sd {
			t.Errorf("humps %g apart: by %d nodes mean %g and sd %g, want %g and %g", apart, len(w), mean, sd, g.mean, g.sd)
		}
		if want := 1 / 1.7; apart >= 1 && math.Abs(below-want) > .03 {
			t.Errorf("humps %g apart: by %d nodes the lower has %g of the weight, want %g", apart, len(w), below, want)
		}
	}
}

func rowsOf(a *axleLife) (all []int) {
	for i := range a.rows {
		all = append(all, i)
	}
	return all
}

// BenchmarkForecastPaths is BenchmarkForecastFull with what a plot needs.
func BenchmarkForecastPaths(b *testing.B) {
	v := padVehicle(pad12, 600, steady(.01, 100, 200, 300, 400, 500, 600), []Fitment{fitment(0, Position{Part: Pad})})
	m := newFull()
	b.ReportAllocs()
	for b.Loop() {
		m.Forecast(v, 600, Options{Paths: true})
	}
}
