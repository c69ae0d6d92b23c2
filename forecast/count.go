package forecast

import "math"

// Count is the distribution of how many of some independent events happen:
// Count[k] is the chance of k.
type Count []float64

// CountOf returns the distribution of the number of events, each of which
// happens with a chance of its own (Poisson-binomial), by adding one event at
// a time:
//
//	P_n(k) = (1-p_n) P_(n-1)(k) + p_n P_(n-1)(k-1)
//
// Chances outside 0 to 1 count as the nearer of the two, NaN as 0. It takes
// time in the square of their number.
func CountOf(chances []float64) Count {
	c := make(Count, 1, len(chances)+1)
	c[0] = 1
	for _, p := range chances {
		if !(p > 0) {
			continue
		}
		p = math.Min(p, 1)
		c = append(c, 0)
		for k := len(c) - 1; k > 0; k-- {
			c[k] = (1-p)*c[k] + p*c[k-1]
		}
		c[0] *= 1 - p
	}
	return c
}

// Mean returns the expected number.
func (c Count) Mean() float64 {
	sum := 0.
	for k, p := range c {
		sum += float64(k) * p
	}
	return sum
}

// Quantile returns the least number that is not exceeded with a chance of p at
// least.
func (c Count) Quantile(p float64) int {
	sum := 0.
	for k, x := range c {
		if sum += x; sum >= p-1e-12 {
			return k
		}
	}
	return len(c) - 1
}

// ChangedBy returns the chance that an axle's parts will have been changed by
// day, when they are changed on the book-by date as it will be known then.
//
// T being the day of the limit, m its median, b the book-by date as it is
// known now, w the width of its 80 % interval now and w' the width expected
// after one more inspection, what is left of the lead at the time of booking
// is (m-b)·r with r = w'/w, and what the inspection will have told moves the
// date by as much of T-m as the rest of the variance:
//
//	C = m - r (m-b) + sqrt(1-r²) (T-m)
//
// So a date that no reading will narrow is b for sure (r = 1), and one that
// the next reading will tell is T itself (r = 0). This is the law of the
// preposterior mean, taken as a shrunken copy of the present one.
func ChangedBy(limit Dist, bookBy, width, widthIfMeasured, day float64) float64 {
	if !limit.Known() || math.IsNaN(bookBy) {
		return math.NaN()
	}
	r := 1.
	if width > 0 && widthIfMeasured >= 0 && widthIfMeasured < width {
		r = widthIfMeasured / width
	}
	m := limit.Quantile(.5)
	if math.IsInf(m, 0) {
		r = 1 // not within the horizon: nothing to move by
		m = bookBy
	}
	at := m - r*(m-bookBy)
	spread := math.Sqrt(1 - r*r)
	if spread < 1e-6 {
		if day >= at {
			return 1
		}
		return 0
	}
	return limit.CDF(m + (day-at)/spread)
}
