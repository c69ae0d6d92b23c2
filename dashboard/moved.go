package dashboard

import (
	"fmt"
	"math"
	"slices"
	"time"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// Moved says how an axle's limit date moved since an earlier forecast, and why.
type Moved struct {
	Since string
	Says  string
	Why   []string
}

const (
	// movedBack is how many days back news count: what was measured before that is
	// no news, and a month is what the overview compares with.
	movedBack = store.TrendDays
	// movedSlack is how much older the forecast before them may be: one is logged
	// every week, and this bridges a refit that failed.
	movedSlack = 14
	// movedShare is from which share on a wear rate or a distance per day differs:
	// less is the forecast breathing. Judgement.
	movedShare = .03
)

// movedOf compares an axle's forecast with one before: the last that did not know what
// was measured, fitted or corrected since; where there was none of that within a month,
// with the one of a month ago. ls are those in the log, newest first; corrected is when
// a value of the axle, or of the odometer, was corrected or set aside. It is nil where
// nothing can be compared.
func movedOf(tell units.Reader, f *store.AxleForecast, ls []store.Logged, readings []fleet.Reading, corrected []time.Time, today fleet.Date) *Moved {
	if f.Limiting < 0 || f.Limiting >= len(f.Positions) {
		return nil
	}
	var was *store.Logged
	known := today // day of the oldest forecast that knows all of it
	for i := range ls {
		l := &ls[i]
		if l.Axle != f.Axle || l.AsOf > fleet.Date(f.AsOf) || !l.PastLimit && !units.IsNumber(l.DayAtLimit) {
			continue // of another, or it said nothing
		}
		after := func(at time.Time) bool { return at.After(l.LoggedAt) }
		if l.Readings != f.Readings || measuredSince(readings, f, l) != 0 || slices.ContainsFunc(corrected, after) {
			if known >= today-movedBack {
				was = l
			}
			break
		}
		known = l.AsOf
		if l.AsOf >= today-movedBack && l.AsOf <= today-logged {
			was = l // the oldest of these stays
		}
	}
	if was == nil {
		return nil
	}
	if was.Readings == 0 && !f.Positions[f.Limiting].SinceKnown {
		return nil // before anything was known of what is on
	}
	m := &Moved{Since: tell.DayNear(was.AsOf, today)}
	before := pipeline.DateWithin(was.DayAtLimit, forecast.Day(was.AsOf))
	_, now, _ := limitDates(f.Crossing, f.AsOf)
	switch {
	case was.PastLimit && f.PastLimit, !was.PastLimit && before == nil, !f.PastLimit && now == nil:
		return nil
	case was.PastLimit:
		m.Says = "It was at or past its limit then; that is likely on " + tell.Day(*now) + " now."
	case f.PastLimit:
		m.Says = "Its limit was likely on " + tell.Day(*before) + " then; it is at or past it now."
	case *now == *before:
		m.Says = "Its limit was likely on " + tell.Day(*before) + " then, and still is."
	default:
		m.Says = "Its limit was likely on " + tell.Day(*before) + " then, and is on " + tell.Day(*now) + " now: " + later(float64(*now-*before)) + "."
	}
	m.Why = movedWhy(tell, f, was, readings, corrected, today)
	return m
}

// measuredSince is the last day on which an axle was measured after a forecast of it
// before; 0 = none. What was measured on that forecast's own day it may have known: only
// where fewer readings counted did it not. With fewer now, something was set aside, or a
// part is new.
func measuredSince(readings []fleet.Reading, f *store.AxleForecast, was *store.Logged) (newest fleet.Date) {
	for i := range readings {
		r := &readings[i]
		if r.Position.Axle == f.Axle && r.Date <= fleet.Date(f.AsOf) && (r.Date > was.AsOf || r.Date == was.AsOf && f.Readings > was.Readings) {
			newest = max(newest, r.Date)
		}
	}
	return newest
}

// addMoved says of each axle how its limit date moved.
func addMoved(tell units.Reader, p *VehiclePage, fs []store.AxleForecast, x *vehicleRead, today fleet.Date) {
	for i := range fs {
		k := slices.IndexFunc(p.Axles, func(a AxleView) bool { return a.Number == fs[i].Axle })
		if k < 0 {
			continue
		}
		var corrected []time.Time
		note := func(axle int, a *fleet.Aside) {
			if a != nil && (axle == 0 || axle == fs[i].Axle) {
				corrected = append(corrected, a.At)
			}
		}
		for _, r := range x.old.Readings {
			note(r.Position.Axle, r.Aside)
		}
		for _, r := range x.old.Fitments {
			note(r.Position.Axle, r.Aside)
		}
		for _, r := range x.old.Odometers {
			note(0, r.Aside)
		}
		slices.SortFunc(corrected, func(a, b time.Time) int { return b.Compare(a) })
		p.Axles[k].Moved = movedOf(tell, &fs[i], x.logged, x.h.Readings, corrected, today)
	}
}

// logged is how many days old a forecast must be to be compared with, where nothing
// was measured since: the log has one a week.
const logged = 7

// later says a number of days as a shift.
func later(days float64) string {
	word := "later"
	if days < 0 {
		word = "sooner"
	}
	return plural(int(math.Round(math.Abs(days))), "day", "days") + " " + word
}

// movedWhy says what is different from a forecast before.
func movedWhy(tell units.Reader, f *store.AxleForecast, was *store.Logged, readings []fleet.Reading, corrected []time.Time, today fleet.Date) (why []string) {
	q := &f.Positions[f.Limiting]
	part := string(q.Pos.Part)
	if q.Readings+was.Readings > 0 && fleet.Date(q.Since) >= was.AsOf {
		on := "on "
		if !q.SinceKnown {
			on = "by " // as the readings show
		}
		return []string{"The parts were changed " + on + tell.DayNear(fleet.Date(q.Since), today) + ": the forecast then was of the ones before."}
	}
	i := slices.IndexFunc(corrected, func(at time.Time) bool { return at.After(was.LoggedAt) })
	if i >= 0 {
		why = append(why, "A value was corrected or set aside on "+tell.DayAt(corrected[i])+".")
	}
	same := was.Part == fleet.Part(q.Pos.Part)
	if !same && was.Part != "" {
		why = append(why, fmt.Sprintf("The %s was to be first then, the %s is now.", was.Part, part))
	}
	if same && units.IsNumber(was.LimitMM) && math.Abs(was.LimitMM-q.Spec.Limit) > 1e-9 {
		why = append(why, "Its limit is "+tell.Exactly(part, q.Spec.Limit)+" now, and was "+tell.Exactly(part, was.LimitMM)+".")
	}
	if was.Model != f.Model {
		why = append(why, "It was forecast by the model “"+was.Model+"” then.")
	}
	fresh := ""
	switch newest := measuredSince(readings, f, was); {
	case newest != 0:
		fresh = "New readings of " + tell.DayNear(newest, today)
	case f.Readings > was.Readings:
		fresh = "New readings" // entered late
	}
	// How worn it is beside what it was expected to be by now.
	grows := 1.
	if q.Spec.New < q.Spec.Limit {
		grows = -1
	}
	driven := f.OdometerKm - was.OdometerKm
	worn := grows*(was.ThicknessMM-q.ThicknessMM) - was.Rate*driven/10000
	switch {
	case fresh == "":
	case !same || !units.IsNumber(worn):
		why = append(why, fresh+".")
	case math.Abs(worn) < .05:
		why = append(why, fresh+": as worn as was expected.")
	default:
		more := "more"
		if worn < 0 {
			more = "less"
		}
		why = append(why, fresh+": "+tell.Thickness(part, math.Abs(worn))+" "+more+" worn than was expected.")
	}
	if same && q.RatePer10000 > 0 && math.Abs(q.RatePer10000/was.Rate-1) >= movedShare {
		s := "It wears " + tell.Rate(part, q.RatePer10000) + " " + tell.WearUnit() + ", and " + tell.Rate(part, was.Rate) + " was expected"
		if fresh == "" && i < 0 && f.Readings == was.Readings {
			s += ": learned from other axles and vehicles"
		}
		why = append(why, s+".")
	}
	// The shift is that of the odometer at the limit, at the distance per day of now,
	// and for the rest that of the distance per day.
	at, on := f.Crossing.Km.Quantile(.5), f.Crossing.Day.Quantile(.5)
	perDay, expected := (at-f.OdometerKm)/(on-float64(f.AsOf)), (was.KmAtLimit-was.OdometerKm)/(was.DayAtLimit-float64(was.AsOf))
	if !(perDay > 0 && expected > 0) || math.IsInf(perDay, 0) || math.IsInf(expected, 0) || was.PastLimit || f.PastLimit {
		return why
	}
	byWear := (at - was.KmAtLimit) / perDay
	if byDistance := on - was.DayAtLimit - byWear; math.Abs(perDay/expected-1) >= movedShare && math.Abs(byDistance) >= 1 {
		if math.Abs(byWear) >= 1 {
			word := "more"
			if byWear < 0 {
				word = "less"
			}
			why = append(why, "By wear alone it lasts "+tell.DistanceAbout(math.Abs(at-was.KmAtLimit))+" "+word+": "+later(byWear)+".")
		}
		why = append(why, "It is driven "+tell.Distance(perDay)+" a day until then, and "+tell.Distance(expected)+" was expected: "+later(byDistance)+".")
	}
	return why
}
