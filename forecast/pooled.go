package forecast

import (
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
)

// Pooled is the random-slope regression over all lives of a like part on a
// like axle: class x axle number x part where there are enough of them, the
// part alone where not, planning bands where that is too little as well. Each
// life has its own line, drawn towards the group's as far as its own readings
// leave room, so that one reading, or none, already gives a forecast. The
// numbers are for JSON to keep.
type Pooled struct {
	AsOf   Day                    `json:"as_of"`
	Groups map[string]PooledGroup `json:"groups"` // by RateKey; the part alone by "||part"
	// Thin names the groups too small, or too much alike, to learn from, and
	// why.
	Thin map[string]string `json:"thin,omitempty"`
}

// PooledGroup is what the lives of one group have in common. Wear is in mm
// more than at the fitting, distance in 1000 km since.
type PooledGroup struct {
	Start      float64 `json:"start"`    // mean wear at distance 0, mm
	Rate       float64 `json:"rate"`     // mean rate, mm per 1000 km
	Between    Sym2    `json:"between"`  // of start and rate from life to life
	Estimate   Sym2    `json:"estimate"` // covariance of Start and Rate as estimates
	Residual   float64 `json:"residual"` // variance of a reading, mm^2
	Drift      float64 `json:"drift"`    // sd of a later rate about the rate so far, as a share of it
	Lives      int     `json:"lives"`    // learned from
	Left       int     `json:"left"`     // lives no line of the group explains
	Vehicles   int     `json:"vehicles"`
	Readings   int     `json:"readings"`
	Iterations int     `json:"iterations"`
	Bound      bool    `json:"bound"`
}

const (
	// leastLives and leastVehicles make a group worth learning from. A variance
	// from 20 lives is known to a third; positions of one vehicle are alike.
	// Judgement.
	leastLives, leastVehicles = 20, 6
	// strange is the mean squared distance of a life's readings from its
	// group, in variances, above which it is left out of learning: a mistyped
	// reading or a fitment nobody recorded. Judgement.
	strange = 6.0
	// startSD is how far a new part is from its nominal thickness in mm, where
	// no fitted life tells (simulated fleets assume 0.12 a set and 0.08 a pad).
	startSD = 0.15
	// Of a part whose fitting is not on record the wear so far is guessed as a
	// share of its span: a little less than half, give or take nearly as much.
	guessWorn, guessWornSD = 0.4, 0.4
	// bandDiscSD is the error of a rotor or drum reading in mm where no fleet
	// tells: a micrometer's, in a workshop. Judgement.
	bandDiscSD = 0.08
)

// TrainPooled learns from all lives that vs tells of on or before asOf. A
// group that is too small is no error.
func TrainPooled(vs iter.Seq[*Vehicle], asOf Day) (*Pooled, error) {
	if vs == nil {
		return nil, errors.New("train pooled: no vehicles given")
	}
	lives := make(map[string]*lifeSums)
	for v := range vs {
		t := trackOf(v, asOf)
		for i := range v.Axles {
			a := &v.Axles[i]
			for _, s := range Segments(a, t, asOf, Jump).Series {
				g, check, readings := lifeOf(&s)
				if g.N == 0 {
					continue
				}
				for _, key := range [2]string{RateKey(v.Class, a.Number, s.Pos.Part), partKey(s.Pos.Part)} {
					l := lives[key]
					if l == nil {
						l = new(lifeSums)
						lives[key] = l
					}
					l.groups = append(l.groups, g)
					if check.early.N > 0 {
						l.checks = append(l.checks, check)
					}
					l.readings += readings
					if l.last != v {
						l.last = v
						l.vehicles++
					}
				}
			}
		}
	}
	p := &Pooled{AsOf: asOf, Groups: make(map[string]PooledGroup), Thin: make(map[string]string)}
	for _, key := range slices.Sorted(maps.Keys(lives)) {
		g, err := lives[key].learn()
		if err != nil {
			p.Thin[key] = err.Error()
			continue
		}
		p.Groups[key] = g
	}
	return p, nil
}

// partKey is the group of a part on any axle of any class.
func partKey(p Part) string { return "||" + string(p) }

// lifeSums collects the lives of one group.
type lifeSums struct {
	groups   []Group
	checks   []check
	vehicles int
	readings int
	last     *Vehicle // counted last
}

// check is the earlier half of a life's readings, where the last of them was
// and the last reading of all: what a forecast from the earlier half can be
// compared with.
type check struct {
	early   Moments
	since   float64 // distance of the last early reading
	x, y    float64 // the last reading
	unknown bool    // the fitting is not on record
}

// checkReadings is how many readings a check takes.
const checkReadings = 3

// lifeOf returns the sums of a life, a check of forecasts where it has readings
// enough, and their number. A life whose fitting is not on record tells of the
// rate alone.
func lifeOf(s *Series) (g Group, c check, readings int) {
	rs := s.measured()
	if math.IsNaN(s.StartKm) || len(rs) == 0 {
		return g, c, 0
	}
	for i, r := range rs {
		x, y := (r.Km-s.StartKm)/1000, s.Spec.Wear(r.MM)-s.Spec.Wear(s.StartMM)
		g.Add(x, y)
		if i == (len(rs)-1)/2 && len(rs) >= checkReadings {
			c = check{early: g.Moments, since: x, unknown: !s.Known}
		}
		c.x, c.y = x, y
	}
	if !s.Known {
		if g.Moments = g.Centred(); !(g.XX > 0) {
			return Group{}, check{}, 0
		}
	}
	return g, c, len(rs)
}

// learnRounds is how often lives that the group cannot explain are left out.
const learnRounds = 3

// learn fits the group's mixed model, leaves out the lives that it cannot
// explain, and fits again.
func (l *lifeSums) learn() (PooledGroup, error) {
	groups := l.groups
	for round := 1; ; round++ {
		if len(groups) < leastLives || l.vehicles < leastVehicles {
			return PooledGroup{}, fmt.Errorf("%d lives of %d vehicles are too few (%d and %d needed)", len(groups), l.vehicles, leastLives, leastVehicles)
		}
		model := Mixed{Cells: PlainCells}
		if !slices.ContainsFunc(groups, func(g Group) bool { return g.W > 0 }) {
			model = Mixed{Cells: []Cell{{Intercept: []float64{0}, Slope: []float64{1}}}, Structure: SlopeOnly}
		}
		f, err := model.Fit(groups)
		if err != nil {
			return PooledGroup{}, err
		}
		var keep []Group
		for _, g := range groups {
			if f.Distance(g) <= strange*max(g.N, 2) {
				keep = append(keep, g)
			}
		}
		if round < learnRounds && len(keep) < len(groups) {
			groups = keep
			continue
		}
		g := PooledGroup{
			Between: f.G, Residual: f.Sigma2,
			Lives: len(groups), Left: len(l.groups) - len(groups),
			Vehicles: l.vehicles, Readings: l.readings,
			Iterations: f.Iterations, Bound: f.Bound,
		}
		g.Start, g.Rate, g.Estimate = f.fixed(0)
		if model.Structure == SlopeOnly {
			g.Between.AA = startSD * startSD
		}
		g.Drift = g.learnDrift(l.checks)
		if !(g.Rate > 0) {
			return PooledGroup{}, fmt.Errorf("mean rate of %.4f mm per 1000 km is not positive", g.Rate)
		}
		return g, nil
	}
}

const (
	// leastChecks make a drift worth learning; bandDrift stands in for it
	// (simulated fleets assume 0.2 for drivers and duty that change).
	leastChecks, bandDrift = 30, 0.20
	mostDrift              = 1.5
)

// learnDrift returns the drift that makes forecasts from the earlier half of a life
// right as often as they should be: half of the last readings lie within 0.674
// standard errors. The median leaves mistyped readings aside.
func (g *PooledGroup) learnDrift(checks []check) float64 {
	var miss, plain, gap []float64
	for _, c := range checks {
		prior := g.prior()
		if c.unknown {
			prior.VAA, prior.VAB = 1e6, 0 // any wear to begin with
		}
		t := posterior(prior, c.early, g.Residual)
		if y, se := t.At(c.x); c.x > c.since && t.B > 0 {
			miss = append(miss, math.Pow(c.y-y, 2))
			plain = append(plain, se*se+g.Residual)
			gap = append(gap, math.Pow(t.B*(c.x-c.since), 2))
		}
	}
	if len(miss) < leastChecks {
		return bandDrift
	}
	ratio := make([]float64, len(miss))
	tooFar := func(drift float64) bool { // the typical miss is more than drift explains
		for i := range ratio {
			ratio[i] = miss[i] / (plain[i] + drift*drift*gap[i])
		}
		slices.Sort(ratio)
		return ratio[len(ratio)/2] > 0.4549364231195724 // median of chi-squared, 1 df
	}
	lo, hi := 0.0, mostDrift
	if !tooFar(lo) {
		return 0
	}
	for hi-lo > 1e-6 {
		if mid := (lo + hi) / 2; tooFar(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// prior is the line of a life of the group before anything was read of it.
func (g *PooledGroup) prior() Trend {
	return Trend{
		A: g.Start, B: g.Rate,
		VAA: g.Between.AA + g.Estimate.AA,
		VAB: g.Between.AB + g.Estimate.AB,
		VBB: g.Between.BB + g.Estimate.BB,
	}
}

// Name returns "pooled".
func (*Pooled) Name() string { return "pooled" }

// Diagnostics returns what was learned from what, for people to judge it.
func (p *Pooled) Diagnostics() any { return p }

// Forecast implements Model. The zero Pooled forecasts from planning bands.
func (p *Pooled) Forecast(v *Vehicle, asOf Day, opt Options) []AxleForecast {
	return forecastStraight(p.Name(), v, asOf, opt, func(a *Axle, s *Series) (fitted, bool) {
		return p.fit(v.Class, a.Number, s)
	})
}

// group returns what is known of a part's lives, and whether it is a planning
// band.
func (p *Pooled) group(class string, axle int, part Part) (g PooledGroup, band bool) {
	for _, key := range [2]string{RateKey(class, axle, part), partKey(part)} {
		if g, ok := p.Groups[key]; ok {
			return g, false
		}
	}
	return bandGroup(class, axle, part), true
}

// bandGroup turns a planning band into a group: the band holds 95 % of the
// rates. Rotors and drums wear about a tenth of what rubs on them (a guess),
// and nobody knows how much.
func bandGroup(class string, axle int, part Part) PooledGroup {
	mean, variance := bandOf(class, axle)
	half := 2 * math.Sqrt(variance)
	lo, hi := math.Exp(mean-half), math.Exp(mean+half)
	g := PooledGroup{Residual: defaultGaugeSD * defaultGaugeSD, Between: Sym2{AA: startSD * startSD}, Drift: bandDrift}
	if part.rubs() != "" {
		f := math.Exp(discRatio)
		lo, hi = lo*f/2, hi*f*2
		g.Residual = bandDiscSD * bandDiscSD
	}
	g.Rate = (lo + hi) / 2
	g.Between.BB = math.Pow((hi-lo)/4, 2)
	return g
}

// fit returns the line of a life given its readings: the posterior in closed
// form, the variance components taken as known.
func (p *Pooled) fit(class string, axle int, s *Series) (fitted, bool) {
	g, band := p.group(class, axle, s.Pos.Part)
	prior := g.prior()
	offset := 0.0 // wear at the start
	if s.Known {
		offset = s.Spec.Wear(s.StartMM)
	} else {
		prior.A, prior.VAA, prior.VAB = guessWorn*s.Spec.Span(), math.Pow(guessWornSD*s.Spec.Span(), 2), 0
	}
	if math.IsNaN(s.StartKm) {
		return fitted{}, false
	}
	var m Moments
	rs := s.measured()
	for _, r := range rs {
		m.Add((r.Km-s.StartKm)/1000, s.Spec.Wear(r.MM)-offset)
	}
	t := posterior(prior, m, g.Residual)
	// From 1000 km since the start to km on the odometer.
	t.X0, t.A = s.StartKm, t.A+offset
	t.B, t.VAB, t.VBB = t.B/1e3, t.VAB/1e3, t.VBB/1e6
	l := fitted{
		Trend: t, pivots: normalLevels(), readings: len(rs),
		borrowed: band, peer: g.Rate / 1e3,
	}
	if len(rs) > 0 {
		// From the last reading on the rate may become another one.
		l.past = &t
		l.Trend = t.from(rs[len(rs)-1].Km)
		l.VBB += math.Pow(g.Drift*t.B, 2)
	}
	return l, true
}
