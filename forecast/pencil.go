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

// lanes are what up to four vectors hold at one row. Most steps below wait for the one
// before: four vectors together take hardly longer than one.
type lanes [4]float64

func growLanes(x []lanes, n int) []lanes {
	if cap(x) < n {
		return make([]lanes, n, n+n/2)
	}
	return x[:n]
}

// cholFactor overwrites the lower triangle of a with its Cholesky factor and
// returns log |a|, or false when a is not positive definite.
func cholFactor(a []float64, n int) (logDet float64, ok bool) {
	prod := 1.0 // a logarithm for each row would take as long as a short row
	for i := range n {
		from := 0
		if four := i &^ 3; four+4 <= n {
			if from = four; i == four {
				cholFour(a, n, i)
			}
		}
		ri := a[i*n : i*n+i+1]
		for j := from; j < i; j++ {
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

// cholFour does the columns before i of the four rows from i on.
func cholFour(a []float64, n, i int) {
	r0, r1, r2, r3 := a[i*n:][:i], a[(i+1)*n:][:i], a[(i+2)*n:][:i], a[(i+3)*n:][:i]
	for j := range i {
		rj := a[j*n : j*n+j+1]
		s0, s1, s2, s3 := r0[j], r1[j], r2[j], r3[j]
		x0, x1, x2, x3 := r0[:j], r1[:j], r2[:j], r3[:j]
		for k, x := range rj[:j] {
			s0 -= x0[k] * x
			s1 -= x1[k] * x
			s2 -= x2[k] * x
			s3 -= x3[k] * x
		}
		d := rj[j]
		r0[j], r1[j], r2[j], r3[j] = s0/d, s1/d, s2/d, s3/d
	}
}

// forward overwrites x with L^-1 x.
func forward(l []float64, n int, x []float64) {
	forwardFrom(l, n, 0, x)
}

// forwardFrom does so for the rows and columns of l from one on.
func forwardFrom(l []float64, n, from int, x []float64) {
	x = x[:n]
	i := from
	for ; i+4 <= n; i += 4 {
		done := x[from:i]
		m := len(done)
		r0, r1, r2, r3 := l[i*n+from:][:m+1], l[(i+1)*n+from:][:m+2], l[(i+2)*n+from:][:m+3], l[(i+3)*n+from:][:m+4]
		s0, s1, s2, s3 := x[i], x[i+1], x[i+2], x[i+3]
		for k, y := range done {
			s0 -= r0[k] * y
			s1 -= r1[k] * y
			s2 -= r2[k] * y
			s3 -= r3[k] * y
		}
		s0 /= r0[m]
		s1 = (s1 - r1[m]*s0) / r1[m+1]
		s2 = (s2 - r2[m]*s0 - r2[m+1]*s1) / r2[m+2]
		s3 = (s3 - r3[m]*s0 - r3[m+1]*s1 - r3[m+2]*s2) / r3[m+3]
		x[i], x[i+1], x[i+2], x[i+3] = s0, s1, s2, s3
	}
	for ; i < n; i++ {
		row := l[i*n+from : i*n+i+1]
		s := x[i]
		for k, y := range x[from:i] {
			s -= row[k] * y
		}
		x[i] = s / row[len(row)-1]
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
			x[i] -= diag / 2 * y[i]
		}
		forwardFrom(l, n, k+1, x)
		for i := k + 1; i < n; i++ {
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
		i := k + 1
		for ; i+2 <= n; i += 2 { // two rows at a time: their sums do not wait for each other
			r0, r1, before := a[i*n+k+1:][:i-k], a[(i+1)*n+k+1:][:i-k+1], v[k+1:i]
			sums := w[k+1:][:len(before)]
			v0, v1 := v[i], v[i+1]
			s0, s1 := r0[len(before)]*v0, r1[len(before)+1]*v1
			for j, x := range before {
				s0 += r0[j] * x
				s1 += r1[j] * x
				sums[j] = sums[j] + r0[j]*v0 + r1[j]*v1
			}
			next := r1[len(before)]
			w[i] = w[i] + s0 + next*v1
			w[i+1] += s1 + next*v0
		}
		for ; i < n; i++ {
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

// rotate overwrites each x with Q' L^-1 x, the form in which at and whiten work.
func (p *pencil) rotate(x []lanes) {
	n := p.n
	x = x[:n]
	for i := range x {
		row := p.l[i*n : i*n+i+1]
		s0, s1, s2, s3 := x[i][0], x[i][1], x[i][2], x[i][3]
		for k := range x[:i] {
			a, y := row[k], &x[k]
			s0 -= a * y[0]
			s1 -= a * y[1]
			s2 -= a * y[2]
			s3 -= a * y[3]
		}
		d := row[i]
		x[i] = lanes{s0 / d, s1 / d, s2 / d, s3 / d}
	}
	for k := 0; k+2 < n; k++ {
		if p.beta[k] == 0 {
			continue
		}
		v := p.v[k*n+k+1 : k*n+n]
		rest := x[k+1:][:len(v)]
		s0, s1, s2, s3 := 0.0, 0.0, 0.0, 0.0
		for i, a := range v {
			y := &rest[i]
			s0 += a * y[0]
			s1 += a * y[1]
			s2 += a * y[2]
			s3 += a * y[3]
		}
		beta := p.beta[k]
		s0, s1, s2, s3 = s0*beta, s1*beta, s2*beta, s3*beta
		for i, a := range v {
			y := &rest[i]
			y[0] -= s0 * a
			y[1] -= s1 * a
			y[2] -= s2 * a
			y[3] -= s3 * a
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

// whiten writes to z what makes plain dot products of rotated vectors, which may be z
// themselves: z'z' of two of them is x'(N + c B)^-1 y of the unrotated ones.
func (p *pencil) whiten(z, x []lanes) {
	n := p.n
	z, x = z[:n], x[:n]
	low, half := p.low[:n], p.half[:n]
	var p0, p1, p2, p3, f float64
	for i := range x {
		y := &x[i]
		p0, p1, p2, p3 = y[0]-f*p0, y[1]-f*p1, y[2]-f*p2, y[3]-f*p3
		f = low[i]
		h := half[i]
		z[i] = lanes{p0 * h, p1 * h, p2 * h, p3 * h}
	}
}

// products returns the dot products of lane j of x with each of y's.
func products(x []lanes, j int, y []lanes) (s lanes) {
	y = y[:len(x)]
	for i := range x {
		a, b := x[i][j], &y[i]
		s[0] += a * b[0]
		s[1] += a * b[1]
		s[2] += a * b[2]
		s[3] += a * b[3]
	}
	return s
}

func dot(x, y []float64) float64 {
	y = y[:len(x)]
	s := 0.0
	for i, a := range x {
		s += a * y[i]
	}
	return s
}
