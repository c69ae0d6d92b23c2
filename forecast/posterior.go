package forecast

import "math"

const (
	// coarse and fine nodes over theta, spread over reach sds each side. A sum
	// over equally spaced nodes is as good as exact while their step stays
	// below about 1.5 posterior sds and, for what depends on theta, below about
	// the width over which the chance of being past the limit goes from 0 to 1
	// at a given rate: drift makes that 0.2 or more.
	coarseNodes = 21
	fineNodes   = 12
	mostNodes   = 32
	widestStep  = 0.2
	reach       = 4.6
	// edge is the weight, relative to the largest, below which a grid's end is
	// taken to have reached the end of the posterior.
	edge = 1e-2
)

// grid is the posterior of theta: weights at equally spaced nodes.
type grid struct {
	theta    []float64
	w        []float64 // adding up to 1
	mean, sd float64
	evidence float64 // log density of the rows in use
}

// posterior fits theta to the rows in use: one pass of nodes over the prior, a
// second over what the first found.
func (f *fitter) posterior() *grid {
	a, g := f.life, &f.grid
	sd0 := math.Sqrt(a.vari)
	if f.n == 0 {
		f.spread(a.mean, sd0, nodesFor(sd0))
		return g
	}
	centre, sd := a.mean, sd0
	for pass := 0; ; pass++ {
		nodes := coarseNodes
		if pass > 0 {
			nodes = nodesFor(sd)
		}
		step := f.spread(centre, sd, nodes)
		first, last := g.w[0], g.w[nodes-1]
		most := 0.0
		for _, w := range g.w {
			most = max(most, w)
		}
		// Good enough when the ends are empty and the nodes are close: else
		// once more around what was found. Readings far from the prior, or very
		// many, may need some more passes than two.
		if pass > 0 && first < edge*most && last < edge*most && step < 1.2*g.sd || pass == 12 {
			return g
		}
		centre, sd = g.mean, max(g.sd, step/2)
		if first == most || last == most {
			centre, sd = g.theta[0], 2*step
			if last == most {
				centre = g.theta[nodes-1]
			}
		}
	}
}

// nodesFor returns how many nodes cover a posterior of that sd.
func nodesFor(sd float64) int {
	return max(fineNodes, min(mostNodes, int(2*reach*sd/widestStep)+1))
}

// spread evaluates the posterior at nodes around centre and returns their step.
func (f *fitter) spread(centre, sd float64, nodes int) (step float64) {
	a, g := f.life, &f.grid
	g.theta, g.w = grow(g.theta, nodes), grow(g.w, nodes)
	step = 2 * reach * sd / float64(nodes-1)
	for i := range g.theta {
		g.theta[i] = centre - reach*sd + step*float64(i)
	}
	f.logLiks(g.w, g.theta[0], step)
	most, half := math.Inf(-1), 0.5/a.vari
	for i, t := range g.theta {
		z := t - a.mean
		g.w[i] -= half * z * z
		most = max(most, g.w[i])
	}
	sum, mean := 0.0, 0.0
	for i, lw := range g.w {
		w := math.Exp(lw - most)
		g.w[i] = w
		sum += w
		mean += w * g.theta[i]
	}
	mean /= sum
	ss := 0.0
	for i := range g.w {
		g.w[i] /= sum
		d := g.theta[i] - mean
		ss += g.w[i] * d * d
	}
	g.mean, g.sd = mean, math.Sqrt(ss)
	g.evidence = most + math.Log(sum*step/math.Sqrt(2*math.Pi*a.vari))
	return step
}
