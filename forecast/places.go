package forecast

import (
	"cmp"
	"math"
	"slices"
)

// placesOf returns the positions the model keeps apart: single places unless
// all readings are of "the thinnest" of several, which then is a place of its
// own. Positions nobody measures are forecast all the same.
func placesOf(part Part, readings placesFound) []Position {
	measured, sides, faces := false, false, false
	for i := range readings {
		if p := &readings[i].pos; p.Part == part {
			measured = true
			sides = sides || p.Side == "left" || p.Side == "right"
			faces = faces || p.Face == "inner" || p.Face == "outer"
		}
	}
	sideNames, faceNames := []string{""}, []string{""}
	if sides || !measured {
		sideNames = []string{"left", "right"}
	}
	if part == Pad && (faces || !measured) {
		faceNames = []string{"inner", "outer"}
	}
	var out []Position
	for _, s := range sideNames {
		for _, f := range faceNames {
			out = append(out, Position{Part: part, Side: s, Face: f})
		}
	}
	return out
}

func comparePositions(p, q Position) int {
	return cmp.Or(cmp.Compare(p.Part, q.Part), cmp.Compare(p.Side, q.Side), cmp.Compare(p.Face, q.Face))
}

const (
	// Numbers of the sides, for places that share one.
	leftSide, rightSide = 1, 2
	// thinnerSide is how much faster than one of them the thinner of two sides
	// wears, as a share of the rate: the expected larger of two places whose
	// lasting rates spread by 0.1 (0.56 sds).
	thinnerSide = 0.06
)

// place is a position in the model's terms. The thinner of inner and outer is
// taken for the inner one.
func (n *Noise) place(p Position, s Spec) place {
	pl := place{f: 1, limit: s.sense(s.Limit), span: s.Span()}
	switch p.Side {
	case "left":
		pl.side = leftSide
	case "right":
		pl.side = rightSide
	default:
		pl.f += thinnerSide
	}
	switch {
	case p.Part == Pad && p.Face == "outer":
		pl.f *= math.Exp(-n.InnerOuter)
	case p.Part == Pad:
		pl.f *= math.Exp(n.InnerOuter)
	}
	return pl
}

// sense turns a value in mm into one that falls with wear, and back.
func (s Spec) sense(mm float64) float64 {
	if s.grows() {
		return -mm
	}
	return mm
}

// item is a reading on its way into a set.
type item struct {
	*Reading
	s       float64 // effective distance, 1000 km
	y       float64 // value in the sense that falls
	place   int     // index in placesOf
	renewed int     // renewals of the place before it
	merged  int     // readings it stands for
}

// collect returns the readings of the part in order of day, each with its
// place. "The thinnest" of several places that are also read one by one counts
// for the one that was thinnest by then, or an inner one.
func (c *cutter) collect(h *axleHistory, readings placesFound) []item {
	most := 0
	for i := range readings {
		if p := &readings[i]; p.pos.Part == c.part {
			most += len(p.readings)
		}
	}
	items := make([]item, 0, most)
	for _, p := range readings {
		if p.pos.Part != c.part {
			continue
		}
		if !slices.ContainsFunc(c.pos, p.pos.overlaps) {
			h.odd = append(h.odd, p.readings...)
			continue
		}
		for i := range p.readings {
			r := &p.readings[i]
			items = append(items, item{Reading: r, s: c.dist(r.Day, r.Km), y: c.spec.sense(r.MM), merged: 1})
		}
	}
	slices.SortStableFunc(items, func(a, b item) int {
		if a.Day != b.Day {
			return cmp.Compare(a.Day, b.Day)
		}
		return cmp.Or(comparePositions(a.Pos, b.Pos), cmp.Compare(a.y, b.y))
	})
	last := make([]float64, len(c.pos))
	for k := range last {
		last[k] = math.Inf(1)
	}
	for i := range items {
		it := &items[i]
		best := -1
		for k, p := range c.pos {
			if p == it.Pos {
				best, last[k] = k, it.y
				break
			}
			if p.overlaps(it.Pos) && (best < 0 || last[k] < last[best]) {
				best = k
			}
		}
		it.place = best
		it.renewed = c.renewedBefore(it.Reading, best)
	}
	return items
}

// renewedBefore returns how many renewals of its place a reading comes after.
// A reading on the day of a fitting is of the part taken off unless it is near
// the value fitted.
func (c *cutter) renewedBefore(r *Reading, k int) int {
	rs := c.renewal[k]
	n := 0
	for n < len(rs) && rs[n].since < r.Day {
		n++
	}
	if n < len(rs) && rs[n].since == r.Day && !r.Tripped {
		near := max(nearNew*c.spec.Span(), r.Step/2)
		if math.Abs(r.MM-rs[n].fitted.MM) <= near {
			n++
		}
	}
	return n
}

const (
	// mostVisits bounds the visits of one set that are kept apart, and mostRows
	// its readings: the work grows with their cube.
	mostVisits = 24
	mostRows   = maxPlaces * mostVisits
	// medianVar is the variance of a median of many, in variances of one over
	// their number: pi/2.
	medianVar = math.Pi / 2
)

// thin joins neighbouring visits until at most mostVisits are left; each place
// then stands at its median. Wear is so nearly straight over the short
// stretches joined that next to nothing is lost. Of places that were renewed by
// themselves time and again, live times by the end of the set, the readings of
// the parts that went first are left out where there are still too many.
func thin(items []item, live []int) []item {
	visits := visitsIn(items)
	if visits <= mostVisits && len(items) <= mostRows {
		return items
	}
	per := (visits + mostVisits - 1) / mostVisits
	var out []item
	for i := 0; i < len(items); {
		end, days := i, 0
		for end < len(items) && (items[end].Day == items[max(end-1, i)].Day || days < per) {
			if end == i || items[end].Day != items[end-1].Day {
				days++
			}
			end++
		}
		out = append(out, joined(items[i:end])...)
		i = end
	}
	over := len(out) - mostRows
	return slices.DeleteFunc(out, func(it item) bool {
		gone := over > 0 && it.renewed < live[it.place]
		if gone {
			over--
		}
		return gone
	})
}

// visitsIn returns how many visits items are of, which are in order of day.
func visitsIn(items []item) int {
	visits := 0
	for i := range items {
		if i == 0 || items[i].Day != items[i-1].Day {
			visits++
		}
	}
	return visits
}

// joined returns one item per place and renewal, and the first signal of its
// sensor: what comes later says nothing new.
func joined(items []item) []item {
	var out []item
	last := items[len(items)-1]
	mean := 0.0
	for _, it := range items {
		mean += it.s / float64(len(items))
	}
	seen, tripped := make(map[incarnation]bool), make(map[incarnation]bool)
	for _, it := range items {
		in := incarnation{it.place, it.renewed}
		if it.Tripped {
			if !tripped[in] {
				tripped[in] = true
				it.move(mean, last.Day)
				out = append(out, it)
			}
			continue
		}
		if seen[in] {
			continue
		}
		seen[in] = true
		var ys []float64
		for _, o := range items {
			if !o.Tripped && o.place == it.place && o.renewed == it.renewed {
				ys = append(ys, o.y)
			}
		}
		slices.Sort(ys)
		n := len(ys)
		it.y, it.merged = (ys[(n-1)/2]+ys[n/2])/2, n
		it.move(mean, last.Day)
		out = append(out, it)
	}
	return out
}

// move takes it to another distance and day.
func (it *item) move(s float64, day Day) {
	r := *it.Reading
	r.Day = day
	it.Reading, it.s = &r, s
}
