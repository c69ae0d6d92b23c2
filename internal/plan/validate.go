package plan

import (
	"math"

	"brakewear/internal/fleet"
)

// MaxJobs bounds the jobs of one vehicle: no vehicle has as many axles.
const MaxJobs = 30

// maxDays bounds the horizon: two years.
const maxDays = 731

// Validate reports the first fault of p.
func (p *Problem) Validate() error {
	switch {
	case p.Days < 1 || p.Days > maxDays:
		return fleet.Invalidf("plan of %d days; want 1 to %d", p.Days, maxDays)
	case !(p.Risk >= 0 && p.Risk < 1):
		return fleet.Invalidf("accepted risk of %g; want a chance below 1", p.Risk)
	}
	if err := p.Rates.validate(); err != nil {
		return err
	}
	shops := make(map[int64]bool)
	for i := range p.Shops {
		s := &p.Shops[i]
		if shops[s.ID] {
			return fleet.Invalidf("shop %d stands twice in the plan", s.ID)
		}
		shops[s.ID] = true
		if len(s.Days) != p.Days {
			return fleet.Invalidf("shop %d has capacities for %d days; want %d", s.ID, len(s.Days), p.Days)
		}
		for d, c := range s.Days {
			if !amount(c.Hours) || !amount(c.Overtime) || c.Visits < 0 {
				return fleet.Invalidf("shop %d on %s: %g hours, %g overtime, %d vehicles; none may be negative",
					s.ID, p.Start+fleet.Date(d), c.Hours, c.Overtime, c.Visits)
			}
		}
	}
	vehicles := make(map[int64]bool)
	for i := range p.Vehicles {
		v := &p.Vehicles[i]
		if vehicles[v.ID] {
			return fleet.Invalidf("vehicle %d stands twice in the plan", v.ID)
		}
		vehicles[v.ID] = true
		if err := v.validate(p, shops); err != nil {
			return err
		}
	}
	return nil
}

func (v *Vehicle) validate(p *Problem, shops map[int64]bool) error {
	if len(v.Jobs) > MaxJobs {
		return fleet.Invalidf("vehicle %d has %d jobs; want %d at most", v.ID, len(v.Jobs), MaxJobs)
	}
	ways := make(map[int64]bool)
	for _, w := range v.Shops {
		switch {
		case !shops[w.Shop]:
			return fleet.Invalidf("vehicle %d may go to shop %d, which is not in the plan", v.ID, w.Shop)
		case ways[w.Shop]:
			return fleet.Invalidf("vehicle %d names shop %d twice", v.ID, w.Shop)
		case !amount(w.Cost):
			return fleet.Invalidf("vehicle %d: the way to shop %d costs %g", v.ID, w.Shop, w.Cost)
		}
		ways[w.Shop] = true
	}
	axles := make(map[int]bool)
	for k := range v.Jobs {
		j := &v.Jobs[k]
		if axles[j.Axle] {
			return fleet.Invalidf("vehicle %d has two jobs on axle %d", v.ID, j.Axle)
		}
		axles[j.Axle] = true
		if err := j.validate(p.Days); err != nil {
			return fleet.Invalidf("vehicle %d axle %d: %v", v.ID, j.Axle, err)
		}
	}
	return v.validateFixed()
}

// validateFixed sees to it that fixed jobs leave the vehicle in one place a day.
func (v *Vehicle) validateFixed() error {
	where := make(map[fleet.Date]int64)
	for k := range v.Jobs {
		f := v.Jobs[k].Fixed
		if f == nil {
			continue
		}
		if other, ok := where[f.Date]; ok && other != f.Shop {
			return fleet.Invalidf("vehicle %d is booked at shops %d and %d on %s", v.ID, other, f.Shop, f.Date)
		}
		where[f.Date] = f.Shop
	}
	return nil
}

func (j *Job) validate(days int) error {
	switch {
	case !(j.Hours > 0 && j.Hours <= 1000):
		return fleet.Invalidf("%g hours of work; want more than 0", j.Hours)
	case !(j.SetUp >= 0 && j.SetUp <= j.Hours):
		return fleet.Invalidf("%g hours of set-up in %g hours of work", j.SetUp, j.Hours)
	case len(j.Past) != days || len(j.Wasted) != days:
		return fleet.Invalidf("chances for %d and waste for %d days; want %d", len(j.Past), len(j.Wasted), days)
	case !(j.Usable > 0) || math.IsInf(j.Usable, 0):
		return fleet.Invalidf("%g mm of usable lining; want more than 0", j.Usable)
	case !amount(j.After) || !amount(j.Weight) || !amount(j.Value):
		return fleet.Invalidf("waste after the horizon %g, weight %g, value %g; none may be negative", j.After, j.Weight, j.Value)
	}
	last := 0.
	for d, f := range j.Past {
		if !(f >= last-1e-9 && f <= 1+1e-9) {
			return fleet.Invalidf("the chance of being past the limit on day %d is %g after %g; want it to rise from 0 to 1", d, f, last)
		}
		last = f
		if !amount(j.Wasted[d]) {
			return fleet.Invalidf("lining wasted on day %d is %g mm", d, j.Wasted[d])
		}
	}
	return nil
}

func (r *Rates) validate() error {
	for _, x := range [...]float64{r.Lining, r.Past, r.PastDay, r.Excess, r.Breach, r.Visit, r.Overtime, r.Move, r.Unplaced,
		r.ExtraVisit, r.Away, r.Hurry, r.Spare} {
		if !amount(x) {
			return fleet.Invalidf("rate of %g; want 0 or more", x)
		}
	}
	return nil
}

// amount says whether x is a finite number that is not negative.
func amount(x float64) bool { return x >= 0 && !math.IsInf(x, 1) }
