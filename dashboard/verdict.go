package dashboard

import (
	"slices"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Verdict is what to do with an axle, and by when.
type Verdict struct {
	Ask    string // what is asked: "book by"
	Strong string // the answer: "20 Mar"
	ISO    string // of the day, for machines; blank where the answer is none
	Why    string // in small beside it
	Urgent bool
}

// verdict says what to do. A forecast clears no axle that was last measured at
// or below its limit, or too long ago.
func verdict(tell units.Reader, bookBy, p10, p50, p90 *fleet.Date, past bool, warnings []forecast.Warning, today fleet.Date) Verdict {
	has := func(codes ...forecast.Code) bool {
		return slices.ContainsFunc(warnings, func(w forecast.Warning) bool { return slices.Contains(codes, w.Code) })
	}
	v := Verdict{Ask: "book by", Why: limitShort(tell, p10, p50, p90, today)}
	switch {
	case past:
		v = Verdict{Ask: "book", Strong: "now", Why: "at or past its limit", Urgent: true}
		for _, w := range warnings {
			if w.Code == forecast.PastLimit {
				v.Why = w.Text
			}
		}
	case bookBy != nil && *bookBy < today && has(forecast.NoReadings):
		// The plan books no new parts for parts that nobody measured.
		v.Ask, v.Strong = "measure", "now"
		v.Why = "was to be booked by " + tell.DayNear(*bookBy, today) + "; " + v.Why
	case bookBy != nil && *bookBy < today:
		v.Ask, v.Strong = "book", "now"
		v.Why = "was to be booked by " + tell.DayNear(*bookBy, today) + "; " + v.Why
	case has(forecast.Remeasure):
		v.Ask, v.Strong = "measure", "again"
		v.Why = "a thin reading disagrees"
		if bookBy != nil {
			v.Why += "; else book by " + tell.DayNear(*bookBy, today)
		}
	case has(forecast.OldReadings, forecast.NoReadings):
		v.Ask, v.Strong = "measure", "first"
		v.Why = "nothing recent to go by"
		if has(forecast.NoReadings) {
			v.Why = "nothing measured on these parts"
		}
		if bookBy != nil {
			v.Why += "; else book by " + tell.DayNear(*bookBy, today)
		}
	case bookBy == nil && p50 == nil:
		v.Strong, v.Why = "no date", "nothing to date it by"
		if has(forecast.UsageUnknown) {
			v.Why = "too few odometer readings for a date"
		}
	case bookBy == nil:
		v.Strong = "not in sight"
	default:
		v.Strong, v.ISO = tell.DayNear(*bookBy, today), bookBy.String()
	}
	return v
}

// limitShort is when the limit is reached, in the least words.
func limitShort(tell units.Reader, p10, p50, p90 *fleet.Date, today fleet.Date) string {
	near := func(d *fleet.Date) string { return tell.DayNear(*d, today) }
	switch {
	case p10 == nil:
		return "limit not in sight"
	case p90 != nil && *p90 <= today:
		return "limit most likely passed"
	case p50 == nil:
		return "limit not before " + near(p10)
	case p90 == nil:
		return "limit from " + near(p10) + ", likely " + near(p50)
	case *p10 <= today:
		return "limit by " + near(p90) + ", likely " + near(p50)
	}
	return "limit " + near(p10) + " – " + near(p90) + ", likely " + near(p50)
}

// warningWords are the warnings that the verdict does not say already.
func warningWords(tell units.Reader, ws []forecast.Warning, v Verdict, today fleet.Date) []string {
	var out []string
	for _, w := range ws {
		if text := tell.Text(w.Text, today); text != v.Why {
			out = append(out, capital(text))
		}
	}
	return out
}
