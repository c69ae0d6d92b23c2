package plan

import (
	"cmp"
	"math"
	"slices"

	"brakewear/internal/fleet"
)

// jobCost is what one job costs on each day, and what not doing it does.
type jobCost struct {
	lining, risk []float64 // by day
	bookBy       int       // last day within the accepted risk; -1 = none
	breach       []bool    // by day: beyond the risk, which could have been avoided
	days         []bool    // on which the vehicle and the parts are there
	first        int       // day the parts are there
	sunk         float64   // risk of the earliest day, which no plan avoids; not in risk

	// none is the cost of leaving it, later whether it may be left.
	noneLining, noneRisk, none float64
	noneBreach                 bool
	later                      bool
}

// bookBy returns the last day on which the chance is within risk, -1 if none.
func bookBy(past []float64, risk float64) int {
	for d, f := range past {
		if f >= risk {
			return d - 1
		}
	}
	return len(past) - 1
}

// costOf works out a job's costs:
//
//	Lining·Value·Wasted/Usable
//	+ Weight·(Past·F(t) + PastDay·Σ_{u<t} F(u) + Excess·max(0, F(t)-Risk) + Breach·[F(t) >= Risk, avoidable])
//
// with F the chance of being past the limit and the sum the days expected to be
// driven past it. A breach is avoidable when the calendar has a day for the job
// within its accepted risk, whatever the shops have left.
func (p *Problem) costOf(j *Job, open []bool) jobCost {
	r := &p.Rates
	c := jobCost{
		lining: make([]float64, p.Days),
		risk:   make([]float64, p.Days),
		breach: make([]bool, p.Days),
		days:   make([]bool, p.Days),
		bookBy: bookBy(j.Past, p.Risk),
		first:  max(0, int(j.Ready-p.Start)),
	}
	if j.Ready == 0 {
		c.first = 0
	}
	copy(c.days, open)
	for d := range min(c.first, p.Days) {
		c.days[d] = false
	}
	avoidable := false
	for d := 0; d <= c.bookBy; d++ {
		avoidable = avoidable || c.days[d]
	}
	weight, value := cmp.Or(j.Weight, 1), r.Lining*cmp.Or(j.Value, 1)/j.Usable
	driven := 0.
	risk := func(f float64) float64 {
		return weight * (r.Past*f + r.PastDay*driven + r.Excess*max(0, f-p.Risk))
	}
	for d, f := range j.Past {
		c.lining[d] = value * j.Wasted[d]
		c.risk[d] = risk(f)
		if c.breach[d] = avoidable && d > c.bookBy; c.breach[d] {
			c.risk[d] += weight * r.Breach
		}
		driven += f
	}
	first := slices.Index(c.days, true)
	if first >= 0 {
		// Nothing is lost before the first day: there risk is 0 or breached.
		c.sunk = c.risk[first]
		for d := range c.risk {
			c.risk[d] -= c.sunk
		}
	}
	last := j.Past[p.Days-1]
	if c.later = last < p.Risk; c.later {
		driven = 0
		c.noneLining, c.noneRisk = value*j.After, max(0, risk(p.Risk)-c.sunk)
		c.none = c.noneLining + c.noneRisk
		return c
	}
	c.noneRisk = risk(last) - c.sunk
	if c.noneBreach = avoidable; avoidable {
		c.noneRisk += weight * r.Breach
	}
	if first < 0 {
		c.sunk, c.noneRisk = c.noneRisk, 0
	}
	c.none = c.noneRisk + r.Unplaced
	return c
}

// openDays says on which days the vehicle can be had at all.
func (p *Problem) openDays(v *Vehicle) []bool {
	open := make([]bool, p.Days)
	for d := range open {
		open[d] = true
	}
	for _, b := range v.Blocked {
		if d := int(b - p.Start); d >= 0 && d < p.Days {
			open[d] = false
		}
	}
	return open
}

// slotIndex numbers the slots of the problem by shop and day; -1 = outside.
func (in *instance) slotIndex(s Slot) int {
	shop, ok := in.shopAt[s.Shop]
	d := int(s.Date - in.p.Start)
	if !ok || d < 0 || d >= in.days {
		return -1
	}
	return shop*in.days + d
}

// slot is the reverse of slotIndex.
func (in *instance) slot(i int) Slot {
	return Slot{in.p.Shops[i/in.days].ID, in.p.Start + fleet.Date(i%in.days)}
}

// minutes rounds working time up to whole minutes, in which capacity is counted
// so that sums are exact.
func minutes(hours float64) int {
	return int(math.Ceil(hours*60 - 1e-6))
}
