package forecast

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// The mean of theta of a life is the sum of one effect per family: its group's
// (class x axle x part), its vehicle's duty, class x duty, class x model and
// depot. Effects are random, of a variance per family that is learned too;
// groups lean on their planning bands.
const (
	groupFamily = iota
	dutyFamily
	classDutyFamily
	classModelFamily
	depotFamily
	families
)

var (
	familyNames = [families]string{"group", "duty", "class x duty", "class x model", "depot"}
	// startSpread are the sds of the families before anything is learned
	// (method); a group's is its band's.
	startSpread = [families]float64{0, .3, .2, .2, .1}
)

const (
	// bandTrust widens planning bands: they are rough, and a fleet may lie
	// beyond them. Judgement.
	bandTrust = 2.0
	// spreadLevels is how many levels the start spread of a family weighs as
	// much as, spreadLives how many lives those of vehicles, axles and sets
	// do (method: 10 / p0^2, the information of so many).
	spreadLevels = 3.0
	spreadWeight = 10.0
	// mostLevels bounds the levels of a family, those of most lives: the work
	// grows with the cube of their sum. Others count as never seen.
	mostLevels = 400

	rateIterations = 40
	rateTolerance  = 5e-3 // relative change of a variance
)

// component indexes the variances of theta within a fleet.
const (
	vehicleVariance = iota
	axleVariance
	setVariance
	rateComponents
)

// rateFit holds what the lives of a fleet say of their rates.
type rateFit struct {
	index    [families]map[string]int // level -> column
	levels   []level                  // by column
	vehicles []taughtVehicle
	lives    []taughtLife

	band [rateComponents]float64 // variances before anything is learned

	spread [families]float64 // variance between levels
	parts  [rateComponents]float64
	mean   []float64     // by column
	cov    *mat.SymDense // of mean
}

// level is one level of a family.
type level struct {
	family int
	key    string
	lives  int
	// What is known before: of groups their band, of others nothing.
	mean, vari float64
}

// taughtVehicle is a vehicle's columns but those of its groups (-1: none), and
// its lives.
type taughtVehicle struct {
	common      [families]int
	first, last int
}

// taughtLife is the message of a life: theta ~ N(mean, vari) by its readings.
type taughtLife struct {
	group      int // column
	mean, vari float64
}

func newRateFit() *rateFit {
	r := new(rateFit)
	for i := range r.index {
		r.index[i] = make(map[string]int)
	}
	return r
}

// column returns the column of a level, counting a number of lives for it.
func (r *rateFit) column(family int, key string, lives int) int {
	c, ok := r.index[family][key]
	if !ok {
		c = len(r.levels)
		r.index[family][key] = c
		r.levels = append(r.levels, level{family: family, key: key})
	}
	r.levels[c].lives += lives
	return c
}

// add keeps the messages of a vehicle.
func (r *rateFit) add(v *Vehicle, messages []Message) {
	n := len(messages)
	if n == 0 {
		return
	}
	t := taughtVehicle{first: len(r.lives), last: len(r.lives) + n}
	for family, key := range effectKeys(v) {
		if family != groupFamily {
			t.common[family] = r.column(family, key, n)
		}
	}
	for _, m := range messages {
		number := v.Axles[m.Axle].Number
		g := r.column(groupFamily, RateKey(v.Class, number, m.Part), 1)
		if l := &r.levels[g]; l.vari == 0 {
			mean, vari := bandOf(v.Class, number)
			l.mean, l.vari = mean, bandTrust*bandTrust*vari
		}
		r.lives = append(r.lives, taughtLife{group: g, mean: m.Mean, vari: m.Var})
	}
	r.vehicles = append(r.vehicles, t)
}

// fit learns the hierarchy from the messages: effects by generalised least
// squares, the variances of their families by expectation maximisation, those
// between vehicles, axles and sets by scoring of the marginal likelihood.
func (r *rateFit) fit(start *Rates, t *Training) Rates {
	r.drop()
	r.parts = [rateComponents]float64{
		start.Vehicle * start.Vehicle, start.Axle * start.Axle, start.Set * start.Set,
	}
	d := DefaultParams().Rates
	r.band = [rateComponents]float64{d.Vehicle * d.Vehicle, d.Axle * d.Axle, d.Set * d.Set}
	for f, sd := range startSpread {
		r.spread[f] = sd * sd
	}
	t.Rates = Convergence{}
	for it := range rateIterations {
		r.solve()
		before, spread := r.parts, r.spread
		r.score()
		r.respread()
		step := 0.0
		for k := range before {
			step = max(step, math.Abs(r.parts[k]/before[k]-1))
		}
		for f := dutyFamily; f < families; f++ {
			step = max(step, math.Abs(r.spread[f]/spread[f]-1))
		}
		t.Rates = Convergence{it + 1, step < rateTolerance, step}
		if t.Rates.Converged {
			break
		}
	}
	r.solve()
	return r.rates(t)
}

// drop leaves out the levels of least lives where a family has too many.
func (r *rateFit) drop() {
	to := make([]int, len(r.levels))
	var keep []level
	var kept [families]int
	order := make([]int, len(r.levels))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		x, y := &r.levels[a], &r.levels[b]
		return cmp.Or(cmp.Compare(x.family, y.family), cmp.Compare(y.lives, x.lives), cmp.Compare(x.key, y.key))
	})
	for _, c := range order {
		l := r.levels[c]
		if to[c] = -1; l.family == groupFamily || kept[l.family] < mostLevels {
			kept[l.family]++
			to[c] = len(keep)
			keep = append(keep, l)
		}
	}
	r.levels = keep
	for i := range r.vehicles {
		for f := dutyFamily; f < families; f++ {
			c := &r.vehicles[i].common[f]
			*c = to[*c]
		}
	}
	for i := range r.lives {
		r.lives[i].group = to[r.lives[i].group]
	}
}

// solve estimates the effects for the present variances.
func (r *rateFit) solve() {
	p := len(r.levels)
	a, rhs := mat.NewSymDense(p, nil), mat.NewVecDense(p, nil)
	more := func(i, j int, x float64) {
		if i <= j { // the pair comes the other way round as well
			a.SetSym(i, j, a.At(i, j)+x)
		}
	}
	for c := range r.levels {
		mean, vari := r.before(c)
		a.SetSym(c, c, 1/vari)
		rhs.SetVec(c, mean/vari)
	}
	r.each(func(b *rateBlock) {
		n := len(b.lives)
		all, right := 0.0, 0.0
		for i := range b.lives {
			l := &b.lives[i]
			own := 0.0
			for k, x := range b.inv[i*n : i*n+n] {
				own += x * r.seen(b, k)
				more(l.group, b.lives[k].group, x)
			}
			for _, c := range b.common {
				more(l.group, c, b.sum[i])
				more(c, l.group, b.sum[i])
			}
			rhs.SetVec(l.group, rhs.AtVec(l.group)+own)
			all += b.sum[i]
			right += own
		}
		for _, c := range b.common {
			rhs.SetVec(c, rhs.AtVec(c)+right)
			for _, d := range b.common {
				more(c, d, all)
			}
		}
	})
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		panic("forecast: normal equations of wear rates are not positive definite")
	}
	var x mat.VecDense
	// Ill-conditioned is what they may be: families overlap.
	_ = chol.SolveVecTo(&x, rhs)
	r.cov = new(mat.SymDense)
	_ = chol.InverseTo(r.cov)
	r.mean = slices.Clone(x.RawVector().Data)
}

// before returns what is known of a level before any life.
func (r *rateFit) before(c int) (mean, vari float64) {
	if l := &r.levels[c]; l.family == groupFamily {
		return l.mean, l.vari
	}
	return 0, r.spread[r.levels[c].family]
}

// expected is the mean of theta of a life by its effects.
func (r *rateFit) expected(b *rateBlock, i int) float64 {
	mu := r.mean[b.lives[i].group]
	for _, c := range b.common {
		mu += r.mean[c]
	}
	return mu
}

// seen is the mean of a life's message, clipped to where lives of its kind can
// be: what lies beyond is an unrecorded change or a fault.
func (r *rateFit) seen(b *rateBlock, i int) float64 {
	if r.mean == nil {
		return b.lives[i].mean
	}
	mu := r.expected(b, i)
	return mu + max(-messageClip, min(messageClip, b.lives[i].mean-mu))
}

// doubt is the covariance of the expectations of two groups' lives of a
// vehicle that is due to the effects being estimates.
func (r *rateFit) doubt(common []int, g, h int) float64 {
	s := r.cov.At(g, h)
	for _, c := range common {
		s += r.cov.At(g, c) + r.cov.At(h, c)
		for _, d := range common {
			s += r.cov.At(c, d)
		}
	}
	return s
}

// respread estimates the variance between the levels of each family: the mean
// of squares expected, with the start spread as so many levels more.
func (r *rateFit) respread() {
	var sum, n [families]float64
	for c := range r.levels {
		f := r.levels[c].family
		sum[f] += r.mean[c]*r.mean[c] + r.cov.At(c, c)
		n[f]++
	}
	for f := dutyFamily; f < families; f++ {
		start := startSpread[f] * startSpread[f]
		r.spread[f] = (sum[f] + spreadLevels*start) / (n[f] + spreadLevels)
	}
}

// rates returns what was learned, and says of it what people should know.
func (r *rateFit) rates(t *Training) Rates {
	share := r.shares()
	out := Rates{
		Groups: make(map[string]Effect), Duty: make(map[string]Effect),
		ClassDuty: make(map[string]Effect), ClassModel: make(map[string]Effect), Depot: make(map[string]Effect),
		Vehicle: math.Sqrt(r.parts[vehicleVariance]),
		Axle:    math.Sqrt(r.parts[axleVariance]),
		Set:     math.Sqrt(r.parts[setVariance]),
		Unseen: Unseen{
			Duty: r.spread[dutyFamily], ClassDuty: r.spread[classDutyFamily],
			ClassModel: r.spread[classModelFamily], Depot: r.spread[depotFamily],
		},
	}
	maps := [families]map[string]Effect{out.Groups, out.Duty, out.ClassDuty, out.ClassModel, out.Depot}
	t.Thin = nil
	for c := range r.levels {
		l := &r.levels[c]
		maps[l.family][l.key] = Effect{Mean: r.mean[c], Var: share[c], Lives: l.lives}
		if l.family == groupFamily && l.lives < taughtLives {
			if t.Thin == nil {
				t.Thin = make(map[string]ThinGroup)
			}
			t.Thin[l.key] = ThinGroup{l.lives, min(1, r.cov.At(c, c)/l.vari)}
		}
	}
	t.Between = make(map[string]float64)
	for f := dutyFamily; f < families; f++ {
		t.Between[familyNames[f]] = math.Sqrt(r.spread[f])
	}
	return out
}

// shares splits the variance of each life's expectation among its effects.
// Their own variances would not do: families overlap, errors of one cancel
// those of another, and the sum of variances would be many times that of the
// sum. Nonnegative shares that add up as well as they can come from
// multiplicative updates (Richardson, J. Opt. Soc. Am. 62, 1972; Lucy, Astron.
// J. 79, 1974; from memory).
func (r *rateFit) shares() []float64 {
	const updates = 30
	p := len(r.levels)
	share := make([]float64, p)
	for c := range share {
		share[c] = r.cov.At(c, c)
	}
	var columns [][]int // of each group of a vehicle: its own and what its lives share
	var doubts []float64
	r.each(func(b *rateBlock) {
		for _, g := range b.group {
			columns = append(columns, append([]int{g}, b.common...))
			doubts = append(doubts, r.doubt(b.common, g, g))
		}
	})
	up, weight := make([]float64, p), make([]float64, p)
	for range updates {
		clear(up)
		clear(weight)
		for i, doubt := range doubts {
			sum := 0.0
			for _, c := range columns[i] {
				sum += share[c]
			}
			ratio := doubt / sum
			for _, c := range columns[i] {
				up[c] += ratio
				weight[c]++
			}
		}
		for c := range share {
			if weight[c] > 0 {
				share[c] *= up[c] / weight[c]
			}
		}
	}
	return share
}
