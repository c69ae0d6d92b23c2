package forecast

import (
	"cmp"
	"math"
	"slices"
)

// SidePace is one side of an axle that wears faster than the other by more
// than the readings' error and the usual difference of two sides allow.
type SidePace struct {
	Part   Part
	Faster string  // left or right
	Ratio  float64 // of the sides' wear rates, above 1; +Inf when the other hardly wears
	Ahead  float64 // mm by which the faster side is more worn, as last measured
	P      float64 // chance of such a difference or more between two sound sides
	Visits int     // at which both sides were measured
	Last   Day     // of them
}

// Judgements about sides; common practice, no source.
const (
	// sideP is how seldom two sound sides may look like that and still be
	// called uneven: a fleet of a thousand axles has one such by chance.
	sideP = 0.001
	// unknownStart is the spread in mm of the difference of two sides when
	// nobody saw them fitted.
	unknownStart = 5.0
)

// SidePaces tests, for the pads and linings on an axle now, whether its two
// sides wear alike. Rotors and drums hardly wear, and are replaced by sides. At each visit v since the fitting, s(v) km on, d(v) is the wear
// of the left less the right, averaged over the faces that were measured on
// both; the error of the visit itself falls out of it. With a ~ N(0, start²)
// for the difference they began with,
//
//	d(v) = a + b s(v) + e(v),   e(v) ~ N(0, 2 gauge² / faces)
//
// and b is estimated by generalised least squares. Two sound sides have
// b ~ N(0, r² (2 side² + 2 place² / faces)) for their mean wear rate r, by the
// spreads of m where it knows them. The test is two-sided on
// b / sqrt(se² + that variance). f is the axle's forecast: readings that it set
// aside are left out, and so is what was read before the last change that it
// found.
func SidePaces(m Model, a *Axle, t Track, f *AxleForecast) []SidePace {
	p := DefaultParams()
	if full, ok := m.(*Full); ok {
		p = full.Params
	}
	segments := Segments(a, t, f.AsOf, 0)
	lives := segments.Current()
	var out []SidePace
	for _, part := range [...]Part{Pad, Lining} {
		if sp, ok := p.sidePace(part, lives, f); ok {
			out = append(out, sp)
		}
	}
	return out
}

// visitSides is what was read of both sides on a day.
type visitSides struct {
	day       Day
	km        float64
	left      [2]float64 // wear by face: inner or of a part without faces, outer
	right     [2]float64
	step      [2]float64 // the coarser of both sides' gauges
	depot     string
	has       [2][2]bool // by face, by side
	worn, gap float64
	v         float64 // variance of gap
	faces     int
}

func (p *Params) sidePace(part Part, lives []Series, f *AxleForecast) (SidePace, bool) {
	since := Day(math.MinInt32)
	for _, c := range f.Basis.Changes {
		if c.Part == part {
			since = max(since, c.Before)
		}
	}
	visits, start := p.sidesRead(part, lives, since, f)
	if len(visits) < 2 && !(len(visits) == 1 && start != nil && visits[0].faces == 2) {
		return SidePace{}, false // one value mistyped would be enough
	}
	n := p.noise(part)
	spread, from := unknownStart, visits[0].km
	if start != nil {
		spread, from = math.Sqrt(2)*n.StartPlace, start.StartKm
	}
	last := visits[len(visits)-1]
	far := last.km - from
	var mean float64 // wear of both sides per km
	if start != nil {
		mean = (last.worn - start.Spec.Wear(start.StartMM)) / far
	} else {
		mean = (last.worn - visits[0].worn) / far
	}
	if !(far > 0) || !(mean > 0) {
		return SidePace{}, false
	}
	// Generalised least squares with the start's difference integrated out:
	// inverse of diag(v) + spread² 11', by Sherman and Morrison.
	var w, ws, wd, wss, wsd float64
	for _, x := range visits {
		u, s := 1/x.v, x.km-from
		w += u
		ws += u * s
		wd += u * x.gap
		wss += u * s * s
		wsd += u * s * x.gap
	}
	k := spread * spread / (1 + spread*spread*w)
	info := wss - k*ws*ws
	if !(info > 0) {
		return SidePace{}, false
	}
	b := (wsd - k*ws*wd) / info
	usual := mean * math.Sqrt(2*n.Side*n.Side+2*n.Place*n.Place/float64(last.faces))
	z := math.Abs(b) / math.Sqrt(1/info+usual*usual)
	sp := SidePace{Part: part, Faster: "left", Ahead: last.gap, P: math.Erfc(z / math.Sqrt2), Visits: len(visits), Last: last.day}
	if b < 0 {
		sp.Faster, sp.Ahead = "right", -last.gap
	}
	sp.Ratio = math.Inf(1)
	if slow := mean - math.Abs(b)/2; slow > 0.02*mean {
		sp.Ratio = (mean + math.Abs(b)/2) / slow
	}
	return sp, sp.P < sideP
}

// sidesRead returns the visits at which both sides were measured at a same
// face, in order of day, and the life they are of where it is known how it
// began.
func (p *Params) sidesRead(part Part, lives []Series, since Day, f *AxleForecast) (visits []visitSides, start *Series) {
	known, byDay := true, map[Day]*visitSides{}
	for i := range lives {
		l := &lives[i]
		face, side := 0, 0
		switch {
		case l.Pos.Part != part:
			continue
		case l.Pos.Face == "" && part == Pad:
			continue // the thinner of both: another face from time to time
		case l.Pos.Face == "outer":
			face = 1
		}
		switch l.Pos.Side {
		case "right":
			side = 1
		case "":
			continue
		}
		known = known && l.Known && l.StartDay >= since && !math.IsNaN(l.StartKm) && (start == nil || start.StartDay == l.StartDay)
		start = l
		for _, r := range l.Readings {
			if r.Day < since || r.Tripped || math.IsNaN(r.Km) || f.setAside(&r) {
				continue
			}
			x := byDay[r.Day]
			if x == nil {
				x = &visitSides{day: r.Day, km: r.Km, depot: r.Depot}
				byDay[r.Day] = x
			}
			to := &x.left
			if side == 1 {
				to = &x.right
			}
			if x.has[face][side] {
				to[face] = max(to[face], l.Spec.Wear(r.MM)) // the more worn of two
			} else {
				to[face] = l.Spec.Wear(r.MM)
			}
			x.has[face][side] = true
			x.step[face] = max(x.step[face], r.Step)
		}
	}
	for _, x := range byDay {
		for face := range 2 {
			if x.has[face] != [2]bool{true, true} {
				continue
			}
			sd := p.gaugeSD(part, x.step[face], x.depot)
			x.faces++
			x.gap += x.left[face] - x.right[face]
			x.worn += (x.left[face] + x.right[face]) / 2
			x.v += 2 * sd * sd
		}
		if x.faces > 0 {
			n := float64(x.faces)
			x.gap, x.worn, x.v = x.gap/n, x.worn/n, x.v/(n*n)
			visits = append(visits, *x)
		}
	}
	slices.SortFunc(visits, func(a, b visitSides) int { return cmp.Compare(a.day, b.day) })
	if !known {
		start = nil
	}
	return visits, start
}

// setAside says whether the model did not use r. The distance is not compared:
// the model has it on its own scale.
func (f *AxleForecast) setAside(r *Reading) bool {
	return slices.ContainsFunc(f.Basis.SetAside, func(s SetAside) bool {
		return s.Reading.Day == r.Day && s.Reading.Pos == r.Pos && s.Reading.MM == r.MM
	})
}
