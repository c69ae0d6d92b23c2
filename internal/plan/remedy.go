package plan

import (
	"cmp"
	"math"
	"slices"

	"brakewear/internal/fleet"
)

// overdueDays is how soon a remedy is looked for where the book-by date was past
// before the first day: within the week. Judgement.
const overdueDays = 7

// trouble says why a job has no day within its accepted risk, and the ways out.
func (w *writer) trouble(src *Vehicle, j *Job, jc *jobCost, at *Slot) Trouble {
	in := w.in
	t := Trouble{JobKey: JobKey{src.ID, j.Axle}, Slot: at, BookBy: in.bookByDate(j.Past), Past: j.Past[in.days-1]}
	last := jc.bookBy
	if at != nil {
		t.Past = j.Past[int(at.Date-in.p.Start)]
	}
	if last < 0 {
		t.Why, last = Overdue, min(overdueDays, in.days)-1
	} else {
		t.Why = w.why(src, j, jc, last)
	}
	before := in.days
	if at != nil {
		before = int(at.Date - in.p.Start) // a way out must come sooner
	}
	t.Remedies = w.remedies(src, j, jc, min(last, before-1))
	return t
}

// why looks through the days within the accepted risk.
func (w *writer) why(src *Vehicle, j *Job, jc *jobCost, last int) Reason {
	in := w.in
	if jc.first > last {
		return PartsLate
	}
	spared, open, hours := false, false, false
	for d := jc.first; d <= last; d++ {
		if !jc.days[d] {
			continue
		}
		spared = true
		for _, way := range src.Shops {
			i := in.shopAt[way.Shop]*in.days + d
			c := in.p.Shops[in.shopAt[way.Shop]].Days[d]
			if c.Hours+c.Overtime <= 0 || c.Visits <= 0 {
				continue
			}
			open = true
			if minutes(j.Hours) <= w.minutesLeft(i) {
				hours = true // so it is the bay that lacks
			}
		}
	}
	switch {
	case !spared:
		return NotSpared
	case !open:
		return Closed
	case hours:
		return NoBays
	}
	return NoHours
}

func (w *writer) minutesLeft(i int) int {
	return w.in.cap[i].normal + w.in.cap[i].over - w.b.use[i].minutes
}

func (w *writer) baysLeft(i int) int { return w.in.cap[i].visits - w.b.use[i].visits }

// remedies are the cheapest way out of each kind up to a day, everything else
// staying where it is; cheapest first. Each costs its rate and what the job costs
// on its day.
func (w *writer) remedies(src *Vehicle, j *Job, jc *jobCost, last int) []Remedy {
	in, r := w.in, &w.in.p.Rates
	best := map[RemedyKind]Remedy{}
	offer := func(m Remedy, price float64, d int) {
		m.Cost = price + jc.lining[d] + jc.risk[d]
		if had, ok := best[m.Kind]; !ok || m.Cost < had.Cost-slight {
			best[m.Kind] = m
		}
	}
	need := minutes(j.Hours)
	open := in.p.openDays(src)
	for d := 0; d <= last; d++ {
		parts := max(0, jc.first-d) // days by which they come too late
		for shop := range in.p.Shops {
			i := shop*in.days + d
			s := in.slot(i)
			c := in.p.Shops[shop].Days[d]
			if c.Hours+c.Overtime <= 0 {
				continue // closed
			}
			own := slices.ContainsFunc(src.Shops, func(way Way) bool { return way.Shop == s.Shop })
			lack, bay := max(0, need-w.minutesLeft(i)), w.baysLeft(i) < 1 && !src.joins(s)
			room := lack == 0 && !bay
			switch {
			case own && open[d] && parts == 0 && bay:
				offer(Remedy{Kind: MoreBays, Slot: s, Hours: float64(lack) / 60}, r.ExtraVisit+r.Overtime*float64(lack)/60, d)
			case own && open[d] && parts == 0 && lack > 0:
				offer(Remedy{Kind: MoreHours, Slot: s, Hours: float64(lack) / 60}, r.Overtime*float64(lack)/60, d)
			case own && open[d] && parts > 0 && room:
				offer(Remedy{Kind: PartsSooner, Slot: s, Days: parts}, r.Hurry*float64(parts), d)
			case own && !open[d] && parts == 0 && room:
				offer(Remedy{Kind: SpareIt, Slot: s}, r.Spare, d)
			case !own && open[d] && parts == 0 && room:
				offer(Remedy{Kind: OtherShop, Slot: s}, r.Away, d)
			}
		}
	}
	var out []Remedy
	for _, k := range []RemedyKind{MoreHours, MoreBays, OtherShop, PartsSooner, SpareIt} {
		if m, ok := best[k]; ok && !math.IsInf(m.Cost, 1) {
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, func(a, b Remedy) int { return cmp.Compare(a.Cost, b.Cost) })
	return out
}

// bookByDate is the last day within the accepted risk.
func (in *instance) bookByDate(past []float64) fleet.Date {
	return in.p.Start + fleet.Date(bookBy(past, in.p.Risk))
}
