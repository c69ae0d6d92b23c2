package forecast

import (
	"cmp"
	"math"
	"slices"
)

// Faults are what is wrong with a vehicle's records, as simulations know it.
type Faults struct {
	Readings []Misread
	Odometer []OdometerTypo
}

// Misread is a thickness that was not written down as the gauge showed it.
type Misread struct {
	Day            Day
	Axle           int
	Pos            Position // as written
	Meant, Written float64  // mm
	Swapped        bool     // written down for the other side, and else as shown
}

// OdometerTypo is an odometer value that was not written down as it was read.
type OdometerTypo struct {
	Day            Day
	Meant, Written float64 // km
}

// Detected says how many of how many things were found, by one model. What is
// found in odometers is the same for all models, and its Model is blank.
type Detected struct {
	What  string
	Model string
	N, Of int
}

// Share returns N of Of, and false where there is none.
func (d Detected) Share() (float64, bool) { return float64(d.N) / float64(d.Of), d.Of > 0 }

// What may be found, in the order of the table. Changes and odometers are judged
// on the last day of the grid from all that was known then, dragging calipers at
// the last inspection before the parts came off, the rest on each day of the
// grid about the parts on then.
const (
	FoundChanges   = "unrecorded changes found"                     // of those with inspections before and after
	TrueChanges    = "changes found that took place"                //
	FalseChanges   = "changes found that did not, of inspections"   //
	FoundTypos1    = "mistyped by less than 1 mm flagged"           // set aside, or asked to be measured again
	FoundTypos2    = "mistyped by 1 to 2 mm flagged"                //
	FoundTypos4    = "mistyped by 2 to 4 mm flagged"                //
	FoundTypos     = "mistyped by more than 4 mm flagged"           //
	FoundSwapped   = "read at the other side flagged"               //
	FlaggedGood    = "good readings flagged"                        //
	FoundDrags     = "dragging calipers found"                      // of those with an inspection since
	FoundLongDrags = "dragging for a quarter of a life found"       // of these, by distance
	FalseDrags     = "drags found where none was, of forecasts"     //
	SetTypos       = "odometer errors set aside"                    //
	SetPlainTypos  = "odometer errors beyond what fits set aside"   // out of order or faster than can be driven
	SmallTypos     = "odometer errors of less than a day's driving" // of all errors
	SetGood        = "good odometer readings set aside"             //
	FoundClusters  = "changed clusters found"                       // of those with readings before and after
	FalseClusters  = "clusters found that were not changed"         // of those found
)

// whats is the order of the table.
var whats = []string{
	FoundChanges, TrueChanges, FalseChanges,
	FoundTypos1, FoundTypos2, FoundTypos4, FoundTypos, FoundSwapped, FlaggedGood,
	FoundDrags, FoundLongDrags, FalseDrags,
	SetTypos, SetPlainTypos, SmallTypos, SetGood, FoundClusters, FalseClusters,
}

// detectKey names one count.
type detectKey struct{ what, model string }

// detections counts what was found.
type detections map[detectKey]*[2]int

func (d detections) add(what, model string, found bool) {
	k := detectKey{what, model}
	if d[k] == nil {
		d[k] = new([2]int)
	}
	d[k][1]++
	if found {
		d[k][0]++
	}
}

func (d detections) merge(o detections) {
	for k, n := range o {
		if d[k] == nil {
			d[k] = new([2]int)
		}
		d[k][0] += n[0]
		d[k][1] += n[1]
	}
}

// Detection returns what was found, where the truth knows of faults: by What in
// the order above and by model.
func (s *Scores) Detection() []Detected {
	out := make([]Detected, 0, len(s.found))
	for k, n := range s.found {
		out = append(out, Detected{k.what, k.model, n[0], n[1]})
	}
	slices.SortFunc(out, func(a, b Detected) int {
		return cmp.Or(cmp.Compare(slices.Index(whats, a.What), slices.Index(whats, b.What)), cmp.Compare(a.Model, b.Model))
	})
	return out
}

// scoreFlags counts what a forecast says of the readings of the parts that are
// on now, and of calipers that do not drag.
func (r *replay) scoreFlags(c *axleCase, model string, asOf Day, f *AxleForecast) {
	flagged := slices.Clone(f.Basis.Doubted)
	for _, s := range f.Basis.SetAside {
		flagged = append(flagged, s.Reading)
	}
	l := c.main
	for i := range c.axle.Readings {
		x := &c.axle.Readings[i]
		if x.Pos.Part != l.Part || x.Tripped || x.Day <= l.Fitted || x.Day > asOf {
			continue
		}
		what := FlaggedGood
		if m := r.misread(c.axle.Number, x); m != nil {
			what = m.what()
		}
		r.scores.found.add(what, model, slices.ContainsFunc(flagged, func(y Reading) bool {
			return y.Day == x.Day && y.Pos == x.Pos && y.MM == x.MM
		}))
	}
	if l.DragSide == "" || l.DragDay >= float64(asOf) {
		r.scores.found.add(FalseDrags, model, len(f.Basis.Drags) > 0)
	}
}

// scoreDrags counts dragging calipers, as each showed at the last inspection
// before the parts came off.
func (r *replay) scoreDrags(models [][]Model) {
	for i := range r.truth.Lives {
		l := &r.truth.Lives[i]
		n := slices.IndexFunc(r.v.Axles, func(a Axle) bool { return a.Number == l.Axle })
		if l.DragSide == "" || n < 0 {
			continue
		}
		days := measuredOn(&r.v.Axles[n], l.Part)
		k, _ := slices.BinarySearch(days, l.Removed)
		if k == 0 || float64(days[k-1]) <= l.DragDay {
			continue
		}
		day := days[k-1]
		grid := r.grid(day)
		if grid < 0 {
			continue
		}
		long := l.kmOn(float64(day))-l.kmOn(l.DragDay) > (l.CrossKm-l.FittedKm)/4
		for _, model := range models[grid] {
			f := ofAxle(model.Forecast(r.v, day, Options{}), l.Axle)
			found := slices.ContainsFunc(f.Basis.Drags, func(d Drag) bool { return d.Part == l.Part && d.Side == l.DragSide })
			r.scores.found.add(FoundDrags, model.Name(), found)
			if long {
				r.scores.found.add(FoundLongDrags, model.Name(), found)
			}
		}
	}
}

// misread returns what is wrong with a reading, nil for a good one.
func (r *replay) misread(axle int, x *Reading) *Misread {
	for i := range r.truth.Faults.Readings {
		m := &r.truth.Faults.Readings[i]
		if m.Axle == axle && m.Day == x.Day && m.Pos == x.Pos && math.Abs(m.Written-x.MM) < 1e-6 {
			return m
		}
	}
	return nil
}

func (m *Misread) what() string {
	switch off := math.Abs(m.Written - m.Meant); {
	case m.Swapped:
		return FoundSwapped
	case off < 1:
		return FoundTypos1
	case off < 2:
		return FoundTypos2
	case off <= 4:
		return FoundTypos4
	}
	return FoundTypos
}

// scoreChanges counts the changes that nobody recorded, up to a day.
func (r *replay) scoreChanges(a *Axle, model string, asOf Day, f *AxleForecast) {
	var lives []*Life
	part := Part("")
	for i := range r.truth.Lives {
		if l := &r.truth.Lives[i]; l.Axle == a.Number && (l.Part == Pad || l.Part == Lining) && l.Fitted <= asOf {
			lives, part = append(lives, l), l.Part
		}
	}
	slices.SortStableFunc(lives, func(a, b *Life) int { return cmp.Compare(a.Fitted, b.Fitted) })
	changes := changesOf(f.Basis.Changes, part)
	inspections := 0
	last := Day(math.MinInt32)
	for _, d := range measuredOn(a, part) {
		if d != last && d <= asOf {
			inspections++
			r.scores.found.add(FalseChanges, model, false)
		}
		last = d
	}
	taken := make([]bool, len(changes))
	for i, l := range lives {
		if l.Declared || i == 0 {
			continue
		}
		found := false
		for k, c := range changes {
			if !taken[k] && c.After <= l.Fitted && l.Fitted <= c.Before {
				taken[k], found = true, true
				break
			}
		}
		if found || seenBetween(a, part, lives[i-1].Fitted, l.Fitted) && seenBetween(a, part, l.Fitted, min(asOf, l.Removed-1)) {
			r.scores.found.add(FoundChanges, model, found)
		}
	}
	for _, ok := range taken {
		r.scores.found.add(TrueChanges, model, ok)
		if !ok && inspections > 0 {
			r.scores.found[detectKey{FalseChanges, model}][0]++
		}
	}
}

// changesOf returns the changes of a part by day, those that models tell for
// each position joined.
func changesOf(all []Change, part Part) []Change {
	var out []Change
	sorted := slices.Clone(all)
	slices.SortStableFunc(sorted, func(a, b Change) int { return cmp.Compare(a.After, b.After) })
	for _, c := range sorted {
		if n := len(out); n > 0 && c.Part == part && c.After < out[n-1].Before {
			out[n-1].Before = max(out[n-1].Before, c.Before)
		} else if c.Part == part {
			out = append(out, c)
		}
	}
	return out
}

// measuredOn returns the days on which a part was measured, ascending.
func measuredOn(a *Axle, part Part) []Day {
	var out []Day
	for i := range a.Readings {
		if x := &a.Readings[i]; x.Pos.Part == part && !x.Tripped {
			out = append(out, x.Day)
		}
	}
	slices.Sort(out)
	return out
}

// seenBetween says whether a part was measured after one day and up to another.
func seenBetween(a *Axle, part Part, after, until Day) bool {
	days := measuredOn(a, part)
	i, _ := slices.BinarySearch(days, after+1)
	return i < len(days) && days[i] <= until
}

// scoreOdometer counts what was done about odometer values wrongly written and
// about changed clusters, up to a day.
func (r *replay) scoreOdometer(asOf Day) {
	t := trackOf(r.v, asOf)
	perDay := t.mean
	if n := len(r.truth.Path); n > 1 && r.truth.Path[n-1].Day > r.truth.Path[0].Day {
		perDay = (r.truth.Path[n-1].Km - r.truth.Path[0].Km) / daysBetween(r.truth.Path[0].Day, r.truth.Path[n-1].Day)
	}
	all := odometerOf(r.v, asOf)
	slices.SortFunc(all, func(a, b Odometer) int { return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Km, b.Km)) })
	all = slices.Compact(all)
	typo := make([]*OdometerTypo, len(all))
	for i, o := range all {
		k := slices.IndexFunc(r.truth.Faults.Odometer, func(f OdometerTypo) bool {
			return f.Day == o.Day && math.Abs(f.Written-o.Km) < .1
		})
		if k >= 0 {
			typo[i] = &r.truth.Faults.Odometer[k]
		}
	}
	found := r.scores.found
	for i, o := range all {
		aside := slices.ContainsFunc(t.Dropped, func(d DroppedOdometer) bool { return d.Odometer == o })
		if typo[i] == nil {
			found.add(SetGood, "", aside)
			continue
		}
		found.add(SetTypos, "", aside)
		found.add(SmallTypos, "", math.Abs(o.Km-typo[i].Meant) < perDay)
		// The good readings next to it, on the scale of its own dashboard.
		fits := true
		top := max(minTopKmPerDay, topOverMedian*perDay)
		for _, step := range [2]int{-1, 1} {
			k := i + step
			for k >= 0 && k < len(all) && (typo[k] != nil || all[k].Day == o.Day) {
				k += step
			}
			if k < 0 || k >= len(all) {
				continue
			}
			dkm := float64(step) * (all[k].Km + r.truth.shift(all[k].Day) - o.Km - r.truth.shift(o.Day))
			days := math.Abs(daysBetween(o.Day, all[k].Day))
			fits = fits && dkm >= 0 && dkm <= top*days+slackKm
		}
		if !fits {
			found.add(SetPlainTypos, "", aside)
		}
	}
	// A swap is believed once for each change of the true shift within it.
	taken := make([]bool, len(t.Swaps))
	for _, s := range r.truth.Shifts {
		hit := false
		for k, x := range t.Swaps {
			if !taken[k] && x.After < s.Day && s.Day <= x.Before {
				taken[k], hit = true, true
				break
			}
		}
		before := slices.ContainsFunc(all, func(o Odometer) bool { return o.Day < s.Day })
		after := slices.ContainsFunc(all, func(o Odometer) bool { return o.Day >= s.Day })
		if before && after {
			found.add(FoundClusters, "", hit)
		}
	}
	for _, ok := range taken {
		found.add(FalseClusters, "", !ok)
	}
}
