package dashboard

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// outlook is an axle's forecast in sentences.
type outlook struct {
	verdict Verdict
	says    []string
	basis   []string
}

// limitDates returns the 10 %, 50 % and 90 % limit dates; nil where one is
// not known or beyond the horizon.
func limitDates(c forecast.Crossing, asOf forecast.Day) (p10, p50, p90 *fleet.Date) {
	at := func(p float64) *fleet.Date { return pipeline.DateWithin(c.Day.Quantile(p), asOf) }
	return at(.1), at(.5), at(.9)
}

func outlookOf(tell units.Reader, f *store.AxleForecast, today fleet.Date) outlook {
	p10, p50, p90 := limitDates(f.Crossing, f.AsOf)
	o := outlook{verdict: verdict(tell, f.BookBy, p10, p50, p90, f.PastLimit, f.Warnings, today)}
	if f.Limiting < 0 || f.Limiting >= len(f.Positions) {
		o.says = []string{"No position of this axle has both a limit and something to forecast from."}
		return o
	}
	q := &f.Positions[f.Limiting]
	o.says = append(o.says, fmt.Sprintf("The %s is most likely to be first: %s now (estimated), limit %s.", within(q.Pos), tell.Thickness(string(q.Pos.Part), q.ThicknessMM), tell.Exactly(string(q.Pos.Part), q.Spec.Limit)))
	when := capital(limitWords(tell, p10, p50, p90, today))
	if left := f.Crossing.Km.Quantile(.5) - f.OdometerKm; units.IsNumber(left) && left > 0 {
		when += ", after about " + tell.DistanceAbout(left) + " more"
	}
	o.says = append(o.says, when+". The interval holds with "+percent(.8)+" chance.")
	if f.BookBy != nil && !f.PastLimit {
		o.says = append(o.says, fmt.Sprintf("Up to %s the chance of being past the limit is below %s: the book-by date.", tell.Day(*f.BookBy), percent(f.Risk)))
	}
	o.basis = basisOf(tell, f, q)
	return o
}

// basisOf says what a forecast rests on, for people to judge it.
func basisOf(tell units.Reader, f *store.AxleForecast, q *forecast.PositionForecast) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	b := &f.Basis
	since := ""
	if q.Since != 0 {
		since = " since the parts were fitted on " + tell.Day(fleet.Date(q.Since))
		if !q.SinceKnown {
			since = " since " + tell.Day(fleet.Date(q.Since)) + " (nobody recorded when the parts were fitted)"
		}
	}
	own := 0 // the other parts may have been on for years
	for i := range f.Positions {
		if p := &f.Positions[i]; p.Pos.Part == q.Pos.Part {
			own += p.Readings
		}
	}
	others := ""
	if n := f.Readings - own; n > 0 {
		others = fmt.Sprintf(", and %s of its other parts", count(n))
	}
	say("%s of this axle’s %ss%s%s.", plural(own, "reading", "readings"), q.Pos.Part, since, others)
	if units.IsNumber(q.RatePer10000) {
		part := string(q.Pos.Part)
		rate := "Wears " + tell.Rate(part, q.RatePer10000) + " " + tell.WearUnit()
		if units.IsNumber(b.RateRatio) && b.RateRatio > 0 && b.PeerRate > 0 {
			rate += fmt.Sprintf(", %s similar vehicles do (%s %s)", ratio(b.RateRatio), tell.Rate(part, b.PeerRate), tell.ThicknessUnit())
		}
		say("%s.", rate)
	}
	if f.KmPerDay > 0 {
		say("Drives about %s a day.", tell.Distance(f.KmPerDay))
	}
	if s := shares(b); s != "" {
		say("How uncertain the date is comes from %s.", s)
	}
	if is, would := spanBeside(b.Width80Days, b.Width80IfMeasured), span(b.Width80IfMeasured); b.Width80IfMeasured > 0 && b.Width80Days > b.Width80IfMeasured && is != would {
		say("Measured today, the window would narrow from %s to about %s.", is, would)
	}
	for _, s := range b.SetAside {
		say("Set aside: %s, %s on %s: %s.", within(s.Reading.Pos), tell.Thickness(string(s.Reading.Pos.Part), s.Reading.MM), tell.Day(fleet.Date(s.Reading.Day)), tell.Text(s.Why, fleet.Date(s.Reading.Day)))
	}
	for _, ch := range b.Changes {
		part := strings.TrimSpace(ch.Side + " " + string(ch.Part))
		say("New %ss seem to have been fitted between %s and %s, though nobody recorded it (chance %s).", part,
			tell.Day(fleet.Date(ch.After)), tell.Day(fleet.Date(ch.Before)), percent(ch.Chance))
	}
	say("Forecast by the model “%s” as of %s.", f.Model, tell.Day(fleet.Date(f.AsOf)))
	return out
}

// ratio puts a wear rate against that of others into words.
func ratio(x float64) string {
	switch {
	case x >= .95 && x <= 1.05:
		return "as fast as"
	case x > 1:
		return fmt.Sprintf("%.1f times as fast as", x)
	}
	return percent(math.Round(100*x)/100) + " of what"
}

// worthNaming is the least share of the uncertainty that is worth a word.
const worthNaming = .05

// shares names where the uncertainty of the limit day comes from, the largest
// first.
func shares(b *forecast.Basis) string {
	type share struct {
		of   float64
		name string
	}
	all := []share{
		{b.ShareWear, "the wear rate"},
		{b.ShareUsage, "the distance driven"},
		{b.ShareGauge, "the gauge"},
		{b.ShareStart, "the thickness it began with"},
	}
	slices.SortStableFunc(all, func(x, y share) int { return cmp.Compare(y.of, x.of) })
	var words []string
	for _, s := range all {
		if s.of >= worthNaming {
			words = append(words, fmt.Sprintf("%s (%s)", s.name, percent(math.Round(100*s.of)/100)))
		}
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
