package forecast

import (
	"cmp"
	"math"
	"slices"
	"sync"
)

// Full is the hierarchical model of whole axles: see doc.go for its maths.
type Full struct {
	Params Params
}

// Name returns "full".
func (m *Full) Name() string { return "full" }

// fitters holds the work space of goroutines that forecast.
var fitters = sync.Pool{New: func() any { return new(fitter) }}

// partOrder is the order in which the parts of an axle are worked through:
// what rubs before what it rubs against.
var partOrder = [...]Part{Pad, Lining, Rotor, Drum}

// rubbing are those that rub.
var rubbing = partOrder[:2]

// anyPart is wanted where all are.
func anyPart(Part) bool { return true }

// vehicleHistory is what is known of a vehicle, in the model's terms.
type vehicleHistory struct {
	road
	axles    []axleParts
	messages []Message
	own      []ownMessage // who said what
}

type axleParts struct {
	lives  Lives // what the readings' first look found wrong
	parts  []axleHistory
	priors []prior
}

// ownMessage says which set of which axle a message is of.
type ownMessage struct{ axle, part, set int }

// Forecast implements Model.
func (m *Full) Forecast(v *Vehicle, asOf Day, opt Options) []AxleForecast {
	f := fitters.Get().(*fitter)
	defer fitters.Put(f)
	h := m.history(f, v, asOf, partOrder[:], unheard)
	usage := usageWarnings(h.track, h.usage)
	if !h.told {
		usage = []Warning{{UsageUnknown, "no odometer reading: the distance per day is assumed, and no distance can be given"}}
	}
	var out []AxleForecast
	for i := range v.Axles {
		if len(v.Axles[i].Specs) == 0 {
			continue
		}
		af := AxleForecast{
			Axle: v.Axles[i].Number, Model: m.Name(), AsOf: asOf, Limiting: -1,
			OdometerKm: h.track.Display(h.usage.NowKm), KmPerDay: h.usage.KmPerDay(),
		}
		if !h.told {
			af.OdometerKm = math.NaN()
		}
		m.axle(f, &h, i, &af, opt)
		af.Warnings = append(af.Warnings, usage...)
		out = append(out, af)
	}
	return out
}

// unheard says that no other set is told of a part that is on an axle now: what rubs
// is not told of rotors and drums, and they are told of those before them only.
func unheard(_ *Axle, p Part) bool { return p.rubs() != "" }

// history cuts the vehicle's readings of some parts into part sets and lets each
// speak for itself, but those on now of which no other is told.
func (m *Full) history(f *fitter, v *Vehicle, asOf Day, parts []Part, unheard func(*Axle, Part) bool) vehicleHistory {
	h := vehicleHistory{road: m.Params.road(v, asOf), axles: make([]axleParts, len(v.Axles))}
	start := firstDay(v, asOf)
	v.Memory.next()
	for i := range v.Axles {
		a, ap := &v.Axles[i], &h.axles[i]
		fitments := ap.lives.usableFitments(a, h.track, asOf)
		readings := ap.lives.usableReadings(a, h.track, asOf)
		for _, part := range parts {
			spec, ok := a.Specs[part]
			if !ok || spec.fault(part) != "" {
				continue
			}
			noise := m.Params.noise(part)
			c := cutter{
				params: &m.Params, fit: f, memory: v.Memory, noise: &noise, part: part, axle: i, spec: spec,
				length: noise.DriftDays * h.kmPerDay / 1000,
				dist:   h.at, start: start, kept: a.kept,
			}
			if rubs := part.rubs(); rubs != "" {
				p := m.Params.Rates.priorOf(v, a.Number, rubs)
				c.prior = m.Params.Rates.discPrior(p.mean, p.total)
				c.prior.banded = p.banded
			} else {
				c.prior = m.Params.Rates.priorOf(v, a.Number, part)
			}
			ah := c.cut(readings, fitments[part])
			if len(ah.odd) > 0 {
				slices.SortFunc(ah.odd, func(a, b Reading) int {
					return cmp.Or(cmp.Compare(a.Day, b.Day), comparePositions(a.Pos, b.Pos), cmp.Compare(a.MM, b.MM))
				})
				for _, r := range ah.odd {
					ap.lives.SetAside = append(ap.lives.SetAside, SetAside{r, "no such place"})
				}
				ap.lives.warn(BadInput, "%s set aside, the first of a %s: no such place; correct its side and face", readingsOf(len(ah.odd)), ah.odd[0].Pos)
			}
			for n := range ah.sets {
				// Where a change is to be dated, the fit that follows begins with its date.
				if n == len(ah.sets)-1 && ah.sets[n].change == nil && unheard(a, part) {
					continue
				}
				if msg, ok := v.Memory.message(f, &ah.sets[n], c.prior); ok {
					h.messages = append(h.messages, msg)
					h.own = append(h.own, ownMessage{i, len(ap.parts), n})
				}
			}
			ap.parts = append(ap.parts, ah)
			ap.priors = append(ap.priors, c.prior)
		}
	}
	return h
}

// noise returns the spreads of a part; those of parts that do not rub, where
// they are not known, are the default ones.
func (p *Params) noise(part Part) Noise {
	if n, ok := p.Noise[part]; ok {
		return n
	}
	return defaultNoise(part)
}

// others returns what all sets but one say; of rotors and drums nothing is
// told to pads and linings.
func (h *vehicleHistory) others(axle, part, set int, disc bool) []Message {
	var out []Message
	for i, m := range h.messages {
		if h.own[i] != (ownMessage{axle, part, set}) && (m.Part.rubs() != "") == disc {
			out = append(out, m)
		}
	}
	return out
}

// outlook is the forecast of the parts of one kind that are on the axle now.
type outlook struct {
	*set
	prior     prior
	prob      [maxPlaces]float64 // of each place to be the first of the set
	joint     Dist               // effective distance, 1000 km
	each      []Dist
	now       point
	slope     [maxPlaces]float64 // mm per 1000 km from now on
	theta     float64
	vari      float64
	used      int // readings in use
	inUse     []int
	drag      dragging
	drags     bool
	remeasure []Reading // thin, alone, and nothing since to contradict them
	earlier   bool      // they were taken as true
	offRecord float64   // chance that a rotor or drum was renewed unrecorded, if likely
	path      [][]PathPoint
}

// axle forecasts one axle.
func (m *Full) axle(f *fitter, h *vehicleHistory, i int, af *AxleForecast, opt Options) {
	ap := &h.axles[i]
	af.Warnings = append(af.Warnings, ap.lives.Warnings...)
	af.Basis.SetAside = append(af.Basis.SetAside, ap.lives.SetAside...)
	var looks []outlook
	m.eachOn(f, h, i, anyPart, func(n int, s *set, p prior) {
		o := m.look(f, h, s, opt)
		o.prior = p
		for k := range looks {
			if looks[k].part == s.part.rubs() {
				m.leftOn(f, h, &o, &looks[k], opt)
			}
		}
		// leftOn looks at others: what o says of the rate counts.
		f.grid.mean, f.grid.sd = o.theta, math.Sqrt(o.vari)
		looks = append(looks, o)
		af.Basis.Changes = append(af.Basis.Changes, ap.parts[n].changes...)
	})
	m.report(f, h, looks, af)
}

// eachOn calls fn for each set that is on axle i now and needed, in partOrder, with
// its prior in place. fn leaves what it found of the set's rate in f.grid. What rubs
// against a part is needed for it.
func (m *Full) eachOn(f *fitter, h *vehicleHistory, i int, needed func(Part) bool, fn func(n int, s *set, p prior)) {
	ap := &h.axles[i]
	rates := &m.Params.Rates
	var theta, vari [len(partOrder)]float64
	var known [len(partOrder)]bool
	inspected := false // some part was seen since it was fitted
	for n := range ap.parts {
		ah := &ap.parts[n]
		s := &ah.sets[len(ah.sets)-1]
		disc := s.part.rubs() != ""
		if disc && !ah.told() && !inspected {
			continue // there is no telling how long it has been on
		}
		if !needed(s.part) {
			inspected = inspected || len(s.visits) > 0
			continue
		}
		p := ap.priors[n]
		if disc {
			if k := slices.Index(partOrder[:], s.part.rubs()); known[k] {
				banded := p.banded
				p = rates.discPrior(theta[k], vari[k])
				p.banded = banded
			}
			s.mean, s.vari = rates.givenDisc(p, i, s.part, h.others(i, n, len(ah.sets)-1, true))
		} else {
			s.mean, s.vari = rates.given(p, i, s.part, h.others(i, n, len(ah.sets)-1, false))
		}
		fn(n, s, p)
		k := slices.Index(partOrder[:], s.part)
		theta[k], vari[k], known[k] = f.grid.mean, f.grid.sd*f.grid.sd, true
		inspected = inspected || len(s.visits) > 0
	}
}

// told says whether anything was ever measured or fitted.
func (h axleHistory) told() bool {
	return h.fitted || len(h.sets) > 1 || len(h.sets) == 1 && len(h.sets[0].rows) > 0
}

// look fits the set that is on the axle now and forecasts it.
func (m *Full) look(f *fitter, h *vehicleHistory, s *set, opt Options) outlook {
	o := outlook{set: s}
	o.drag, o.drags = f.weigh(s)
	zs := m.Params.Tail.at(f.visitsInUse())
	var c crossed
	f.cross(zs, &c)
	thin, meant := f.thinAside(s)
	for _, i := range thin {
		o.remeasure = append(o.remeasure, *s.readings[i])
	}
	if len(meant) > 0 {
		// A thin reading that may be true is set aside only where that makes the
		// forecast no later.
		before := slices.Clone(f.use)
		for _, i := range meant {
			f.join(i, s.rows[i].y, 0)
		}
		var with crossed
		f.cross(zs, &with)
		mid := slices.Index(Levels, .5)
		if with.joint[mid] < c.joint[mid] {
			c = with
			s.aside = slices.DeleteFunc(s.aside, func(i int) bool { return slices.Contains(meant, i) })
			o.earlier = true
		} else {
			f.take(before)
			f.posterior()
		}
	}
	o.prob = c.first
	o.joint = Dist{c.joint}
	for j := range s.live {
		o.each = append(o.each, Dist{c.each[j]})
	}
	o.theta, o.vari = f.grid.mean, f.grid.sd*f.grid.sd
	o.inUse = slices.Clone(f.use)
	for _, u := range f.use {
		o.used += s.rows[u].n
	}
	// The values now, and their fall over the next 1000 km.
	s0 := max(h.now(), f.lastVisit())
	for _, p := range s.places[:s.live] {
		s0 = max(s0, s.births[p.born].at)
	}
	next := point{at: s0 + 1, plain: true}
	f.look(&next)
	o.now = point{at: s0, plain: true}
	f.look(&o.now)
	for j := range s.live {
		o.slope[j] = max(0, o.now.mean[j]-next.mean[j])
	}
	if opt.Paths {
		o.path = f.paths(s, h, &o)
	}
	return o
}

// weigh fits the set to its readings: those mistyped are set aside, an
// unrecorded change is dated, a dragging caliper sought and the wear sensor
// heard.
func (f *fitter) weigh(s *set) (drag dragging, drags bool) {
	f.open(&s.axleLife)
	s.aside = f.settle(f.rowsOf(s))
	f.dateChange(s)
	if len(s.visits) > 0 && s.part.rubs() == "" {
		drag, drags = f.seekDrag(s)
	}
	f.hear(s)
	return drag, drags
}

// visitsInUse counts the visits that rows in use are of.
func (f *fitter) visitsInUse() int {
	n, last := 0, -1
	for _, u := range f.use {
		if v := f.life.rows[u].visit; v != last {
			n, last = n+1, v
		}
	}
	return n
}

// thinAside returns the rows set aside that lie below what is expected at a
// place that is on the axle now, with no later reading there to contradict
// them; and those of them that a dragging caliper may explain: what is thinner
// still was mistyped.
func (f *fitter) thinAside(s *set) (thin, meant []int) {
	for _, i := range s.aside {
		r := &s.rows[i]
		if r.place >= s.live {
			continue
		}
		last, later := s.births[s.places[r.place].born].at, false
		for _, u := range f.use {
			if s.rows[u].place == r.place {
				last = s.visits[s.rows[u].visit]
				later = later || s.rows[u].visit > r.visit
			}
		}
		e := f.predict([]int{i})
		missing := e.mean[0] - r.y
		if later || missing <= 0 {
			continue
		}
		thin = append(thin, i)
		wear := math.Exp(f.grid.mean) * s.places[r.place].f * max(0, s.visits[r.visit]-last)
		most := dragPaces[len(dragPaces)-1]
		if s.pos[r.place].Face == "outer" {
			most = math.Sqrt(most)
		}
		if missing <= (most-1)*wear+2*math.Sqrt(e.cov[0][0]) {
			meant = append(meant, i)
		}
	}
	return thin, meant
}

// value turns a value in the falling sense into mm as measured.
func (s *set) value(y float64) float64 { return max(0, s.spec.sense(y)) }
