package forecast

import "slices"

// rateBlock is the lives of one vehicle with the inverse of their covariance.
type rateBlock struct {
	lives  []taughtLife
	common []int     // columns that all lives share
	inv    []float64 // n x n
	chol   []float64
	sum    []float64 // of the rows of inv
	group  []int     // distinct groups
	of     []int     // index in group of each life
}

// each calls do with the lives of one vehicle after the other.
func (r *rateFit) each(do func(b *rateBlock)) { r.eachOf(r.vehicles, do) }

// eachOf is each of some vehicles.
func (r *rateFit) eachOf(vehicles []taughtVehicle, do func(b *rateBlock)) {
	var b rateBlock
	for i := range vehicles {
		v := &vehicles[i]
		b.lives = r.lives[v.first:v.last]
		n := len(b.lives)
		b.common, b.group, b.of = b.common[:0], b.group[:0], b.of[:0]
		for f := dutyFamily; f < families; f++ {
			if c := v.common[f]; c >= 0 {
				b.common = append(b.common, c)
			}
		}
		b.chol, b.inv, b.sum = grow(b.chol, n*n), grow(b.inv, n*n), grow(b.sum, n)
		for k := range b.lives {
			l := &b.lives[k]
			g := slices.Index(b.group, l.group)
			if g < 0 {
				g = len(b.group)
				b.group = append(b.group, l.group)
			}
			b.of = append(b.of, g)
			for j := range k + 1 {
				b.chol[k*n+j] = r.parts[vehicleVariance]
				if b.of[j] == g {
					b.chol[k*n+j] += r.parts[axleVariance]
				}
			}
			b.chol[k*n+k] += r.parts[setVariance] + l.vari
		}
		if _, ok := cholFactor(b.chol, n); !ok {
			panic("forecast: covariance of messages is not positive definite")
		}
		b.invert(n)
		do(&b)
	}
}

// invert fills inv from chol, and sum.
func (b *rateBlock) invert(n int) {
	b.inv = grow(b.inv, 2*n*n)
	low := b.inv[n*n:]
	clear(low)
	invertLower(low, b.chol, n)
	b.inv = b.inv[:n*n]
	clear(b.sum)
	for i := range n {
		for j := range i + 1 {
			s := 0.0
			for k := i; k < n; k++ {
				s += low[k*n+i] * low[k*n+j]
			}
			b.inv[i*n+j], b.inv[j*n+i] = s, s
		}
	}
	for i := range n {
		for _, x := range b.inv[i*n : i*n+n] {
			b.sum[i] += x
		}
	}
}

// leastSpread is the least sd of theta learned; less than 2 % of a rate is
// nothing to tell from nothing. Judgement.
const leastSpread = .02

// score moves the variances between vehicles, axles and sets by one step of
// Fisher scoring of the likelihood with the effects integrated out: with
// M = S^-1 (e e' + X P X') S^-1 - S^-1 the gradient of a variance with
// structure B is tr(M B) / 2.
func (r *rateFit) score() {
	var g [rateComponents]float64
	var h [rateComponents][rateComponents]float64
	// A vehicle takes microseconds: to hand each to another processor would take longer.
	eachInOrder(slices.Chunk(r.vehicles, scoredVehicles), 0, r.scored, func(_ []taughtVehicle, out []scored) {
		for i := range out {
			for k := range g {
				g[k] += out[i].g[k]
				for j := range k + 1 {
					h[k][j] += out[i].h[k][j]
				}
			}
		}
	})
	var a [rateComponents * rateComponents]float64
	var d [rateComponents]float64
	for k := range rateComponents {
		weight := spreadWeight / (r.band[k] * r.band[k])
		d[k] = g[k] + weight*(r.band[k]-r.parts[k])
		for j := range k + 1 {
			a[k*rateComponents+j] = h[k][j]
		}
		a[k*rateComponents+k] += weight
	}
	if _, ok := cholFactor(a[:], rateComponents); !ok {
		return
	}
	forward(a[:], rateComponents, d[:])
	backward(a[:], rateComponents, d[:])
	for k := range r.parts {
		r.parts[k] = max(leastSpread*leastSpread, stepped(r.parts[k], d[k]))
	}
}

// scoredVehicles is how many vehicles one processor scores at a time.
const scoredVehicles = 64

// scored is what a vehicle gives to the gradient of the likelihood, and to its
// expected information.
type scored struct {
	g [rateComponents]float64
	h [rateComponents][rateComponents]float64
}

func (r *rateFit) scored(vehicles []taughtVehicle) []scored {
	out := make([]scored, 0, len(vehicles))
	var e, m, q, row []float64
	r.eachOf(vehicles, func(b *rateBlock) {
		n, ng := len(b.lives), len(b.group)
		e, m, q = grow(e, n), grow(m, n*n), grow(q, ng*ng)
		for i := range e {
			e[i] = r.seen(b, i) - r.expected(b, i)
		}
		for i := range ng {
			for j := range ng {
				q[i*ng+j] = r.doubt(b.common, b.group[i], b.group[j])
			}
		}
		// m = inv (e e' + X P X'), then M = m inv - inv.
		for i := range n {
			for j := range n {
				s := 0.0
				for k := range n {
					s += b.inv[i*n+k] * (e[k]*e[j] + q[b.of[k]*ng+b.of[j]])
				}
				m[i*n+j] = s
			}
		}
		var one scored
		for i := range n {
			for j := range n {
				s := -b.inv[i*n+j]
				for k := range n {
					s += m[i*n+k] * b.inv[k*n+j]
				}
				one.g[vehicleVariance] += s
				if b.of[i] == b.of[j] {
					one.g[axleVariance] += s
				}
				if i == j {
					one.g[setVariance] += s
				}
			}
		}
		for k := range one.g {
			one.g[k] /= 2
		}
		r.inform(b, &one.h, &row)
		out = append(out, one)
	})
	return out
}

// stepped moves a variance, within bounds for one step (method).
func stepped(p, step float64) float64 { return max(.1*p, min(4*p, p+step)) }

// backward overwrites x with L^-T x.
func backward(l []float64, n int, x []float64) {
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= l[k*n+i] * x[k]
		}
		x[i] /= l[i*n+i]
	}
}

// inform adds the expected information of one vehicle: tr(S^-1 B S^-1 C) / 2.
func (r *rateFit) inform(b *rateBlock, h *[rateComponents][rateComponents]float64, row *[]float64) {
	n, ng := len(b.lives), len(b.group)
	*row = grow(*row, 2*ng*ng+ng)
	pair, sum := (*row)[:ng*ng], (*row)[ng*ng:ng*ng+ng]
	clear(*row)
	var vv, va, vs, aa, as, ss float64
	for i := range n {
		vv += b.sum[i]
		vs += b.sum[i] * b.sum[i]
		sum[b.of[i]] += b.sum[i]
		for k := range n {
			x := b.inv[i*n+k]
			pair[b.of[i]*ng+b.of[k]] += x
			ss += x * x
		}
	}
	for _, s := range sum {
		va += s * s
	}
	for _, p := range pair {
		aa += p * p
	}
	for k := range n {
		clear(sum)
		for i := range n {
			sum[b.of[i]] += b.inv[i*n+k]
		}
		for _, s := range sum {
			as += s * s
		}
	}
	h[0][0] += vv * vv / 2
	h[1][0] += va / 2
	h[2][0] += vs / 2
	h[1][1] += aa / 2
	h[2][1] += as / 2
	h[2][2] += ss / 2
}
