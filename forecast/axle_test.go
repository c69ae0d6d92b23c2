package forecast

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestDriftCov compares with the double integral of exp(-|x-y|/ell) by the
// midpoint rule.
func TestDriftCov(t *testing.T) {
	const ell = 15.0
	for _, c := range [][4]float64{{0, 10, 0, 10}, {0, 10, 0, 40}, {5, 30, 10, 20}, {0, 5, 20, 60}, {0, 0.01, 0, 0.01}} {
		a, s, b, u := c[0], c[1], c[2], c[3]
		const n = 400
		want := 0.0
		dx, dy := (s-a)/n, (u-b)/n
		for i := range n {
			for k := range n {
				want += dx * dy * math.Exp(-math.Abs(a+(float64(i)+.5)*dx-b-(float64(k)+.5)*dy)/ell)
			}
		}
		if got := driftCov(a, s, b, u, ell); math.Abs(got-want) > 1e-4*want {
			t.Errorf("cov of the integrals over [%g, %g] and [%g, %g]: got %g, want %g", a, s, b, u, got, want)
		}
	}
}

// TestPencil compares with gonum's Cholesky on random matrices.
func TestPencil(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	random := func(n int, ridge float64) *mat.SymDense {
		x := mat.NewDense(n, n, nil)
		for i := range n {
			for k := range n {
				x.Set(i, k, rng.NormFloat64())
			}
		}
		var s mat.SymDense
		s.SymOuterK(1, x)
		for i := range n {
			s.SetSym(i, i, s.At(i, i)+ridge)
		}
		return &s
	}
	var p pencil
	for _, n := range []int{1, 2, 3, 7, 24, 5} {
		fixed, wear := random(n, 1), random(n, 0)
		p.reset(n)
		for i := range n {
			for k := range i + 1 {
				p.l[i*n+k], p.b[i*n+k] = fixed.At(i, k), wear.At(i, k)
			}
		}
		if !p.reduce() {
			t.Fatalf("n = %d: not positive definite", n)
		}
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i], y[i] = rng.NormFloat64(), rng.NormFloat64()
		}
		xv, yv := mat.NewVecDense(n, append([]float64(nil), x...)), mat.NewVecDense(n, append([]float64(nil), y...))
		rotated := make([]lanes, n)
		for i := range rotated {
			rotated[i] = lanes{x[i], y[i], x[i], y[i]}
		}
		p.rotate(rotated)
		for _, c := range []float64{0, 0.1, 3, 100} {
			var sum mat.SymDense
			sum.ScaleSym(c, wear)
			sum.AddSym(&sum, fixed)
			var chol mat.Cholesky
			if !chol.Factorize(&sum) {
				t.Fatal("gonum: not positive definite")
			}
			var z mat.VecDense
			if err := chol.SolveVecTo(&z, yv); err != nil {
				t.Fatal(err)
			}
			want := mat.Dot(xv, &z)
			p.at(c)
			white := make([]lanes, n)
			p.whiten(white, rotated)
			for _, j := range []int{0, 2} {
				for _, k := range []int{1, 3} {
					if got := products(white, j, white)[k]; math.Abs(got-want) > 1e-8*(1+math.Abs(want)) {
						t.Errorf("n = %d, c = %g: product of lanes %d and %d %g, want %g", n, c, j, k, got, want)
					}
				}
			}
		}
	}
}

// TestLogLiks compares with the density by the whole covariance matrix.
func TestLogLiks(t *testing.T) {
	n, v := readVectors(t)
	var f fitter
	for i, c := range v.Cases {
		f.fitRobust(c.life(n))
		const step = .7
		got := make([]float64, 6)
		f.logLiks(got, c.PostMean-3*step, step)
		for k := range got {
			theta := c.PostMean + float64(k-3)*step
			rows := len(f.use)
			e, _ := f.residual(theta)
			f.chol = f.covariance(f.chol, theta)
			logDet, ok := cholFactor(f.chol, rows)
			if !ok {
				t.Fatalf("case %d: not positive definite", i)
			}
			forward(f.chol, rows, e)
			want := -.5 * (dot(e[:rows], e[:rows]) + logDet + float64(rows)*math.Log(2*math.Pi))
			if math.Abs(got[k]-want) > 1e-8*(1+math.Abs(want)) {
				t.Errorf("case %d, theta = %g: log density %g, want %g", i, theta, got[k], want)
			}
		}
	}
}

func TestPhi(t *testing.T) {
	if got := phi(math.NaN()); got != 0 { // on every machine
		t.Errorf("phi(NaN) = %g, want 0", got)
	}
	for x := -9.0; x < 9; x += 0.0137 {
		if got, want := phi(x), 0.5*math.Erfc(-x/math.Sqrt2); math.Abs(got-want) > 2e-9 {
			t.Fatalf("phi(%g) = %g, want %g", x, got, want)
		}
	}
}

// TestOrthant: with equal correlations of one half and limits at the means the
// chance that n values all exceed them is 1/(n+1), since the values are then
// differences from one of n+1 that are exchangeable.
func TestOrthant(t *testing.T) {
	for n := 2; n <= maxPlaces; n++ {
		var z, inv [maxPlaces]float64
		var cov [maxPlaces][maxPlaces]float64
		for j := range n {
			inv[j] = 1
			for k := range j {
				cov[j][k] = .5
			}
			cov[j][j] = 1
		}
		var o orthant
		if got, want := o.above(n, &z, &cov, &inv), 1/float64(n+1); math.Abs(got-want) > 2e-4 {
			t.Errorf("%d places: got %g, want %g", n, got, want)
		}
	}
	// Two places: 1/4 + asin(rho)/(2 pi) (Sheppard 1899, from memory).
	for _, rho := range []float64{-.9, -.5, 0, .3, .8, .95, .98} {
		z, inv := [maxPlaces]float64{}, [maxPlaces]float64{1, 1}
		cov := [maxPlaces][maxPlaces]float64{{1}, {rho, 1}}
		var o orthant
		if got, want := o.above(2, &z, &cov, &inv), .25+math.Asin(rho)/(2*math.Pi); math.Abs(got-want) > 1e-3 {
			t.Errorf("rho = %g: got %g, want %g", rho, got, want)
		}
	}
}

// TestOrthantAside: with two places and limits off their means the chance is what a
// fine sum over the common factor gives, and what all nodes of its own rule do: those
// left out count for 1e-9 each place.
func TestOrthantAside(t *testing.T) {
	exact := func(x float64) float64 { return .5 * math.Erfc(-x/math.Sqrt2) }
	for _, rho := range []float64{-.9, -.3, .3, .6, .8, .9, .95, .98} {
		for _, z := range [][2]float64{{3, 3}, {1, 3.9}, {-3, -3}, {-1, 2}, {-3.9, 0}, {.5, 5}} {
			l := math.Sqrt(math.Abs(rho))
			s := 1 / math.Sqrt(1-l*l)
			want := 0.0
			const h = .01
			for u := -9.; u < 9; u += h {
				want += h * math.Exp(-u*u/2) / math.Sqrt(2*math.Pi) * exact((z[0]+l*u)*s) * exact((z[1]+math.Copysign(l, rho)*u)*s)
			}
			cov := [maxPlaces][maxPlaces]float64{{1}, {rho, 1}}
			var o orthant
			got := o.above(2, &[maxPlaces]float64{z[0], z[1]}, &cov, &[maxPlaces]float64{1, 1})
			if math.Abs(got-want) > 1e-3 {
				t.Errorf("rho = %g, limits %g and %g sds below: got %g, want %g", rho, z[0], z[1], got, want)
			}
			whole := 0.0
			for _, node := range ruleFor(s) {
				p := node.w
				for j, l := range [2]float64{l, math.Copysign(l, rho)} {
					if z[j] <= certain {
						p *= phi((z[j] + l*node.u) * s)
					}
				}
				whole += p
			}
			if math.Abs(got-whole) > 1e-8 {
				t.Errorf("rho = %g, limits %g and %g sds below: got %g, want %g of all nodes", rho, z[0], z[1], got, whole)
			}
		}
	}
}

// TestEarliest: of two like exponential variables the first is exponential at
// twice the rate, and either is as likely to be it.
func TestEarliest(t *testing.T) {
	exp := func(rate float64) Dist {
		return DistOf(func(p float64) float64 { return -math.Log1p(-p) / rate })
	}
	d, share := earliest([]Dist{exp(1), exp(1)})
	want := exp(2)
	for i, p := range Levels {
		if p < .95 && math.Abs(d.X[i]-want.X[i]) > .02*want.X[i]+.002 {
			t.Errorf("quantile %g: got %g, want %g", p, d.X[i], want.X[i])
		}
	}
	if math.Abs(share[0]-share[1]) > 1e-9 || math.Abs(share[0]+share[1]-1) > .01 {
		t.Errorf("shares %v, want halves", share)
	}
	_, share = earliest([]Dist{exp(3), exp(1)})
	if math.Abs(share[0]-.75) > .02 {
		t.Errorf("share of the faster one %g, want 0.75", share[0])
	}
}

// TestBeyond: the exponential distribution has no memory.
func TestBeyond(t *testing.T) {
	d := DistOf(func(p float64) float64 { return -math.Log1p(-p) })
	b := d.beyond(.5)
	for _, p := range []float64{.1, .25, .5, .75, .9} {
		if got, want := b.Quantile(p), .5+d.Quantile(p); math.Abs(got-want) > .05 { // Levels are sparse up there
			t.Errorf("quantile %g: got %g, want %g", p, got, want)
		}
	}
	if got := mix(d, d, .3).Quantile(.5); math.Abs(got-math.Ln2) > .005 {
		t.Errorf("median of a mixture of two alike %g, want ln 2", got)
	}
}
