package forecast

import "math"

// pencil is the family of covariances N + c*B for all c >= 0, reduced once so
// that each c costs O(n) afterwards: with N = L L' and L^-1 B L^-T = Q T Q',
// T tridiagonal,
//
//	(N + c B)^-1 = L^-T Q (I + c T)^-1 Q' L^-1.
//
// Matrices are flat, row by row, lower triangles only. The arrays are kept
// from one use to the next.
type pencil struct {
	n      int
	l      []float64 // n x n: L
	b      []float64 // n x n: B, destroyed by reduce
	v      []float64 // n x n: row k holds the k-th Householder vector, from k+1 on
	beta   []float64 // their factors: H = I - beta v v'
	d, e   []float64 // diagonal of T and the elements below it
	p      []float64
	logDet float64 // log |N|

	// For the present c: (I + c T) = F D F', F unit lower bidiagonal.
	low  []float64 // below F's diagonal
	half []float64 // 1/sqrt(D)
}

// reset makes room for n rows. N is then filled into l and B into b.
func (p *pencil) reset(n int) {
	p.n = n
	p.l = grow(p.l, n*n)
	p.b = grow(p.b, n*n)
	p.v = grow(p.v, n*n)
	p.beta, p.d, p.e = grow(p.beta, n), grow(p.d, n), grow(p.e, n)
	p.p, p.low, p.half = grow(p.p, n), grow(p.low, n), grow(p.half, n)
}

// grow returns a slice of length n on x's array if that is large enough. Its
// content is not cleared.
func grow(x []float64, n int) []float64 {
	if cap(x) < n {
		return make([]float64, n, n+n/2)
	}
	return x[:n]
}

// cholFactor overwrites the lower triangle of a with its Cholesky factor and
// returns log |a|, or false when a is not positive definite.
func cholFactor(a []float64, n int) (logDet float64, ok bool) {
	prod := 1.0 // a logarithm for each row would take as long as a short row
	for i := range n {
		ri := a[i*n : i*n+i+1]
		for j := range i {
			rj := a[j*n : j*n+j+1]
			s := ri[j]
			for k, x := range rj[:j] {
				s -= ri[k] * x
			}
			ri[j] = s / rj[j]
		}
		s := ri[i]
		for _, x := range ri[:i] {
			s -= x * x
		}
		if !(s > 0) {
			return 0, false
		}
		ri[i] = math.Sqrt(s)
		if prod *= s; prod > 1e100 || prod < 1e-100 {
			logDet += math.Log(prod)
			prod = 1
		}
	}
	return logDet + math.Log(prod), true
}

// forward overwrites x with L^-1 x.
func forward(l []float64, n int, x []float64) {
	x = x[:n]
	for i := range x {
		row := l[i*n : i*n+i+1]
		s := x[i]
		for k, a := range row[:i] {
			s -= a * x[k]
		}
		x[i] = s / row[i]
	}
}

// reduce does the work that all c share. It is false when N is not positive
// definite.
func (p *pencil) reduce() bool {
	var ok bool
	if p.logDet, ok = cholFactor(p.l, p.n); !ok {
		return false
	}
	p.congruence()
	p.tridiagonal()
	return true
}

// congruence overwrites the lower triangle of b with that of L^-1 B L^-T, column by
// column, each time taking what the column holds off the rest (LAPACK's dsygs2, from
// memory). Rows are read along: down a column each step would wait for the last.
func (p *pencil) congruence() {
	n, l, b := p.n, p.l, p.b
	for k := range n {
		x, y := p.p[:n], p.v[:n] // columns k of B and L; v is filled later
		inv := 1 / l[k*n+k]
		diag := b[k*n+k] * inv * inv
		b[k*n+k] = diag
		for i := k + 1; i < n; i++ {
			y[i] = l[i*n+k]
			x[i] = b[i*n+k]*inv - diag/2*y[i]
		}
		for i := k + 1; i < n; i++ {
			row := b[i*n+k+1 : i*n+i+1]
			xi, yi := x[i], y[i]
			xs, ys := x[k+1:][:len(row)], y[k+1:][:len(row)]
			for j := range row {
				row[j] -= xi*ys[j] + yi*xs[j]
			}
		}
		for i := k + 1; i < n; i++ {
			s := x[i] - diag/2*y[i]
			li := l[i*n+k+1 : i*n+i+1]
			done := x[k+1:][:len(li)-1]
			for j, before := range done {
				s -= li[j] * before
			}
			x[i] = s / li[len(li)-1]
			b[i*n+k] = x[i]
		}
	}
}

// tridiagonal turns b into T by Householder reflections.
func (p *pencil) tridiagonal() {
	n, a := p.n, p.b
	for k := 0; k+2 < n; k++ {
		v := p.v[k*n : k*n+n]
		scale := 0.0
		for i := k + 1; i < n; i++ {
			v[i] = a[i*n+k]
			scale += v[i] * v[i]
		}
		p.d[k] = a[k*n+k]
		alpha := math.Sqrt(scale)
		if v[k+1] > 0 {
			alpha = -alpha
		}
		p.e[k] = alpha
		v[k+1] -= alpha
		norm := scale - alpha*a[(k+1)*n+k] // v'v / 2
		if norm <= 0 {
			p.beta[k] = 0
			continue
		}
		beta := 1 / norm
		p.beta[k] = beta
		// A <- A - v w' - w v', w = beta A v - (beta/2)(v' beta A v) v.
		w := p.p
		for i := k + 1; i < n; i++ {
			w[i] = 0
		}
		for i := k + 1; i < n; i++ {
			row := a[i*n : i*n+i+1]
			s, vi := row[i]*v[i], v[i]
			for j := k + 1; j < i; j++ {
				s += row[j] * v[j]
				w[j] += row[j] * vi
			}
			w[i] += s
		}
		dot := 0.0
		for i := k + 1; i < n; i++ {
			w[i] *= beta
			dot += w[i] * v[i]
		}
		dot *= beta / 2
		for i := k + 1; i < n; i++ {
			w[i] -= dot * v[i]
		}
		for i := k + 1; i < n; i++ {
			row := a[i*n : i*n+i+1]
			vi, wi := v[i], w[i]
			for j := k + 1; j <= i; j++ {
				row[j] -= vi*w[j] + wi*v[j]
			}
		}
	}
	if n > 1 {
		p.d[n-2], p.e[n-2] = a[(n-2)*n+n-2], a[(n-1)*n+n-2]
	}
	if n > 0 {
		p.d[n-1] = a[n*n-1]
	}
}

// rotate overwrites x with Q' L^-1 x, the form in which at and whiten work.
func (p *pencil) rotate(x []float64) {
	n := p.n
	x = x[:n]
	forward(p.l, n, x)
	for k := 0; k+2 < n; k++ {
		if p.beta[k] == 0 {
			continue
		}
		v := p.v[k*n+k+1 : k*n+n]
		y := x[k+1:]
		s := 0.0
		for i, a := range v {
			s += a * y[i]
		}
		s *= p.beta[k]
		for i, a := range v {
			y[i] -= s * a
		}
	}
}

// least is what D is kept above, against rounding only: I + c T >= I.
const least = 1e-12

// at sets c.
func (p *pencil) at(c float64) {
	below := 0.0
	for i := range p.n {
		d := max(least, 1+c*p.d[i]-below)
		if i+1 < p.n {
			off := c * p.e[i]
			p.low[i] = off / d
			below = off * p.low[i]
		}
		p.half[i] = 1 / math.Sqrt(d)
	}
}

// whiten writes to z what makes plain dot products of a rotated x: z'z' of two
// of them is x'(N + c B)^-1 y of the unrotated ones.
func (p *pencil) whiten(z, x []float64) {
	n := p.n
	z, x = z[:n], x[:n]
	low, half := p.low[:n], p.half[:n]
	prev, f := 0.0, 0.0
	for i := range x {
		s := x[i] - f*prev
		prev, f = s, low[i]
		z[i] = s * half[i]
	}
}

func dot(x, y []float64) float64 {
	y = y[:len(x)]
	s := 0.0
	for i, a := range x {
		s += a * y[i]
	}
	return s
}
