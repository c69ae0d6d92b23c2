package forecast

import (
	"math"
	"slices"
	"sort"
)

// ReadingScore says how well a later reading was foreseen, in mm: that of the
// second inspection after the forecast, or the last before the part came off.
// It needs no truth and shows what the crossings cannot: parts are mostly
// taken off before they reach their limit.
type ReadingScore struct {
	N       int
	MAE     float64
	Cover80 float64
	IS80    float64
}

type readingTally struct {
	n, in80   int
	abs, is80 float64
}

func (t *readingTally) merge(o *readingTally) {
	t.n += o.n
	t.in80 += o.in80
	t.abs += o.abs
	t.is80 += o.is80
}

func (t *readingTally) score() ReadingScore {
	if t.n == 0 {
		return ReadingScore{}
	}
	f := 1 / float64(t.n)
	return ReadingScore{t.n, t.abs * f, float64(t.in80) * f, t.is80 * f}
}

const (
	// readingSD is the error of one reading that is added to the interval of
	// the thickness: gauge .3 mm and visit .12 mm, the method's defaults.
	readingSD = .32
	z80       = 1.2815515655446004 // normal quantile of .9
)

// scoreReadings scores the forecast thickness of each position against a later
// reading of the same life.
func (r *replay) scoreReadings(c *axleCase, model string, asOf Day, f *AxleForecast) {
	for i := range f.Positions {
		p := &f.Positions[i]
		if p.Pos.Part != c.main.Part || len(p.Path) < 2 {
			continue
		}
		target, ok := r.laterReading(c, p.Pos, asOf)
		if !ok {
			continue
		}
		km := c.main.kmOn(float64(target.Day)) - c.shift
		if !math.IsNaN(target.Km) && r.truth.shift(target.Day) == c.shift {
			km = target.Km
		}
		mid, half, ok := pathAt(p.Path, km)
		if !ok {
			continue
		}
		half = math.Hypot(half, z80*readingSD)
		miss := math.Abs(target.MM - mid)
		r.scores.each(model, r.v.Class, r.v.Depot, c.readings, func(g *groupScores) {
			t := &g.readings
			t.n++
			t.abs += miss
			t.is80 += 2*half + 10*max(0, miss-half)
			if miss <= half {
				t.in80++
			}
		})
	}
}

// laterReading returns the second reading of a position after asOf in the same
// life, or the first where it is the last.
func (r *replay) laterReading(c *axleCase, pos Position, asOf Day) (Reading, bool) {
	var later []Reading
	for _, x := range c.axle.Readings {
		if x.Pos == pos && x.Day > asOf && x.Day <= c.main.Removed && !x.Tripped {
			later = append(later, x)
		}
	}
	if len(later) == 0 {
		return Reading{}, false
	}
	slices.SortStableFunc(later, func(a, b Reading) int { return int(a.Day) - int(b.Day) })
	if len(later) > 2 {
		later = later[:2]
	}
	return later[len(later)-1], true
}

// pathAt reads a path at km; half is half the width of its 80 % interval.
func pathAt(path []PathPoint, km float64) (mid, half float64, ok bool) {
	n := len(path)
	if !(km >= path[0].Km && km <= path[n-1].Km) {
		return 0, 0, false
	}
	i := max(1, sort.Search(n, func(i int) bool { return path[i].Km >= km }))
	a, b := path[i-1], path[i]
	w := 0.
	if b.Km > a.Km {
		w = (km - a.Km) / (b.Km - a.Km)
	}
	at := func(x, y float64) float64 { return x + w*(y-x) }
	return at(a.Mid, b.Mid), (at(a.Hi, b.Hi) - at(a.Lo, b.Lo)) / 2, true
}
