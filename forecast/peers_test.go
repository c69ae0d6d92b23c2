package forecast

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestGivenNearer: what an axle's pads before told says more of those on now than what is told
// of another axle, or of another part.
func TestGivenNearer(t *testing.T) {
	r := DefaultParams().Rates
	p := r.priorOf(&Vehicle{}, 1, Pad)
	told := func(axle int, part Part) float64 {
		mean, _ := r.given(p, 0, Pad, []Message{{Axle: axle, Part: part, Mean: p.mean + .3, Var: .01, prior: p}})
		return mean - p.mean
	}
	own, other, part := told(0, Pad), told(1, Pad), told(0, Lining)
	if !(own > 1.2*other && other > 0) || part != other {
		t.Errorf("moved by %g of the same axle, %g of another, %g of another part; want the first largest, the others alike", own, other, part)
	}
}

// TestGivenByRegression: what several messages tell is the regression of theta on them, by the
// variances that sets share: of the vehicle and its fleet all, of the group and the axle those of one
// axle and part. Compared with the inverse of the whole covariance by gonum.
func TestGivenByRegression(t *testing.T) {
	r := DefaultParams().Rates
	p := r.priorOf(&Vehicle{}, 1, Pad)
	ms := []Message{
		{Axle: 0, Part: Pad, Mean: p.mean + .3, Var: .01, prior: p},
		{Axle: 0, Part: Pad, Mean: p.mean - .1, Var: .02, prior: p},
		{Axle: 1, Part: Pad, Mean: p.mean + .5, Var: .03, prior: p},
		{Axle: 1, Part: Lining, Mean: p.mean - .4, Var: .01, prior: p},
	}
	all := append([]Message{{Axle: 0, Part: Pad}}, ms...) // the set itself is first
	n := len(all)
	cov := mat.NewSymDense(n, nil)
	d := mat.NewVecDense(n-1, nil)
	for i, a := range all {
		for k, b := range all[:i+1] {
			v := r.Vehicle*r.Vehicle + p.fleet
			if a.Axle == b.Axle && a.Part == b.Part {
				v += r.Axle*r.Axle + p.group
			}
			if i == k {
				v += r.Set*r.Set + a.Var
			}
			cov.SetSym(i, k, v)
		}
		if i > 0 {
			d.SetVec(i-1, a.Mean-p.mean)
		}
	}
	var told mat.Dense
	if err := told.Inverse(cov.SliceSym(1, n)); err != nil {
		t.Fatal(err)
	}
	with := mat.NewVecDense(n-1, nil)
	for i := 1; i < n; i++ {
		with.SetVec(i-1, cov.At(0, i))
	}
	wantMean, wantVari := p.mean+mat.Inner(with, &told, d), cov.At(0, 0)-mat.Inner(with, &told, with)
	mean, vari := r.given(p, 0, Pad, ms)
	if math.Abs(mean-wantMean) > 1e-12 || math.Abs(vari-wantVari) > 1e-12 || math.Abs(p.total-cov.At(0, 0)) > 1e-12 {
		t.Errorf("got %g and %g of %g, want %g and %g of %g", mean, vari, p.total, wantMean, wantVari, cov.At(0, 0))
	}
}
