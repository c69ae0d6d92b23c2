package forecast

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

const (
	// sampleVehicles bounds the vehicles per class whose blocks are kept for
	// the likelihood; seasons and weekdays are learned from all.
	sampleVehicles = 600
	// minClassVehicles is where a class gets figures of its own.
	minClassVehicles = 5

	seasonSpanDays  = 300.0 // a vehicle must be seen this long to tell seasons
	seasonIntervals = 8
	seasonPrior     = .1 // sd of an amplitude before any reading
	weekdayDays     = 4  // gaps up to this tell weekdays apart
	weekdayPrior    = .3 // sd of a weekday's weight
	// Spread of a day's relative distance in the two regressions: it sets only
	// how soon readings outweigh the priors. Months are correlated, hence more
	// than the .3 of a month times sqrt(30) days.
	seasonDaySD  = 2.5
	weekdayDaySD = .7
	minWeekday   = .02
)

// usageHeard is what the odometers of some vehicles tell, by class and by
// UsageClass: the model is learned from it in one pass and bounded memory, each
// class, and each duty in it. The order of vehicles changes nothing but the last
// bits. A duty of few vehicles leans on its class, a class on the defaults.
type usageHeard map[string]*usageSums

func (u usageHeard) of(name string) *usageSums {
	s := u[name]
	if s == nil {
		s = new(usageSums)
		u[name] = s
	}
	return s
}

func (u usageHeard) add(v *Vehicle, asOf Day) {
	t := trackOf(v, asOf)
	if len(t.days) < 2 {
		return
	}
	blocks := t.blocks(nil)
	for _, name := range [2]string{v.Class, UsageClass(v)} {
		u.of(name).add(&t, blocks, v.ID)
	}
}

// merge adds what other vehicles tell.
func (u usageHeard) merge(more usageHeard) {
	for name, s := range more {
		u.of(name).merge(s)
	}
}

// fit learns the model.
func (u usageHeard) fit() UsageModel {
	m := DefaultUsage()
	names := make([]string, 0, len(u))
	for name, s := range u {
		if s.vehicles >= minClassVehicles {
			names = append(names, name)
		}
	}
	slices.Sort(names) // a class before its duties, which lean on it
	for _, name := range names {
		m.Classes[name] = u[name].fit(m.class(name))
	}
	return m
}

// usageSums holds what is learned of one class; sums add up over vehicles.
type usageSums struct {
	vehicles int
	season   [2 * harmonics][2*harmonics + 1]float64 // normal equations, right side last
	weekday  [7][8]float64
	sample   []usageSample // the sampleVehicles lowest keys, a heap would not pay
}

// usageSample is one vehicle of the sample. The key is a hash of its ID, so
// that the choice depends neither on order nor on the number of vehicles.
type usageSample struct {
	key    uint64
	id     string
	blocks []block
}

func (s *usageSums) add(t *Track, blocks []block, id string) {
	if len(blocks) == 0 {
		return
	}
	s.vehicles++
	s.addSeason(blocks)
	s.addWeekdays(t)

	s.keep(usageSample{hashOf(id), id, blocks})
}

func (s *usageSums) keep(one usageSample) {
	if s.sample = append(s.sample, one); len(s.sample) >= 2*sampleVehicles {
		s.thin()
	}
}

// merge adds what other vehicles tell.
func (s *usageSums) merge(more *usageSums) {
	s.vehicles += more.vehicles
	for i := range more.season {
		for j, x := range more.season[i] {
			s.season[i][j] += x
		}
	}
	for i := range more.weekday {
		for j, x := range more.weekday[i] {
			s.weekday[i][j] += x
		}
	}
	for _, one := range more.sample {
		s.keep(one)
	}
}

// thin sorts the sample and drops what lies beyond its size.
func (s *usageSums) thin() {
	slices.SortFunc(s.sample, func(a, b usageSample) int {
		return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.id, b.id))
	})
	if len(s.sample) > sampleVehicles {
		clear(s.sample[sampleVehicles:])
		s.sample = s.sample[:sampleVehicles]
	}
}

// addSeason regresses a vehicle's blocks, relative to its own mean, on the mean
// of each harmonic over the block; both centred within the vehicle.
func (s *usageSums) addSeason(blocks []block) {
	days, km, n := 0., 0., 0
	for _, b := range blocks {
		if !math.IsNaN(b.km) {
			days += b.days
			km += b.km
			n++
		}
	}
	if days < seasonSpanDays || n < seasonIntervals || km < minKmPerDay*days {
		return
	}
	rate := km / days
	var centre [2 * harmonics]float64
	for _, b := range blocks {
		if !math.IsNaN(b.km) {
			h := harmonicMeans(b)
			for i := range centre {
				centre[i] += h[i] * b.days / days
			}
		}
	}
	for _, b := range blocks {
		if math.IsNaN(b.km) {
			continue
		}
		h := harmonicMeans(b)
		y := min(max(b.km/b.days/rate-1, -1), 1) // a lay-up is no season
		w := b.days / (seasonDaySD * seasonDaySD)
		for i := range h {
			h[i] -= centre[i]
		}
		for i := range h {
			for j := range h {
				s.season[i][j] += w * h[i] * h[j]
			}
			s.season[i][2*harmonics] += w * h[i] * y
		}
	}
}

// harmonicMeans returns the means of cos and sin of each harmonic over a block.
func harmonicMeans(b block) (h [2 * harmonics]float64) {
	const omega = 2 * math.Pi / yearDays
	from := math.Mod(float64(b.from), yearDays)
	for k := range harmonics {
		w := omega * float64(k+1)
		s0, c0 := math.Sincos(w * from)
		s1, c1 := math.Sincos(w * (from + b.days))
		h[2*k], h[2*k+1] = (s1-s0)/(w*b.days), (c0-c1)/(w*b.days)
	}
	return h
}

// addWeekdays regresses the distance of short gaps, relative to the vehicle's
// mean, on the number of each weekday in them.
func (s *usageSums) addWeekdays(t *Track) {
	if !(t.mean > minKmPerDay) {
		return
	}
	for i := 1; i < len(t.days); i++ {
		gap := int(t.days[i]) - int(t.days[i-1])
		if gap > weekdayDays || t.shift[i] != t.shift[i-1] {
			continue
		}
		var n [7]float64
		for d := range gap {
			n[weekday(int(t.days[i-1])+d)]++
		}
		y := min((t.km[i]-t.km[i-1])/t.mean, 4*float64(gap)) - float64(gap)
		w := 1 / (weekdayDaySD * weekdayDaySD * float64(gap))
		for a := range n {
			for b := range n {
				s.weekday[a][b] += w * n[a] * n[b]
			}
			s.weekday[a][7] += w * n[a] * y
		}
	}
}

// fit returns the class's figures, starting and leaning on prior.
func (s *usageSums) fit(prior ClassUsage) ClassUsage {
	c := prior
	c.Vehicles = s.vehicles
	s.fitSeason(&c)
	s.fitWeekdays(&c)
	s.thin()
	// What counts as standing must not move with the mean that is being fitted:
	// with a mean high above them all months would stand, and agree perfectly.
	x := []float64{s.medianLevel(&c), 0, 0, 0, 0}
	for i := range s.sample {
		c.weigh(s.sample[i].blocks, c.standing()+x[0])
	}
	at := func(x []float64) ClassUsage {
		y := c
		y.LogKmPerDay += x[0]
		y.VehicleSD *= math.Exp(x[1])
		y.OUSD *= math.Exp(x[2])
		y.OUDays *= math.Exp(x[3])
		y.BlockSD *= math.Exp(x[4])
		return y
	}
	// Prior sds of the five: a factor of e for the mean, about two for each
	// spread and for the length. They matter for thin classes only.
	priorSD := [5]float64{1, .7, .5, .7, .5}
	loss := func(x []float64) float64 {
		sum := 0.
		for i, v := range x {
			if math.Abs(v) > 5*priorSD[i] {
				return math.Inf(1) // where the likelihood may overflow to anything
			}
			sum += v * v / (2 * priorSD[i] * priorSD[i])
		}
		y := at(x)
		for i := range s.sample {
			f := y.filter(s.sample[i].blocks)
			sum -= f.logLik
		}
		if math.IsNaN(sum) {
			return math.Inf(1)
		}
		return sum
	}
	settings := &optimize.Settings{
		FuncEvaluations: 400,
		Converger:       &optimize.FunctionConverge{Absolute: 1e-3, Relative: 1e-9, Iterations: 25},
	}
	res, err := optimize.Minimize(optimize.Problem{Func: loss}, x, settings, &optimize.NelderMead{SimplexSize: .3})
	if res == nil || (err != nil && !(res.F <= loss(x))) {
		return c // the defaults are still a usable answer
	}
	return at(res.X)
}

// medianLevel is the median over vehicles of the median log rate of a block.
func (s *usageSums) medianLevel(c *ClassUsage) float64 {
	levels := make([]float64, 0, len(s.sample))
	var rates []float64
	for i := range s.sample {
		blocks := s.sample[i].blocks
		c.weigh(blocks, math.Inf(-1))
		rates = rates[:0]
		for _, b := range blocks {
			if !math.IsNaN(b.km) {
				rates = append(rates, c.logRate(b))
			}
		}
		if len(rates) > 0 {
			slices.Sort(rates)
			levels = append(levels, rates[len(rates)/2])
		}
	}
	if len(levels) == 0 {
		return 0
	}
	slices.Sort(levels)
	if mid := levels[len(levels)/2]; !math.IsInf(mid, 0) {
		return mid
	}
	return 0
}

func (s *usageSums) fitSeason(c *ClassUsage) {
	const n = 2 * harmonics
	x, ok := solveRidge(n, func(i, j int) float64 { return s.season[i][j] }, func(i int) float64 { return s.season[i][n] }, seasonPrior)
	if !ok {
		return
	}
	// Weights must stay positive all year round.
	sum := 0.
	for _, v := range x {
		sum += math.Abs(v)
	}
	shrink := min(1, .9/max(sum, 1e-9))
	for k := range harmonics {
		c.Season[k] = [2]float64{shrink * x[2*k], shrink * x[2*k+1]}
	}
}

func (s *usageSums) fitWeekdays(c *ClassUsage) {
	x, ok := solveRidge(7, func(i, j int) float64 { return s.weekday[i][j] }, func(i int) float64 { return s.weekday[i][7] }, weekdayPrior)
	if !ok {
		return
	}
	sum := 0.
	for i, v := range x {
		c.Weekday[i] = max(minWeekday, 1+v)
		sum += c.Weekday[i]
	}
	for i := range c.Weekday {
		c.Weekday[i] *= 7 / sum
	}
}

// solveRidge solves (A + I/sd²) x = b for a symmetric A of size n.
func solveRidge(n int, a func(i, j int) float64, b func(i int) float64, sd float64) ([]float64, bool) {
	m := mat.NewSymDense(n, nil)
	rhs := mat.NewVecDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			m.SetSym(i, j, a(i, j))
		}
		m.SetSym(i, i, a(i, i)+1/(sd*sd))
		rhs.SetVec(i, b(i))
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(m) || chol.SolveVecTo(&x, rhs) != nil {
		return nil, false
	}
	return x.RawVector().Data, true
}
