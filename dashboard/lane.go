package dashboard

import (
	"math"
	"strconv"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// Axis is the calendar that the wear lanes of a page share: from today on.
// Places on it are in percent of its length, so that a lane has any width.
type Axis struct {
	Today  fleet.Date
	Days   int
	Months []Tick // the first of each month
	Weeks  []Tick // every seventh day
}

// Tick is a place on the axis.
type Tick struct {
	X     string // percent
	Label string // blank where there is no room
}

// labelRoom is how much of the axis, in percent, a month's name needs on a
// phone.
const labelRoom = 13

func newAxis(today fleet.Date, days int) Axis {
	a := Axis{Today: today, Days: days}
	t := today.Time()
	last := 0. // "today" stands at the start
	for m := 1; ; m++ {
		d := fleet.NewDate(t.Year(), t.Month()+1, 1)
		t = d.Time()
		x := a.at(float64(d))
		if x > 100 {
			break
		}
		tick := Tick{X: pct(x)}
		if x-last >= labelRoom && x <= 100-labelRoom/2 {
			tick.Label = t.Format("Jan")
			if t.Month() == 1 {
				tick.Label = t.Format("Jan 2006")
			}
			last = x
		}
		a.Months = append(a.Months, tick)
	}
	if days <= 300 { // beyond, weeks would be a grey wall
		for d := 7; d < days; d += 7 {
			a.Weeks = append(a.Weeks, Tick{X: pct(a.at(float64(today) + float64(d)))})
		}
	}
	return a
}

// at returns where day stands, in percent; beyond the ends below 0 or over 100.
func (a Axis) at(day float64) float64 {
	return (day - float64(a.Today)) / float64(a.Days) * 100
}

func pct(x float64) string { return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64) + "%" }

// Lane is one axle on the axis: a lens from the 10 % to the 90 % limit date,
// widest at even odds, a notch at the book-by date, and a peg at the booking.
type Lane struct {
	Lens   bool
	X, W   string // of the lens
	Path   string // of the lens in a box of 100 by 40
	Median string // where the even odds are; blank off the axis
	Notch  string // where the book-by date is; blank off the axis
	Late   bool   // the book-by date has passed: the notch stands at today
	Past   bool   // past its limit: the lane is closed at today
	Level  int    // depth of wear, 1 to 5
	Peg    string // where the booking is; blank = none, or off the axis
	Off    string // what lies beyond the axis, in words
	Say    string // the lane in words
}

// passed is what a lane says of a limit that lies before today.
const passed = "passed by now, most likely"

// laneOf draws a row of the due-soon list.
func laneOf(tell units.Reader, a Axis, r *store.DueRow) Lane {
	l := Lane{Past: r.PastLimit, Level: wearLevel(r.ThicknessMM, r.NewMM, r.LimitMM)}
	l.Say = limitWords(tell, r.P10, r.P50, r.P90, a.Today)
	if r.BookBy != nil {
		x := a.at(float64(*r.BookBy))
		l.Late = x < 0
		if x <= 100 {
			l.Notch = pct(math.Max(0, x))
		}
		l.Say += "; book by " + tell.Day(*r.BookBy)
	}
	if r.P10 == nil {
		return l
	}
	lo := a.at(float64(*r.P10))
	if lo > 100 {
		l.Off = "from " + r.P10.Time().Format("Jan 2006")
		return l
	}
	// What is too far away to have a date lies well beyond the axis.
	far := math.Max(200, 2*lo)
	mid, hi := far, 2*far
	if r.P50 != nil {
		mid = math.Max(lo, a.at(float64(*r.P50)))
	}
	if r.P90 != nil {
		hi = math.Max(mid, a.at(float64(*r.P90)))
	} else if r.P50 != nil {
		hi = mid + 2*(mid-lo)
	}
	if hi <= 0 {
		l.Off = passed
		return l
	}
	l.Lens = true
	const least = .6 // percent: a lens is never too thin to be seen
	w := math.Max(hi-lo, least)
	l.X, l.W = pct(lo), pct(w)
	if mid >= 0 && mid <= 100 {
		l.Median = pct(mid)
	}
	l.Path = lens((mid - lo) / w * 100)
	return l
}

// withPeg returns the lane with the peg of a day that it is booked, or
// proposed, for.
func (l Lane) withPeg(tell units.Reader, a Axis, day fleet.Date, what string) Lane {
	if x := a.at(float64(day)); x >= 0 && x <= 100 {
		l.Peg = pct(x)
	}
	l.Say += "; " + what + " for " + tell.Day(day)
	return l
}

// lens is the outline of a lens in a box of 100 by 40 with its greatest width
// at m.
func lens(m float64) string {
	m = math.Min(math.Max(m, 1), 99)
	f := func(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }
	l1, l2 := f(m*.4), f(m*.8)
	r1, r2 := f(m+(100-m)*.2), f(m+(100-m)*.6)
	top := f(m)
	return "M0 20C" + l1 + " 16 " + l2 + " 4 " + top + " 4C" + r1 + " 4 " + r2 + " 16 100 20C" + r2 + " 24 " + r1 + " 36 " + top + " 36C" + l2 + " 36 " + l1 + " 24 0 20Z"
}

// wearLevels are the shares of the usable thickness below which the copper
// goes a shade deeper. They lie closer towards the limit, where the list's
// axles are and where telling them apart matters; the deepest is for at or
// past it.
var wearLevels = []float64{.5, .25, .1, 0}

// wearLevel is the depth of the copper: 1 for a new part, 5 for one at or past
// its limit.
func wearLevel(now, fresh, limit float64) int {
	left := leftOf(now, fresh, limit)
	level := 1
	for _, share := range wearLevels {
		if left < share || left == 0 {
			level++
		}
	}
	return level
}

// leftOf is the share of the usable thickness that is left, 0 to 1; NaN where
// it is not known. It holds for parts that grow as well.
func leftOf(now, fresh, limit float64) float64 {
	left := (now - limit) / (fresh - limit)
	if !units.IsNumber(left) {
		return math.NaN()
	}
	return math.Min(1, math.Max(0, left))
}

// limitWords says when the limit is reached.
func limitWords(tell units.Reader, p10, p50, p90 *fleet.Date, today fleet.Date) string {
	switch {
	case p10 == nil:
		return "limit date not in sight"
	case p90 != nil && *p90 <= today:
		return "limit most likely passed since " + tell.Day(*p10)
	case p50 == nil:
		return "limit not before " + tell.Day(*p10)
	case p90 == nil:
		return "limit from " + tell.Day(*p10) + ", even odds " + tell.Day(*p50)
	case *p10 <= today:
		return "limit by " + tell.Day(*p90) + ", even odds " + tell.Day(*p50) + ", possibly passed already"
	}
	return "limit between " + tell.Day(*p10) + " and " + tell.Day(*p90) + ", even odds " + tell.Day(*p50)
}
