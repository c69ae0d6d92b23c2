package findings

import (
	"fmt"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// odometerFindings says which odometer readings were not taken as they stand.
func odometerFindings(v *Vehicle, track forecast.Track) []fleet.Finding {
	var fs []fleet.Finding
	for _, d := range track.Dropped {
		day, x := fleet.Date(d.Odometer.Day), d.Odometer.Km
		f := fleet.Finding{
			Subject: fmt.Sprintf("%s/%g", day, x),
			Source:  "distance driven in the time",
			Record:  v.shown(d.Odometer),
		}
		expected := ""
		if e := track.Shown(d.Odometer.Day); e >= 0 {
			expected = "; " + about(e) + " were to be expected"
		}
		switch d.Flaw {
		case forecast.InMiles:
			continue // below
		case forecast.BelowEarlier:
			f.Kind = fleet.OdometerBack
		default:
			f.Kind = fleet.OdometerJump
		}
		f.Seen = fmt.Sprintf("Odometer: %s on %s is %s%s. It is not used.", km(x), on(day), d.Why, expected)
		f.Advice = "Look it up where it was written down, or read the odometer again; then correct it or set it aside."
		fs = append(fs, f)
	}
	fs = append(fs, milesFindings(v, track)...)
	for _, s := range track.Swaps {
		if s.Declared {
			continue
		}
		after, before := fleet.Date(s.After), fleet.Date(s.Before)
		fs = append(fs, fleet.Finding{
			Kind:    fleet.OdometerSwap,
			Subject: fmt.Sprintf("%s/%s", after, before),
			Seen: fmt.Sprintf("Odometer: it went on from %s on %s to %s on %s. Taken as an instrument that was changed or run back; the distance driven goes on.",
				km(s.From), on(after), km(s.To), on(before)),
			Advice: "Ask whether the instrument was changed. If it was, take it in with its old and new value; if not, correct the readings that are wrong.",
			Source: "distance driven in the time",
			Record: v.shown(forecast.Odometer{Day: s.Before, Km: s.To}),
		})
	}
	return fs
}

// milesFindings tells the runs of readings that look like miles, one finding
// each: a feed in miles would fill the list.
func milesFindings(v *Vehicle, track forecast.Track) []fleet.Finding {
	miles := map[forecast.Odometer]bool{}
	dropped := map[forecast.Odometer]bool{}
	for _, d := range track.Dropped {
		miles[d.Odometer] = d.Flaw == forecast.InMiles
		dropped[d.Odometer] = true
	}
	os := slices.Clone(v.Known.Odometer)
	slices.SortFunc(os, func(a, b forecast.Odometer) int { return int(a.Day) - int(b.Day) })
	os = slices.Compact(os)
	var fs []fleet.Finding
	var run []forecast.Odometer
	end := func() {
		if len(run) == 0 {
			return
		}
		first, last := run[0], run[len(run)-1]
		what := fmt.Sprintf("%s on %s looks", km(first.Km), on(fleet.Date(first.Day)))
		counts := "counts"
		if len(run) > 1 {
			what = fmt.Sprintf("%d readings from %s to %s look", len(run), on(fleet.Date(first.Day)), on(fleet.Date(last.Day)))
			counts = "count"
		}
		fs = append(fs, fleet.Finding{
			Kind:    fleet.OdometerMiles,
			Subject: fleet.Date(first.Day).String(),
			Seen:    fmt.Sprintf("Odometer: %s like miles, and %s 1.609 times as much.", what, counts),
			Advice:  "Check the unit that the instrument shows, and correct what was entered as km.",
			Source:  "distance driven in the time",
			Record:  v.shown(first),
		})
		run = run[:0]
	}
	for _, o := range os {
		switch {
		case miles[o]:
			run = append(run, o)
		case !dropped[o]:
			end()
		}
	}
	end()
	return fs
}

// shown returns the record that an odometer value stands in.
func (v *Vehicle) shown(o forecast.Odometer) fleet.Record {
	day := fleet.Date(o.Day)
	for _, x := range v.Odometers {
		if x.Date == day && x.Km == o.Km {
			return fleet.Record{Kind: fleet.OdometerRecord, ID: x.ID}
		}
	}
	for _, x := range v.Readings {
		if x.Date == day && x.OdometerKm != nil && *x.OdometerKm == o.Km {
			return fleet.Record{Kind: fleet.ReadingRecord, ID: x.ID}
		}
	}
	for _, x := range v.Fitments {
		if x.Date == day && x.OdometerKm != nil && *x.OdometerKm == o.Km {
			return fleet.Record{Kind: fleet.FitmentRecord, ID: x.ID}
		}
	}
	return fleet.Record{}
}
