package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strconv"

	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// A file of at most maxModelVisits visits has all of them held against the
// forecast model, at half a millisecond each: a sheet of a depot's month. Of a
// larger file those are that look odd at first sight, as far as maxOddVisits
// goes; first sight alone judges the rest.
const (
	maxModelVisits = 1000
	maxOddVisits   = 500
)

// doubts finds what is unlikely in the rows of a file, beside what is known of
// their vehicles before it, and returns at most ingest.MaxProblems of them
// with how many rows they concern. A row that is there already is in no doubt.
func (s *Service) doubts(ctx context.Context, sc auth.Scope, m forecast.Model, k *resolver, upload int64) (ps []fleet.Problem, rows int, err error) {
	c := &k.claims
	c.sort()
	ids, visits := c.vehicles()
	if len(ids) == 0 {
		return nil, 0, nil
	}
	g := judging{model: m, claims: c, all: visits <= maxModelVisits, left: maxModelVisits, turn: make(chan struct{}, runtime.GOMAXPROCS(0))}
	if !g.all {
		g.left = maxOddVisits
	}
	defer g.await()
	err = s.eachHistory(ctx, k, ids, func(h *store.History) error {
		without(h, upload, k.added)
		return g.vehicle(h, c.of(h.Vehicle.ID))
	})
	if err == nil {
		err = g.close(0)
	}
	if errors.Is(err, errEnough) {
		err = nil
		g.problems = append(g.problems, fleet.Problem{
			Message: fmt.Sprintf("there may be more doubtful rows than these %s: mend these first", kmText(float64(len(g.problems)))),
		})
	}
	if c.beyond > 0 {
		g.problems = append(g.problems, fleet.Problem{
			Line:    c.beyond,
			Message: fmt.Sprintf("from here on the rows were not looked at for doubts: more than %s rows; split the file to have them all looked at", kmText(maxClaims)),
		})
	}
	return g.problems, g.rows, err
}

// without takes out of h what came with an upload: where it is only tried, it
// is seen already.
func without(h *store.History, upload int64, axles map[store.AxleKey]bool) {
	h.Readings = slices.DeleteFunc(h.Readings, func(r fleet.Reading) bool { return r.UploadID == upload })
	h.Odometers = slices.DeleteFunc(h.Odometers, func(o fleet.Odometer) bool { return o.UploadID == upload })
	h.Swaps = slices.DeleteFunc(h.Swaps, func(s fleet.ClusterSwap) bool { return s.UploadID == upload })
	h.Fitments = slices.DeleteFunc(h.Fitments, func(f fleet.Fitment) bool { return f.UploadID == upload })
	h.Axles = slices.DeleteFunc(h.Axles, func(a fleet.Axle) bool {
		return axles[store.AxleKey{VehicleID: h.Vehicle.ID, Axle: a.Number}]
	})
}

// judge looks at the rows of one vehicle.
type judge struct {
	model  forecast.Model
	claims *claims
	all    bool // each visit is to be held against the model
	known  *store.History
	mine   store.History       // known, with the rows before the present visit
	fresh  []claim             // rows that are not there yet
	doubly map[odometerOf]bool // odometer values of fresh in doubt
	trails map[fleet.Position]trail
	days   []dayRows // of fresh
	sights []sight   // of each of fresh

	problems []fleet.Problem
	lines    map[int32]bool // in doubt
	rows     int            // of them
}

// odometerOf is an odometer value on a day.
type odometerOf struct {
	day fleet.Date
	km  float64
}

// freshOf returns those of a vehicle's sorted rows that are not there already.
func (j *judge) freshOf(h *store.History, rows []claim) []claim {
	type key struct {
		kind    claimKind
		pos     fleet.Position
		day     fleet.Date
		value   float64
		tripped bool
	}
	there := map[key]bool{}
	for i := range h.Readings { // most are of other days
		r := &h.Readings[i]
		if r.Date < rows[0].day || r.Date > rows[len(rows)-1].day {
			continue
		}
		there[key{readingClaim, r.Position, r.Date, r.MM, r.Tripped}] = true
	}
	for _, o := range h.Odometers {
		there[key{kind: odometerClaim, day: o.Date, value: o.Km}] = true
	}
	for _, f := range h.Fitments {
		there[key{kind: fitmentClaim, pos: f.Position, day: f.Date}] = true
	}
	swapped := func(r *claim) bool { // as the row says
		return slices.ContainsFunc(h.Swaps, func(s fleet.ClusterSwap) bool {
			return s.Date == r.day && s.OldKm == r.mm && s.NewKm == r.km
		})
	}
	var out []claim
	for i := range rows {
		r := &rows[i]
		k := key{kind: r.kind, day: r.day}
		switch r.kind {
		case readingClaim:
			k.pos, k.value, k.tripped = j.position(r), r.mm, r.tripped
		case fitmentClaim:
			k.pos = j.position(r)
		case odometerClaim:
			k.value = r.km
		}
		if there[k] && (r.kind != odometerClaim || math.IsNaN(r.mm) || swapped(r)) {
			continue
		}
		there[k] = true
		out = append(out, *r)
	}
	return out
}

func (j *judge) position(c *claim) fleet.Position { return j.claims.positions[c.position] }

// doubt notes that a row of the present vehicle is in doubt; it is one row, whatever
// is doubted of it.
func (j *judge) doubt(c *claim, column, read, format string, args ...any) {
	if len(j.problems) < ingest.MaxProblems {
		j.problems = append(j.problems, fleet.Problem{
			Line: int(c.line), Column: column, Read: read,
			Message: j.known.Vehicle.Number + ", " + fmt.Sprintf(format, args...), Doubtful: true,
		})
	}
	if !j.lines[c.line] {
		if j.lines == nil {
			j.lines = map[int32]bool{}
		}
		j.lines[c.line] = true
		j.rows++
	}
}

// odometers judges the odometer values of all rows, each line's once.
func (j *judge) odometers() {
	known, knownSwaps := odometersOf(j.known), swapsOf(j.known)
	os, swaps := slices.Clip(known), slices.Clip(knownSwaps)
	given := map[odometerOf]*claim{} // the first row of each new value
	old := map[odometerOf]bool{}     // of swaps: judged by themselves
	there := make(map[odometerOf]bool, len(known))
	for _, o := range known {
		there[odometerOf{fleet.Date(o.Day), o.Km}] = true
	}
	for i := range j.fresh {
		c := &j.fresh[i]
		if c.kind == odometerClaim && !math.IsNaN(c.mm) {
			swaps = append(swaps, forecast.DeclaredSwap{Day: forecast.Day(c.day), Old: c.mm, New: c.km})
			old[odometerOf{c.day, c.mm}] = true
			if !forecast.CleanOdometer(known, knownSwaps...).Allows(c.mm, forecast.Day(c.day)) {
				j.doubt(c, "previous_km", digits(c.mm), "the old cluster cannot have shown %s on that day, for all that was read before: correct it, since all distance from then on depends on it", inKm(c.mm))
				old[odometerOf{c.day, c.km}] = true // what follows from it
			}
		}
		k := odometerOf{c.day, c.km}
		if math.IsNaN(c.km) || there[k] {
			continue
		}
		there[k] = true
		given[k] = c
		os = append(os, forecast.Odometer{Day: forecast.Day(c.day), Km: c.km})
	}
	j.doubly = map[odometerOf]bool{}
	if len(given) == 0 && len(swaps) == len(knownSwaps) {
		return
	}
	var before []odometerDoubt // of what is known, without the file
	for _, d := range odometerDoubts(os, swaps) {
		k := odometerOf{d.date, d.km}
		if old[k] {
			continue
		}
		if c := given[k]; c != nil {
			j.doubly[k] = true
			j.doubt(c, "odometer_km", digits(c.km), "%s", d.text)
			continue
		}
		if before == nil {
			before = append(odometerDoubts(known, knownSwaps), odometerDoubt{})
		}
		if slices.ContainsFunc(before, func(b odometerDoubt) bool { return b.date == d.date && b.km == d.km }) {
			continue
		}
		// Known, and in doubt only now: some row contradicts it.
		for i := range j.fresh {
			c := &j.fresh[i]
			if given[odometerOf{c.day, c.km}] != c {
				continue
			}
			if c.day >= d.date && c.km < d.km || c.day <= d.date && c.km > d.km {
				way := "below"
				if c.km > d.km {
					way = "above"
				}
				j.doubly[odometerOf{c.day, c.km}] = true
				j.doubt(c, "odometer_km", digits(c.km), "odometer %s the reading of %s (%s): one of the two is wrong", way, longDay(d.date), inKm(d.km))
				break
			}
		}
	}
}

// digits is an odometer as somebody may have written it.
func digits(km float64) string { return strconv.FormatFloat(math.Round(10*km)/10, 'f', -1, 64) }

// gauged is a thickness likewise: no gauge in the hand shows more than a
// thousandth.
func gauged(mm float64) string { return strconv.FormatFloat(math.Round(1000*mm)/1000, 'f', -1, 64) }

// fitments judges the values of parts fitted.
func (j *judge) fitments() {
	for i := range j.fresh {
		c := &j.fresh[i]
		if c.kind != fitmentClaim {
			continue
		}
		p := j.position(c)
		j.noSuchAxle(c, p)
		spec, ok := specInForce(j.known, p.Axle, p.Part)
		if !ok || c.mm == 0 {
			continue
		}
		fs := forecast.Spec{New: spec.New, Limit: spec.Limit}
		switch wear := fs.Wear(c.mm); {
		case wear >= fs.Span():
			j.doubt(c, "value_mm", gauged(c.mm), "%s: fitted at or past its limit (%s), and due until measured anew: correct the value, or the limit", p, inMM(spec.Limit))
		case wear > fs.Span()/2:
			j.doubt(c, "value_mm", gauged(c.mm), "%s: fitted more than half worn (new %s, limit %s): correct the value, the limit or the axle's specification", p, inMM(spec.New), inMM(spec.Limit))
		case lessWornThanNew(fs, c.mm):
			j.doubt(c, "value_mm", gauged(c.mm), "%s: fitted %s than new (%s): correct the value, or the axle's specification", p, lessWorn(p.Part), inMM(spec.New))
		}
	}
}

// axle returns the axle on record, or nil.
func (j *judge) axle(n int) *fleet.Axle {
	for i := range j.known.Axles {
		if j.known.Axles[i].Number == n {
			return &j.known.Axles[i]
		}
	}
	return nil
}

// noSuchAxle doubts a row about an axle that a vehicle with axles on record
// does not have.
func (j *judge) noSuchAxle(c *claim, p fleet.Position) bool {
	n := len(j.known.Axles)
	if n == 0 || j.axle(p.Axle) != nil {
		return false
	}
	last := j.known.Axles[n-1].Number
	count, which := strconv.Itoa(n)+" axles", ", the last one is axle "+strconv.Itoa(last)
	if n == 1 {
		count, which = "one axle", ", axle "+strconv.Itoa(last)
	}
	j.doubt(c, "axle", strconv.Itoa(p.Axle), "axle %d: it has %s on record%s; correct the axle, or add it in an axles file", p.Axle, count, which)
	return true
}

// unwornMM and unwornShare: how far a value may lie on the unworn side of the
// new one, in mm and as a share of the usable part, whichever is more. As the
// forecast has it, which sets such a reading aside.
const (
	unwornMM    = 1.0
	unwornShare = 0.15
)

func lessWornThanNew(s forecast.Spec, mm float64) bool {
	return -s.Wear(mm) > max(unwornMM, unwornShare*s.Span())
}

// lessWorn says how a part measures that is less worn.
func lessWorn(p fleet.Part) string {
	if p.Grows() {
		return "narrower"
	}
	return "thicker"
}
