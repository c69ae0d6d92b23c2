package findings

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/units"
)

// Vehicle is all that is known of one vehicle, as the store and as the
// forecast have it.
type Vehicle struct {
	fleet.Vehicle
	Axles      []fleet.Axle
	Limits     []fleet.AxleLimit // the workshop's own
	Odometers  []fleet.Odometer  // by date, as the rest
	Readings   []fleet.Reading
	Fitments   []fleet.Fitment
	Conditions []fleet.Condition
	Rotors     []fleet.RotorMeasure
	BrakeTests []fleet.BrakeTest // in the order they were done

	Model     forecast.Model
	Known     *forecast.Vehicle // the same in the forecast's terms
	Forecasts []*forecast.AxleForecast

	Rules      *rules.Set
	Thresholds rules.Thresholds
}

// Of returns the findings of v, in the order of their axles, kinds and
// subjects. Each subject comes once a kind.
func Of(v *Vehicle) []fleet.Finding {
	track := forecast.CleanOdometer(v.Known.Odometer, v.Known.Swaps...)
	fs := append(odometerFindings(v, track), brakeTestFindings(v)...)
	for i := range v.Axles {
		a := axleOf(v, &v.Axles[i])
		for _, of := range []func() []fleet.Finding{
			a.pastStamped, a.variation, a.runout, a.unevenPads, a.taper, a.ticked,
			a.doubted, a.disagreeing,
			func() []fleet.Finding { return a.unevenSides(track) },
			func() []fleet.Finding { return a.changes(track) },
		} {
			fs = append(fs, of()...)
		}
	}
	// The ends of one pad disagree, and so would its readings.
	fs = slices.DeleteFunc(fs, func(f fleet.Finding) bool {
		return f.Kind == fleet.Disagrees && slices.ContainsFunc(fs, func(o fleet.Finding) bool {
			return o.Kind == fleet.TaperedPad && o.Position == f.Position
		})
	})
	for i := range fs {
		fs[i].VehicleID = v.ID
	}
	order := func(a, b fleet.Finding) int {
		return cmp.Or(
			cmp.Compare(a.Position.Axle, b.Position.Axle),
			cmp.Compare(slices.Index(kinds, a.Kind), slices.Index(kinds, b.Kind)),
			cmp.Compare(a.Subject, b.Subject))
	}
	slices.SortStableFunc(fs, order)
	return slices.CompactFunc(fs, func(a, b fleet.Finding) bool { return order(a, b) == 0 })
}

var kinds = fleet.FindingKinds()

// axle is one axle with what was measured on it.
type axle struct {
	*fleet.Axle
	v        *Vehicle
	readings []*fleet.Reading
	fitments []*fleet.Fitment
	forecast *forecast.AxleForecast // nil when there is none
	known    *forecast.Axle
}

func axleOf(v *Vehicle, x *fleet.Axle) axle {
	a := axle{Axle: x, v: v}
	for i := range v.Readings {
		if v.Readings[i].Position.Axle == x.Number {
			a.readings = append(a.readings, &v.Readings[i])
		}
	}
	for i := range v.Fitments {
		if v.Fitments[i].Position.Axle == x.Number {
			a.fitments = append(a.fitments, &v.Fitments[i])
		}
	}
	for _, f := range v.Forecasts {
		if f.Axle == x.Number {
			a.forecast = f
		}
	}
	for i := range v.Known.Axles {
		if v.Known.Axles[i].Number == x.Number {
			a.known = &v.Known.Axles[i]
		}
	}
	return a
}

// onNow says whether a reading is of a part that is still on the axle, by the
// fitments recorded and the changes that the forecast found. What was read on
// the day of a fitment may be of either part, and counts for neither.
func (a *axle) onNow(r *fleet.Reading) bool {
	for _, f := range a.fitments {
		if f.Date >= r.Date && overlap(f.Position, r.Position) {
			return false
		}
	}
	if a.forecast == nil {
		return true
	}
	return !slices.ContainsFunc(a.forecast.Basis.Changes, func(c forecast.Change) bool {
		return fleet.Part(c.Part) == r.Position.Part && fleet.Date(c.Before) > r.Date &&
			(c.Side == "" || r.Position.Side == "" || fleet.Side(c.Side) == r.Position.Side)
	})
}

// overlap says whether two positions of an axle cover some same place.
func overlap(p, q fleet.Position) bool {
	return p.Part == q.Part &&
		(p.Side == q.Side || p.Side == "" || q.Side == "") &&
		(p.Face == q.Face || p.Face == "" || q.Face == "")
}

// is says whether a forecast's reading is r.
func is(r *fleet.Reading, x *forecast.Reading) bool {
	return forecast.Day(r.Date) == x.Day && r.MM == x.MM && r.Tripped == x.Tripped &&
		string(r.Position.Part) == string(x.Pos.Part) && string(r.Position.Side) == x.Pos.Side && string(r.Position.Face) == x.Pos.Face
}

// used says whether the forecast went by r: it is neither set aside nor
// doubted.
func (a *axle) used(r *fleet.Reading) bool {
	if a.forecast == nil {
		return true
	}
	return !a.doubts(r) && !slices.ContainsFunc(a.forecast.Basis.SetAside, func(s forecast.SetAside) bool { return is(r, &s.Reading) })
}

// doubts says whether r is a thin reading that may be true or not.
func (a *axle) doubts(r *fleet.Reading) bool {
	return a.forecast != nil && slices.ContainsFunc(a.forecast.Basis.Doubted, func(x forecast.Reading) bool { return is(r, &x) })
}

// last returns the readings at p of the last day with any that admit; none
// when there is no such day.
func (a *axle) last(admit func(*fleet.Reading) bool) []*fleet.Reading {
	var out []*fleet.Reading
	for _, r := range a.readings { // by date
		if !admit(r) {
			continue
		}
		if len(out) > 0 && out[0].Date != r.Date {
			out = out[:0]
		}
		out = append(out, r)
	}
	return out
}

// finding begins a finding at a position of an axle.
func finding(k fleet.FindingKind, p fleet.Position, subject string) fleet.Finding {
	return fleet.Finding{Kind: k, Position: p, Subject: subject}
}

func capital(s string) string {
	if s == "" || s[0] < 'a' || s[0] > 'z' {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}

// on is a day in words.
func on(d fleet.Date) string { return d.Written() }

// km is a distance in words: 25,200 km.
func km(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "an unknown number of km"
	}
	return units.Thousands(int64(math.Round(x))) + " km"
}

// about rounds a distance to what can be told of it.
func about(x float64) string { return "about " + km(math.Round(x/100)*100) }

// mm is a length in words, no more exact than it is.
func mm(x float64) string { return rules.Short(x) + " mm" }

// apart is a difference of lengths, free of the noise of binary arithmetic.
func apart(x, y float64) float64 { return math.Round(math.Abs(x-y)*1e4) / 1e4 }

func subject(p fleet.Position, more ...any) string {
	s := fmt.Sprintf("%d/%s/%s/%s", p.Axle, p.Part, p.Side, p.Face)
	for _, m := range more {
		s += fmt.Sprintf("/%v", m)
	}
	return s
}
