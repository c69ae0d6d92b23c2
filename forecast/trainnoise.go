package forecast

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

const (
	// noiseLives bounds the lives from which the spreads of a fleet are
	// learned, depotLives those that each depot adds to them for its own.
	// Method: a converging fit on 1500 lives; a depot's bias is known to .04 mm
	// from 20, its gauge's spread to a twentieth.
	noiseLives, depotLives = 2000, 20
	// leastNoiseLives is how many lives are needed before spreads are learned
	// at all. Judgement.
	leastNoiseLives = 60
	// A life of fewer or more readings teaches nothing of spreads, or takes
	// too long: the work grows with their cube.
	leastNoiseRows, mostNoiseRows = 4, 60

	noiseIterations = 10
	noiseTolerance  = .02 // relative change of a variance
	// thetaVar is the variance of theta while spreads are learned: wide, so
	// that each life's rate is its own and the spreads are those about it
	// (method).
	thetaVar = .5
	// strangeLife is how many standard errors a life's misfit may lie above
	// the fleet's median before it is left out: a dragging caliper, a change
	// nobody recorded. Judgement.
	strangeLife = 5.0
	// noiseWeight is the weight of a spread's default, in units of the
	// information of 2 observations (method: D = 10/p0^2).
	noiseWeight = 10.0
	// leastNoise is the least variance learned, as a share of the default's.
	leastNoise = .01
)

// Defaults that fixed effects lean on: sds of mm or of shares (method; the
// inner face's is a judgement).
const (
	innerPriorSD  = .1
	accelPriorSD  = .2
	seasonAmpSD   = .1
	depotBiasSD   = .15
	fixedEffects  = 4 // those that come before the depots' biases
	innerEffect   = 0
	accelEffect   = 1
	cosEffect     = 2
	sinEffect     = 3
	mostAmplitude = .4 // of the season learned: beyond it distances run back
)

// noiseFit learns the spreads of the readings about the model.
type noiseFit struct {
	all    lifeSample
	depots map[string]*lifeSample

	known  map[string]Gauge // before
	noise  Noise            // as learned so far
	season WearSeason
	gauge  []gaugeFit // by depot, in order of name
}

// gaugeFit is how a depot reads, as learned so far.
type gaugeFit struct {
	name   string
	bias   float64
	vari   float64
	before float64 // variance by the gauge's step
	rows   int     // in the sample
}

// noiseLife is a part set in the sample.
type noiseLife struct {
	axleLife
	key uint64
	id  string
	use []int

	face     []float64 // of each place: 1 inner, -1 outer, 0 neither
	standard []bool    // of each birth: its spreads are the fleet's
	raw      []float64 // of each row: value as read, falling with wear
	depot    []string  // of each row
	index    []int     // of each row: its depot in noiseFit.gauge
	gauge    []float64 // of each row: variance by the gauge's step
	joined   []float64 // of each row: share of a reading's variance
	// Of visits and births: distance in 1000 km, and its integrals with the
	// cosine and sine of the season.
	visitAt, birthAt [][3]float64
}

// lifeSample keeps the lives of the lowest keys, whatever order they come in.
type lifeSample struct {
	limit int
	lives []*noiseLife
}

func (s *lifeSample) add(l *noiseLife) {
	if s.lives = append(s.lives, l); len(s.lives) >= 2*s.limit {
		s.thin()
	}
}

func (s *lifeSample) thin() {
	slices.SortFunc(s.lives, compareLives)
	if len(s.lives) > s.limit {
		clear(s.lives[s.limit:])
		s.lives = s.lives[:s.limit]
	}
}

func compareLives(a, b *noiseLife) int {
	return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.id, b.id))
}

func newNoiseFit(p *Params) *noiseFit {
	return &noiseFit{
		all: lifeSample{limit: noiseLives}, depots: make(map[string]*lifeSample),
		noise: p.noise(Pad), season: p.Season, known: p.Depots,
	}
}

// add offers a life to the sample.
func (n *noiseFit) add(l *noiseLife) {
	n.all.add(l)
	d := l.depot[l.use[0]]
	s := n.depots[d]
	if s == nil {
		s = &lifeSample{limit: depotLives}
		n.depots[d] = s
	}
	s.add(l)
}

// noiseLives returns the vehicle's lives that spreads can be learned from.
func (h *vehicleHistory) noiseLives(p *Params, id string) []*noiseLife {
	var out []*noiseLife
	plain := h.track.Effective(WearSeason{})
	cosine, sine := h.track.Effective(WearSeason{Cos: 1}), h.track.Effective(WearSeason{Sin: 1})
	at := func(d Day, s float64) [3]float64 {
		km := plain.At(d)
		c, si := (cosine.At(d)-km)/1000, (sine.At(d)-km)/1000
		return [3]float64{s - p.Season.Cos*c - p.Season.Sin*si, c, si}
	}
	for i := range h.axles {
		for n := range h.axles[i].parts {
			sets := h.axles[i].parts[n].sets
			for k := range sets {
				s := &sets[k]
				// A change that nobody recorded is dated so that readings fit: they
				// have too little error left.
				if s.part.rubs() != "" || s.change != nil {
					continue
				}
				l := noiseLife{
					axleLife: s.axleLife,
					id:       id + "|" + strconv.Itoa(i) + "|" + string(s.part) + "|" + strconv.Itoa(k),
				}
				for u := range s.rows {
					if !slices.Contains(s.trips, u) && !slices.Contains(s.aside, u) {
						l.use = append(l.use, u)
					}
				}
				if len(l.use) < leastNoiseRows || len(l.use) > mostNoiseRows {
					continue
				}
				l.keep(p, s, at)
				l.key = hashOf(l.id)
				out = append(out, &l)
			}
		}
	}
	return out
}

// keep takes over what it needs of a set.
func (l *noiseLife) keep(p *Params, s *set, at func(Day, float64) [3]float64) {
	l.vari = thetaVar
	l.births, l.places = slices.Clone(s.births), slices.Clone(s.places)
	l.visits, l.rows = slices.Clone(s.visits), slices.Clone(s.rows)
	var unlearned Params
	for _, in := range s.renewed {
		face := 0.0
		if s.part == Pad {
			if face = 1; s.pos[in.place].Face == "outer" {
				face = -1
			}
		}
		l.face = append(l.face, face)
	}
	for i, b := range l.births {
		l.standard = append(l.standard, b.known)
		l.birthAt = append(l.birthAt, at(b.day, l.births[i].at))
	}
	for i, d := range s.days {
		l.visitAt = append(l.visitAt, at(d, l.visits[i]))
	}
	for i := range s.readings {
		r, row := s.readings[i], &l.rows[i]
		joined := 1.0
		if row.n > 1 {
			joined = medianVar / float64(row.n)
		}
		sd := unlearned.gaugeSD(s.part, r.Step, r.Depot)
		l.raw = append(l.raw, row.y+p.Depots[r.Depot].Bias)
		l.depot = append(l.depot, r.Depot)
		l.gauge = append(l.gauge, sd*sd)
		l.joined = append(l.joined, joined)
	}
}

// sample returns the lives to learn from, in order of key, and lists the
// depots they were read at.
func (n *noiseFit) sample() []*noiseLife {
	lives := n.lives()
	byName := make(map[string]*gaugeFit)
	for _, l := range lives {
		for _, u := range l.use {
			g := byName[l.depot[u]]
			if g == nil {
				g = &gaugeFit{name: l.depot[u]}
				byName[g.name] = g
			}
			g.rows++
			g.before += l.gauge[u]
		}
	}
	n.gauge = n.gauge[:0]
	for _, g := range byName {
		g.before /= float64(g.rows)
		g.vari = g.before
		if k, ok := n.known[g.name]; ok {
			g.bias, g.vari = k.Bias, k.SD*k.SD
		}
		n.gauge = append(n.gauge, *g)
	}
	slices.SortFunc(n.gauge, func(a, b gaugeFit) int { return cmp.Compare(a.name, b.name) })
	for _, l := range lives {
		l.index = make([]int, len(l.rows))
		for _, u := range l.use {
			l.index[u], _ = slices.BinarySearchFunc(n.gauge, l.depot[u], func(g gaugeFit, name string) int { return cmp.Compare(g.name, name) })
		}
	}
	return lives
}

// dress gives a life what is learned so far.
func (n *noiseFit) dress(l *noiseLife) {
	where := func(at [3]float64) float64 { return at[0] + n.season.Cos*at[1] + n.season.Sin*at[2] }
	for i := range l.births {
		l.births[i].at = where(l.birthAt[i])
		if l.standard[i] {
			l.births[i].common, l.births[i].own = n.noise.Start, n.noise.StartPlace
		}
	}
	for i := range l.visits {
		if l.visits[i] = where(l.visitAt[i]); i > 0 {
			l.visits[i] = max(l.visits[i], l.visits[i-1])
		}
	}
	for i := range l.places {
		l.places[i].f *= math.Exp(l.face[i] * (n.noise.InnerOuter - l.noise.InnerOuter))
	}
	for _, u := range l.use {
		g := &n.gauge[l.index[u]]
		l.rows[u].y = l.raw[u] - g.bias
		l.rows[u].sd = math.Sqrt(g.vari * l.joined[u])
	}
	noise := n.noise
	l.noise = &noise
}

// learn fits the spreads and puts them into p. Pads and linings share them,
// being of one kind; what they wear against keeps its defaults, since nothing
// but a micrometer's error shows in so little wear.
func (n *noiseFit) learn(p *Params, t *Training) {
	t.Spreads, t.SpreadLives, t.Strange = n.fit()
	if t.Spreads.Iterations == 0 {
		return
	}
	p.Noise[Pad], p.Noise[Lining] = n.noise, n.noise
	p.Season = n.season
	p.Depots = make(map[string]Gauge)
	for _, g := range n.gauge {
		p.Depots[g.name] = Gauge{Bias: g.bias, SD: math.Sqrt(g.vari), Readings: g.rows}
	}
}
