package rules

import (
	"math"
	"slices"

	"brakewear/internal/fleet"
)

// Bound is a limit that a rule set puts on something of one vehicle.
type Bound struct {
	What  What
	Limit float64 // in the unit of What
	Side  Side    // where the fault lies
	Use   *Use    // the value it comes from, and its place
	// Others are less strict values of the set that may apply instead.
	Others []*Use
	// Unknown names what would tell which of them applies, in words: "the day
	// of first use".
	Unknown []string
}

// Fails says whether x is at fault.
func (b *Bound) Fails(x float64) bool { return b.Side.Fails(x, b.Limit) }

// Thickness returns the least thickness that the set asks of a part of an
// axle, and nil where it gives none, as for rotors and drums, whose limit is
// the maker's everywhere.
func (s *Set) Thickness(v *fleet.Vehicle, axle int, p fleet.Part) *Bound {
	return s.bound(v, Thickness, func(u *Use) bool {
		return (len(u.Parts) == 0 || slices.Contains(u.Parts, p)) && onAxle(u, v, axle)
	})
}

// Bound returns what the set asks of the whole vehicle's brakes of a system,
// or nil.
func (s *Set) Bound(v *fleet.Vehicle, sys fleet.BrakeSystem, w What) *Bound {
	return s.bound(v, w, func(u *Use) bool { return u.System == sys })
}

// Across returns the greatest difference of the two wheels of an axle, in % of
// the higher effort, that passes, and the one beyond which it is dangerous; nil
// where the set gives none.
func (s *Set) Across(v *fleet.Vehicle, sys fleet.BrakeSystem, axle int) (fails, dangerous *Bound) {
	on := func(u *Use) bool { return u.System == sys && onAxle(u, v, axle) }
	fails = asImbalance(s.bound(v, EffortShare, on))
	if b := s.bound(v, Imbalance, on); fails == nil || b != nil && stricter(b.Limit, b.Side, fails.Limit, fails.Side) {
		fails = b
	}
	return fails, asImbalance(s.bound(v, EffortDanger, on))
}

// asImbalance turns "below 70 % of the other wheel" into "a difference above
// 30 %", which is the same.
func asImbalance(b *Bound) *Bound {
	if b == nil {
		return nil
	}
	b.What, b.Limit, b.Side = Imbalance, 100-b.Limit, Above
	return b
}

// bound returns the strictest of the uses of w that admit v and fit.
func (s *Set) bound(v *fleet.Vehicle, w What, fits func(*Use) bool) *Bound {
	var best *Bound
	for _, u := range s.uses {
		if u.What != w || !fits(u) {
			continue
		}
		a, unknown := u.admits(v)
		if a == no {
			continue
		}
		x, side := u.Value.Number(), u.Value.Side()
		switch {
		case best == nil:
			best = &Bound{What: w, Limit: x, Side: side, Use: u}
		case stricter(x, side, best.Limit, best.Side):
			best.Others = append(best.Others, best.Use)
			best.Limit, best.Side, best.Use = x, side, u
		default:
			best.Others = append(best.Others, u)
		}
		for _, what := range unknown {
			if !slices.Contains(best.Unknown, what) {
				best.Unknown = append(best.Unknown, what)
			}
		}
	}
	return best
}

// admits says whether u is for vehicles like v, and what is not known that
// decides it.
func (u *Use) admits(v *fleet.Vehicle) (a answer, unknown []string) {
	if v.Category == "" {
		return no, nil // nothing can be said of a vehicle of no category
	}
	if len(u.Categories) > 0 && !slices.Contains(u.Categories, v.Category) {
		return no, nil
	}
	a = yes
	also := func(b answer, what string) {
		a = min(a, b)
		if b == maybe {
			unknown = append(unknown, what)
		}
	}
	also(u.actuated(v), "how its brakes are worked")
	lo, hi := grossOf(v)
	also(u.Gross.holds(lo, hi), "its gross mass")
	lo, hi = firstUseOf(v)
	also(u.FirstUsed.holds(lo, hi), "the day of its first use")
	return a, unknown
}

func (u *Use) actuated(v *fleet.Vehicle) answer {
	switch {
	case len(u.Actuation) == 0 || slices.Contains(u.Actuation, v.Actuation):
		return yes
	case v.Actuation == "":
		return maybe
	}
	return no
}

// onAxle says whether u is for the axle: the first of a motor vehicle steers,
// the others and those of trailers do not.
func onAxle(u *Use, v *fleet.Vehicle, axle int) bool {
	steering := axle == 1 && !v.Category.Trailer()
	return u.Axle == "" || (u.Axle == "steering") == steering
}

// grossRanges are the gross masses of the categories in kg (UNECE R.E.3,
// section 2): above the first, up to the second.
var grossRanges = map[fleet.Category][2]float64{
	"M2": {0, 5000}, "M3": {5000, math.Inf(1)},
	"N1": {0, 3500}, "N2": {3500, 12000}, "N3": {12000, math.Inf(1)},
	"O1": {0, 750}, "O2": {750, 3500}, "O3": {3500, 10000}, "O4": {10000, math.Inf(1)},
}

// grossOf returns the least and the greatest gross mass that v may have.
func grossOf(v *fleet.Vehicle) (lo, hi float64) {
	if v.GrossKg > 0 {
		return v.GrossKg, v.GrossKg
	}
	if r, ok := grossRanges[v.Category]; ok {
		return math.Nextafter(r[0], math.Inf(1)), r[1]
	}
	return 0, math.Inf(1)
}

// firstUseOf returns the first and the last day on which v may have been used
// first; the year of manufacture stands in for a day that is not known.
func firstUseOf(v *fleet.Vehicle) (lo, hi float64) {
	switch {
	case v.FirstUsed != 0:
		return float64(v.FirstUsed), float64(v.FirstUsed)
	case v.Year != 0:
		return float64(fleet.NewDate(v.Year, 1, 1)), float64(fleet.NewDate(v.Year, 12, 31))
	}
	return math.Inf(-1), math.Inf(1)
}
