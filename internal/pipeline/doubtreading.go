package pipeline

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// dayRows are the rows of one day: fresh[first:end].
type dayRows struct {
	first, end int
	km         float64 // odometer; NaN = not read, or in doubt
	suspect    bool    // to be held against the model
}

// sight is what a reading shows without the model, in words.
type sight struct {
	odd  string // beside the readings before and after
	same string // another value of the same position and day
}

// look looks at the readings without the model, and returns how many days'
// readings are to be held against it.
func (j *judge) look() (suspect int) {
	j.mine = *j.known
	j.mine.Fitments = slices.Clip(j.known.Fitments)
	for i := range j.fresh {
		if c := &j.fresh[i]; c.kind == fitmentClaim {
			j.mine.Fitments = append(j.mine.Fitments, fleet.Fitment{
				Position: j.position(c), Date: c.day, MM: c.mm, OdometerKm: orNil(c.km),
			})
		}
	}
	j.trails = map[fleet.Position]trail{} // of places that are read in the file
	for i := range j.fresh {
		if c := &j.fresh[i]; c.kind == readingClaim {
			j.trails[j.position(c)] = nil
		}
	}
	for i := range j.known.Readings {
		r := &j.known.Readings[i]
		if t, ok := j.trails[r.Position]; ok && !r.Tripped {
			j.trails[r.Position] = append(t, spot{r.Date, r.MM, 0})
		}
	}
	j.sights = make([]sight, len(j.fresh))
	for i := 0; i < len(j.fresh); {
		d := dayRows{first: i, end: i, km: math.NaN()}
		for d.end < len(j.fresh) && j.fresh[d.end].day == j.fresh[i].day {
			d.end++
		}
		j.lookAt(&d)
		if d.suspect {
			suspect++
		}
		j.days = append(j.days, d)
		i = d.end
	}
	return suspect
}

func (j *judge) lookAt(d *dayRows) {
	for i := d.first; i < d.end; i++ {
		c := &j.fresh[i]
		if c.kind != readingClaim {
			continue
		}
		j.sights[i].odd = j.firstSight(c)
		d.suspect = d.suspect || j.all || j.sights[i].odd != ""
		if !math.IsNaN(c.km) && !j.doubly[odometerOf{c.day, c.km}] {
			d.km = c.km
		}
	}
	for i := d.first; i < d.end; i++ {
		c := &j.fresh[i]
		if c.kind != readingClaim || c.tripped {
			continue
		}
		j.sights[i].same = j.same(c)
		p := j.position(c)
		t := j.trails[p]
		j.trails[p] = slices.Insert(t, t.before(c.day+1), spot{c.day, c.mm, c.line})
	}
}

// readings judges the readings, day by day: those of the first suspect days, as
// many as are granted, by the model, and the others by what look saw.
func (j *judge) readings(granted int) {
	j.mine.Readings = slices.Clip(j.known.Readings) // which are copied once something follows
	j.mine.Odometers = slices.Clip(j.known.Odometers)
	for n, d := range j.days {
		if n > 0 {
			j.learn(j.days[n-1])
		}
		model := d.suspect && granted > 0
		if model {
			granted--
		}
		j.day(d, model)
	}
}

// learn counts the rows of a day among what is known.
func (j *judge) learn(d dayRows) {
	for i := d.first; i < d.end; i++ {
		switch c := &j.fresh[i]; c.kind {
		case odometerClaim:
			j.mine.Odometers = append(j.mine.Odometers, fleet.Odometer{Date: c.day, Km: c.km})
		case readingClaim:
			j.mine.Readings = append(j.mine.Readings, fleet.Reading{
				Position: j.position(c), Date: c.day, MM: c.mm, Tripped: c.tripped, OdometerKm: orNil(c.km),
			})
		}
	}
}

// trail is the readings of one position, by day.
type trail []spot

type spot struct {
	day  fleet.Date
	mm   float64
	line int32 // of the file; 0 = known before it
}

// before returns how many spots lie before a day.
func (t trail) before(d fleet.Date) int {
	i, _ := slices.BinarySearchFunc(t, d, func(s spot, d fleet.Date) int { return cmp.Compare(s.day, d) })
	return i
}

func orNil(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

// day judges the readings of one day.
func (j *judge) day(d dayRows, model bool) {
	var es []Expected
	if model {
		es = j.expected(d)
	}
	for i := d.first; i < d.end; i++ {
		c := &j.fresh[i]
		if c.kind != readingClaim || c.tripped {
			continue
		}
		p := j.position(c)
		if j.noSuchAxle(c, p) {
			continue
		}
		why := j.sights[i].same
		if why == "" {
			why = j.beyondNew(c)
		}
		if why == "" && model {
			if e, ok := expectedAt(es, p); ok {
				why = j.unlikely(c, &e)
			}
		} else if why == "" {
			why = j.sights[i].odd
		}
		if why != "" {
			j.doubt(c, "value_mm", gauged(c.mm), "%s: %s", p, why)
		}
	}
}

// expected is what the model makes of the parts that were read on a day.
func (j *judge) expected(d dayRows) []Expected {
	var read []forecast.AxlePart
	for i := d.first; i < d.end; i++ {
		c := &j.fresh[i]
		if c.kind != readingClaim || c.tripped {
			continue
		}
		p := j.position(c)
		if part := (forecast.AxlePart{Axle: p.Axle, Part: forecast.Part(p.Part)}); !slices.Contains(read, part) {
			read = append(read, part)
		}
	}
	if len(read) == 0 {
		return nil
	}
	return expected(j.model, &j.mine, j.fresh[d.first].day, orNil(d.km), read...)
}

// same finds another value of the same position and day.
func (j *judge) same(c *claim) string {
	t := j.trails[j.position(c)]
	i := t.before(c.day)
	switch {
	case i == len(t) || t[i].day != c.day:
		return ""
	case t[i].line > 0:
		return fmt.Sprintf("line %d has %s for the same position and day: correct or leave out one of them", t[i].line, inMM(t[i].mm))
	}
	return fmt.Sprintf("%s is on record for the same position and day: correct that one if this is right", inMM(t[i].mm))
}

// beyondNew finds a value less worn than the part can be.
func (j *judge) beyondNew(c *claim) string {
	p := j.position(c)
	a := j.axle(p.Axle)
	if a == nil {
		return ""
	}
	spec, ok := a.Specs[p.Part]
	if !ok || !lessWornThanNew(forecast.Spec{New: spec.New, Limit: spec.Limit}, c.mm) {
		return ""
	}
	return fmt.Sprintf("%s than new (%s): correct the value, or the axle's specification", lessWorn(p.Part), inMM(spec.New))
}

// unlikely says in words why a value lies outside the likely range, or "".
func (j *judge) unlikely(c *claim, e *Expected) string {
	if c.mm >= e.Low && c.mm <= e.High {
		return ""
	}
	p := j.position(c)
	if j.renewed(p, c.day-1, c.day) {
		return "" // the parts taken off, or those fitted: both may be meant
	}
	unworn := (c.mm > e.High) != p.Part.Grows()
	if unworn && e.LastMM != nil {
		return thickerText(p.Part, *e.LastMM, *e.LastDate)
	}
	by := "this vehicle's history makes"
	if e.LastMM == nil {
		by = "similar vehicles make"
	}
	low, high := likelyRange(c.mm, e.Low, e.High)
	return fmt.Sprintf("outside what %s likely (%s to %s on that day): measure again", by, mmText(low), inMM(high))
}

// likelyRange is the likely range as it is said to somebody whose value lies outside: in
// tenths or, where the value would seem to lie inside, with a digit more.
func likelyRange(mm, low, high float64) (float64, float64) {
	if l, h := tenths(low), tenths(high); mm < l || mm > h {
		return l, h
	}
	return math.Ceil(100*low) / 100, math.Floor(100*high) / 100
}

func thickerText(p fleet.Part, last float64, on fleet.Date) string {
	return fmt.Sprintf("%s than last time (%s on %s) and no job recorded: measure again, or record the parts fitted", lessWorn(p), inMM(last), longDay(on))
}

// renewed says whether parts were fitted at p after one day, up to another.
func (j *judge) renewed(p fleet.Position, after, upTo fleet.Date) bool {
	return slices.ContainsFunc(j.mine.Fitments, func(f fleet.Fitment) bool {
		return f.Date > after && f.Date <= upTo && overlap(f.Position, p)
	})
}

// overlap says whether both positions cover some same place.
func overlap(p, q fleet.Position) bool {
	return p.Axle == q.Axle && p.Part == q.Part &&
		(p.Side == q.Side || p.Side == "" || q.Side == "") &&
		(p.Face == q.Face || p.Face == "" || q.Face == "")
}

// Judgements about what is odd at first sight, for files too large to hold
// every visit against the model. They are wide: what passes for odd is looked
// at again.
const (
	oddRise = 1.2 // mm less worn than last time
	oddFall = 2.0 // mm more worn than at three times the pace before
	// mostMMPerDay is the wear of a heavy bus's pads at their worst: 6 mm in
	// 10,000 km (planning bands, as the forecast has them) at 500 km a day.
	mostMMPerDay = 0.3
)

// firstSight finds a value that does not go with the one before or the one
// after it at the same position.
func (j *judge) firstSight(c *claim) string {
	if c.tripped {
		return ""
	}
	p := j.position(c)
	t := j.trails[p]
	sense := 1.0
	if p.Part.Grows() {
		sense = -1
	}
	if i := t.before(c.day + 1); i < len(t) && sense*(t[i].mm-c.mm) > oddRise && !j.renewed(p, c.day, t[i].day) {
		return fmt.Sprintf("more worn than the later reading of %s (%s) and no job recorded between: measure again", longDay(t[i].day), inMM(t[i].mm))
	}
	n := t.before(c.day)
	if n == 0 || j.renewed(p, t[n-1].day-1, c.day) {
		return ""
	}
	last := t[n-1]
	worn := sense * (last.mm - c.mm)
	if worn < -oddRise {
		return thickerText(p.Part, last.mm, last.day)
	}
	first := n - 1 // of the same part
	for first > 0 && !j.renewed(p, t[first-1].day-1, t[first].day) {
		first--
	}
	gap := float64(c.day - last.day)
	pace := mostMMPerDay
	if since := float64(last.day - t[first].day); since > 0 {
		pace = min(pace, 3*max(0, sense*(t[first].mm-last.mm))/since)
	}
	if worn > oddFall+pace*gap {
		return fmt.Sprintf("after %s on %s that is more wear than %s can make: measure again", inMM(last.mm), longDay(last.day), days(int(gap)))
	}
	return ""
}

// expectedAt returns what is expected at a position. One that stands for
// several places is expected to show the most worn of them; one of several
// that are only read together may be less worn than they.
func expectedAt(es []Expected, p fleet.Position) (Expected, bool) {
	var out *Expected
	for i := range es {
		e := &es[i]
		if e.Position == p {
			return *e, true
		}
		if !overlap(e.Position, p) {
			continue
		}
		more := func(a, b float64) bool { return (a < b) != p.Part.Grows() }
		if out == nil || more(e.Median, out.Median) {
			out = e
		}
	}
	if out == nil {
		return Expected{}, false
	}
	e := *out
	if e.Position.Side == "" && p.Side != "" || e.Position.Face == "" && p.Face != "" {
		if p.Part.Grows() {
			e.Low = min(e.Low, e.Spec.New)
		} else {
			e.High = max(e.High, e.Spec.New)
		}
	}
	return e, true
}
