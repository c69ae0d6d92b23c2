package forecast

import (
	"math"
	"slices"
)

// Judgements about dragging calipers; set on simulated fleets, from memory.
const (
	// dragPerYear is the chance that a caliper of an axle begins to drag in a
	// year.
	dragPerYear = 0.02
	// dragDoubt: sides that differ by fewer sds than this are not looked into.
	dragDoubt = 1.5
)

// dragPaces are by how much a dragging side's inner pad, which the piston
// presses, may wear faster; its outer one does by the square root.
var dragPaces = [...]float64{1.6, 2.2, 3.0}

// dragging is a caliper taken to drag.
type dragging struct {
	side   int
	onset  float64 // 1000 km
	after  Day     // visits between which it began
	before Day
	pace   float64
	chance float64 // that one does, on this side
}

// seekDrag weighs, for the open and fitted set, that one side's caliper began
// to drag between two visits against that none did. The fitter is left with
// what is likelier, and so are s.places and s.aside.
func (f *fitter) seekDrag(s *set) (dragging, bool) {
	side := f.thinSide(s)
	if side == 0 {
		return dragging{}, false
	}
	plain := s.places
	s.places = slices.Clone(plain)
	none := f.grid.evidence + float64(len(s.aside))*typoLogOdds
	rows := slices.Clone(f.use)
	for _, i := range s.aside {
		if s.places[s.rows[i].place].side == side {
			rows = append(rows, i) // thin readings of that side may be meant
		}
	}
	slices.Sort(rows)
	gone := len(f.use) + len(s.aside) - len(rows)

	years := float64(s.days[len(s.days)-1]-s.birth0().day) / yearDays
	var sum float64
	var best dragging
	most := math.Inf(-1)
	from, fromDay := s.birth0().at, s.birth0().day
	f.take(rows)
	for v, at := range s.visits {
		onset := (from + at) / 2
		share := math.Log(dragPerYear/2/float64(len(dragPaces))*max(0, float64(s.days[v]-fromDay))/yearDays + 1e-9)
		for _, k := range dragPaces {
			s.drag(plain, side, onset, k)
			f.repace()
			e := f.posterior().evidence + float64(gone)*typoLogOdds + share
			sum += math.Exp(e - none)
			if e > most {
				most, best = e, dragging{side: side, onset: onset, after: fromDay, before: s.days[v], pace: k}
			}
		}
		from, fromDay = at, s.days[v]
	}
	sum /= 1 - dragPerYear*min(1, max(0, years))
	best.chance = sum / (1 + sum)
	if math.IsInf(sum, 1) {
		best.chance = 1
	}
	if best.chance > 0.5 {
		s.drag(plain, side, best.onset, best.pace)
		s.aside = slices.DeleteFunc(s.aside, func(i int) bool { return slices.Contains(rows, i) })
		f.repace()
	} else {
		s.places = plain
		rows = slices.DeleteFunc(rows, func(i int) bool { return slices.Contains(s.aside, i) })
		f.means()
		f.take(rows)
	}
	f.posterior()
	return best, best.chance > 0.5
}

// birth0 is the fitting of the first live place.
func (s *set) birth0() *birth { return &s.births[s.places[0].born] }

// drag sets s.places to plain with one side's pace raised from onset on.
func (s *set) drag(plain []place, side int, onset, pace float64) {
	copy(s.places, plain)
	for j := range s.places {
		p := &s.places[j]
		if p.side != side {
			continue
		}
		p.onset, p.drag = onset, pace
		if s.pos[s.renewed[j].place].Face == "outer" {
			p.drag = math.Sqrt(pace)
		}
	}
}

// thinSide returns the side whose last readings, those set aside included, lie
// below the other's by more than their errors make likely; 0 for none.
func (f *fitter) thinSide(s *set) int {
	if len(s.visits) == 0 {
		return 0
	}
	r := math.Exp(f.grid.mean)
	var sum, n, noise [3]float64
	last := len(s.visits) - 1
	for i := range s.rows {
		row := &s.rows[i]
		side := s.places[row.place].side
		if row.visit != last || side == 0 || slices.Contains(s.trips, i) {
			continue
		}
		sum[side] += f.e0[i] + r*f.fs[i]
		noise[side] += row.sd * row.sd
		n[side]++
	}
	if n[leftSide] == 0 || n[rightSide] == 0 {
		return 0
	}
	d := sum[leftSide]/n[leftSide] - sum[rightSide]/n[rightSide]
	nz, far := s.noise, r*(s.visits[last]-s.birth0().at)
	lasting := 2*nz.Side*nz.Side + nz.Place*nz.Place*(1/n[leftSide]+1/n[rightSide])
	v := noise[leftSide]/(n[leftSide]*n[leftSide]) + noise[rightSide]/(n[rightSide]*n[rightSide]) + far*far*lasting
	switch z := d / math.Sqrt(v); {
	case z < -dragDoubt:
		return leftSide
	case z > dragDoubt:
		return rightSide
	}
	return 0
}
