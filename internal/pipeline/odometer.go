package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// odometerDoubt is an odometer value that is not taken as it stands: the
// distance that forecasts count on does without it, but where it begins a new
// level or a run of readings is in miles.
type odometerDoubt struct {
	date fleet.Date
	km   float64 // as entered
	text string  // what is wrong and what to do
}

// odometerDoubts returns what is in doubt of odometer values, by date.
func odometerDoubts(os []forecast.Odometer, swaps []forecast.DeclaredSwap) []odometerDoubt {
	t := forecast.CleanOdometer(os, swaps...)
	e := explainer{track: t}
	aside := make(map[forecast.Odometer]bool, len(t.Dropped))
	for _, d := range t.Dropped {
		aside[d.Odometer] = true
	}
	for _, o := range os {
		if !aside[o] {
			e.kept = append(e.kept, o)
		}
	}
	slices.SortStableFunc(e.kept, func(a, b forecast.Odometer) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Km, b.Km))
	})
	var out []odometerDoubt
	add := func(o forecast.Odometer, text string) {
		out = append(out, odometerDoubt{fleet.Date(o.Day), o.Km, text})
	}
	for _, d := range t.Dropped {
		add(d.Odometer, e.explain(d))
	}
	for _, s := range t.Swaps {
		if !s.Declared {
			add(forecast.Odometer{Day: s.Before, Km: s.To}, fmt.Sprintf(
				"odometer goes on from %s, after %s on %s: if the instrument cluster was changed, hand this reading in again with previous_km, what the old one showed last; the distance counts on meanwhile",
				inKm(s.To), inKm(s.From), longDay(fleet.Date(s.After))))
		}
	}
	slices.SortStableFunc(out, func(a, b odometerDoubt) int { return cmp.Compare(a.date, b.date) })
	return out
}

// explainer puts what is wrong with an odometer value into words.
type explainer struct {
	track forecast.Track
	kept  []forecast.Odometer // by day
}

func (e *explainer) explain(d forecast.DroppedOdometer) string {
	o := d.Odometer
	if d.Flaw == forecast.InMiles {
		return milesText(o.Km)
	}
	if d.Flaw == forecast.BelowEarlier && e.track.Allows(o.Km*kmPerMile, o.Day) {
		return milesText(o.Km)
	}
	if d.Flaw != forecast.BelowEarlier && e.track.Allows(o.Km/kmPerMile, o.Day) && wholeMiles(o.Km) {
		return fmt.Sprintf("odometer looks like kilometres taken for miles: %s would fit; correct the unit in the header", inKm(o.Km/kmPerMile))
	}
	switch d.Flaw {
	case forecast.BelowEarlier:
		if n := e.earlier(o, func(k forecast.Odometer) bool { return k.Km > o.Km }); n != nil {
			return fmt.Sprintf("odometer below the reading of %s (%s): one of the two is wrong; if the instrument cluster was changed, give previous_km", longDay(fleet.Date(n.Day)), inKm(n.Km))
		}
		return "odometer below an earlier reading: correct it; if the instrument cluster was changed, give previous_km"
	case forecast.AboveLater:
		if n := e.later(o, func(k forecast.Odometer) bool { return k.Km < o.Km }); n != nil {
			return fmt.Sprintf("odometer above the later reading of %s (%s): one of the two is wrong", longDay(fleet.Date(n.Day)), inKm(n.Km))
		}
		return "odometer above a later reading: correct it"
	case forecast.TooFar:
		if n := e.earlier(o, func(forecast.Odometer) bool { return true }); n != nil {
			if n.Day == o.Day {
				return fmt.Sprintf("%s beside %s on one day, %s: more than this vehicle can have driven", inKm(o.Km), inKm(n.Km), longDay(fleet.Date(n.Day)))
			}
			return fmt.Sprintf("jump of %s in %s since %s: more than this vehicle can have driven", inKm(o.Km-n.Km), days(int(o.Day-n.Day)), longDay(fleet.Date(n.Day)))
		}
		return "odometer further than this vehicle can have driven: correct it"
	}
	return "odometer of no road vehicle shows that: correct it"
}

// wholeMiles says whether km is a whole number of miles or was converted from one:
// only then can its unit be mistaken.
func wholeMiles(km float64) bool {
	miles := km / kmPerMile
	return math.Abs(miles-math.Round(miles)) < .01
}

func milesText(entered float64) string {
	return fmt.Sprintf("odometer looks like miles entered as kilometres: %s miles are %s, which fits; hand it in with mi in the header", kmText(entered), inKm(entered*kmPerMile))
}

// earlier returns the last value kept of the same cluster on or before o's day
// that is as wanted, or nil.
func (e *explainer) earlier(o forecast.Odometer, want func(forecast.Odometer) bool) *forecast.Odometer {
	var since forecast.Day
	for _, s := range e.track.Swaps {
		if s.Before <= o.Day {
			since = max(since, s.Before)
		}
	}
	for i := len(e.kept) - 1; i >= 0; i-- {
		if k := &e.kept[i]; k.Day <= o.Day && k.Day >= since && want(*k) {
			return k
		}
	}
	return nil
}

// later is earlier for the days after.
func (e *explainer) later(o forecast.Odometer, want func(forecast.Odometer) bool) *forecast.Odometer {
	for i := range e.kept {
		k := &e.kept[i]
		if k.Day < o.Day {
			continue
		}
		for _, s := range e.track.Swaps {
			if s.Before > o.Day && s.Before <= k.Day {
				return nil
			}
		}
		if want(*k) {
			return k
		}
	}
	return nil
}
