package demo

import (
	"math"
	"math/rand/v2"
	"slices"
)

const yearDays = 365.25

// Streams of chance, so that what one draws does not move another.
const (
	streamModel = iota + 1
	streamDepot
	streamPlan
	streamRoad
	streamWear
	streamParts
	streamWorkshop
	streamPen
	streamToCome
	streamBrakeTest
)

// stream returns the chance named by the seed and the numbers that follow.
func stream(seed uint64, names ...uint64) *rand.Rand {
	hi, lo := mix(seed), mix(^seed)
	for _, n := range names {
		hi = mix(hi ^ n)
		lo = mix(lo + n)
	}
	return rand.New(rand.NewPCG(hi, lo))
}

// mix is the output function of SplitMix64 (Steele, Lea, Flood 2014, from
// memory): seeds that differ by one bit give streams that have nothing in
// common.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

func uniform(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// logNormal has mean 1.
func logNormal(r *rand.Rand, sd float64) float64 {
	return math.Exp(sd*r.NormFloat64() - sd*sd/2)
}

// pick returns an index with the chance of its weight; weights add up to 1.
func pick(r *rand.Rand, n int, weight func(int) float64) int {
	u := r.Float64()
	for i := range n - 1 {
		if u -= weight(i); u < 0 {
			return i
		}
	}
	return n - 1
}

// happenings returns the times of a Poisson process in [from, to), ascending.
func happenings(r *rand.Rand, perDay, from, to float64) []float64 {
	var out []float64
	if perDay <= 0 {
		return nil
	}
	for t := from + r.ExpFloat64()/perDay; t < to; t += r.ExpFloat64() / perDay {
		out = append(out, t)
	}
	return slices.Clip(out)
}

// ou is a stationary Ornstein-Uhlenbeck process of mean 0, seen at equal steps.
type ou struct {
	x, keep, kick float64
}

func newOU(r *rand.Rand, sd, lengthDays, stepDays float64) ou {
	keep := math.Exp(-stepDays / lengthDays)
	return ou{x: sd * r.NormFloat64(), keep: keep, kick: sd * math.Sqrt(1-keep*keep)}
}

func (o *ou) next(r *rand.Rand) float64 {
	o.x = o.keep*o.x + o.kick*r.NormFloat64()
	return o.x
}
