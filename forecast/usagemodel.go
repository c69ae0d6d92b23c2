package forecast

import (
	"math"
	"sort"
	"strings"
)

// ClassUsage describes how vehicles of one class are driven. The log of a
// vehicle's mean km/day over some weeks is
//
//	LogKmPerDay + vehicle + OU(t) + block
//
// vehicle ~ N(0, VehicleSD²) for good; OU a stationary Ornstein-Uhlenbeck
// process of standard deviation OUSD and length OUDays (duties and drivers that
// change); block ~ N(0, BlockSD² 30/days) on its own each time. The days are
// weighted by season and weekday.
type ClassUsage struct {
	LogKmPerDay float64
	VehicleSD   float64
	OUSD        float64
	OUDays      float64
	BlockSD     float64
	// Season holds the cosine and sine amplitudes of the first harmonics of
	// the year around 1, day of year counted from 1 January.
	Season [harmonics][2]float64
	// Weekday holds the weights of the days of the week, Sunday first; their
	// mean is 1.
	Weekday  [7]float64
	Vehicles int // learned from; 0 = default
}

// harmonics of the year: three tell seasons and school holidays apart without
// following single weeks.
const harmonics = 3

// UsageModel is what a fleet teaches about distance driven, by class and by
// UsageClass. It holds
// numbers only and goes through JSON unchanged.
type UsageModel struct {
	Classes map[string]ClassUsage
	Other   ClassUsage // for a class not in Classes
}

// Means of km/day by vehicle category: planning assumptions of ours, without a
// source. A fleet's own readings outweigh them quickly.
var assumedKm = map[string]float64{
	"M1": 45, "M2": 130, "M3": 170,
	"N1": 80, "N2": 130, "N3": 250,
	"O1": 30, "O2": 30, "O3": 120, "O4": 200,
}

// DefaultUsage returns the model used when no fleet is known. OU is that of the
// simulated fleets behind the method; the block's spread lies between theirs
// (.12) and that of one private car with its holidays (.3). The spread between
// vehicles is wide, since it also covers a mean that nobody checked.
func DefaultUsage() UsageModel {
	base := ClassUsage{
		LogKmPerDay: math.Log(80), VehicleSD: .9,
		OUSD: .27, OUDays: 90, BlockSD: .18,
		Weekday: [7]float64{1, 1, 1, 1, 1, 1, 1},
	}
	m := UsageModel{Classes: make(map[string]ClassUsage, len(assumedKm)), Other: base}
	for class, km := range assumedKm {
		c := base
		c.LogKmPerDay, c.VehicleSD = math.Log(km), .6
		m.Classes[class] = c
	}
	return m
}

// UsageClass names the class and duty of v, for Forecast: vehicles of one class
// drive their distance by what they are used for.
func UsageClass(v *Vehicle) string { return v.Class + dutyMark + v.Duty }

const dutyMark = "/"

// class returns the figures of a class, or class and duty; an empty model
// stands for the default.
func (m *UsageModel) class(name string) ClassUsage {
	if c, ok := m.Classes[name]; ok {
		return c
	}
	if class, _, ok := strings.Cut(name, dutyMark); ok {
		return m.class(class)
	}
	if m.Other.OUDays > 0 {
		return m.Other
	}
	d := DefaultUsage()
	return d.class(name)
}

// Forecast forecasts one vehicle of a class, better of a UsageClass, from asOf
// on. The track should hold
// nothing later than asOf. Few readings lean on the class; a track without any
// gives the unknown Usage. It costs some 25 microseconds.
func (m *UsageModel) Forecast(t Track, class string, asOf Day) Usage {
	c := m.class(class)
	blocks := t.blocks(make([]block, 0, maxBlocks))
	c.weigh(blocks, c.standing())
	c.pass(blocks)
	f := c.filter(blocks)
	c = c.scaled(f)
	f = c.filter(blocks)
	return newUsage(t, asOf, len(blocks), &ouLaw{class: c, at: f, season: c.seasonIntegral(float64(t.Last.Day))})
}

// block is the distance between two readings about a month apart.
type block struct {
	from Day
	days float64
	km   float64 // NaN where a changed cluster hides it
	rate float64 // log of km per weighted day, by ClassUsage.weigh
}

const (
	blockDays    = 30.0
	minBlockDays = 3.0 // below it, hours of the day matter
	maxBlocks    = 80  // older months say nothing more
)

// blocks appends the track's blocks in order of time. They are cut backwards
// from the last reading, so that what is newest is used in full.
func (t *Track) blocks(out []block) []block {
	end := len(t.days) - 1
	for end > 0 && len(out) < maxBlocks {
		last := t.days[end]
		i := sort.Search(end, func(i int) bool { return daysBetween(t.days[i], last) < blockDays }) - 1
		i = max(i, 0)
		days := daysBetween(t.days[i], last)
		if days < minBlockDays {
			break
		}
		km := t.km[end] - t.km[i]
		if t.shift[i] != t.shift[end] {
			km = math.NaN()
		}
		out = append(out, block{from: t.days[i], days: days, km: km})
		end = i
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}

// usageState is what is known after the last block: means and covariances of
// the vehicle's level v and the OU state x. logLik is the log likelihood of
// the blocks, large misfits counted linearly.
type usageState struct {
	v, x          float64
	vv, vx, xx    float64
	logLik        float64
	sumZ2, blocks float64 // one-step misfits, for checks
}

const (
	// outlyingZ is where a month stops counting as part of the same law: a
	// lay-up moves the level as far as a misfit of this size, no further.
	outlyingZ = 3.0
	// ownSpreadPrior is the number of months that the class's spread counts for
	// against the vehicle's own.
	ownSpreadPrior = 10.0
	// standingShare of the class mean is taken for a month without distance,
	// whose log would be infinite.
	standingShare = .02
)

var logStandingShare = math.Log(standingShare)

// filter runs the exact Gaussian recursion over the blocks. The mean of OU over
// a block of L days needs no fine grid:
//
//	a = exp(-L/ell), I = integral of x: E I = ell (1-a) x
//	Var x' = s²(1-a²), Cov(x',I) = s² ell (1-a)², Var I = s² ell² (2L/ell - 3 + 4a - a²)
func (c *ClassUsage) filter(blocks []block) usageState {
	s2 := c.OUSD * c.OUSD
	f := usageState{vv: c.VehicleSD * c.VehicleSD, xx: s2}
	f.v = c.oddLevel(blocks)
	for _, b := range blocks {
		L := b.days
		a := math.Exp(-L / c.OUDays)
		g := c.OUDays * (1 - a) / L
		q11, q12, q22 := c.noise(L, a)
		// Covariance of v and x' with the block's mean v + I/L.
		cv := f.vv + g*f.vx
		cx := a*(f.vx+g*f.xx) + q12
		S := f.vv + 2*g*f.vx + g*g*f.xx + q22 + c.BlockSD*c.BlockSD*blockDays/L
		mean := f.v + g*f.x
		f.x *= a
		f.vx *= a
		f.xx = a*a*f.xx + q11
		if math.IsNaN(b.km) {
			continue
		}
		e := c.logRate(b) - mean
		z := e / math.Sqrt(S)
		f.blocks++
		f.sumZ2 += min(z*z, outlyingZ*outlyingZ)
		if az := math.Abs(z); az > outlyingZ {
			f.logLik -= outlyingZ*az - outlyingZ*outlyingZ/2 + math.Log(S)/2
			S *= az / outlyingZ
		} else {
			f.logLik -= (z*z + math.Log(S)) / 2
		}
		f.v += cv * e / S
		f.x += cx * e / S
		f.vv -= cv * cv / S
		f.vx -= cv * cx / S
		f.xx -= cx * cx / S
	}
	return f
}

// scaled returns the class with the spread within a vehicle as this one's own
// misfits show it: some are driven by the clock, others as it comes.
func (c ClassUsage) scaled(f usageState) ClassUsage {
	scale := math.Sqrt((ownSpreadPrior + f.sumZ2) / (ownSpreadPrior + f.blocks))
	c.OUSD *= scale
	c.BlockSD *= scale
	return c
}

// noise returns Var x', Cov(x', I/L) and Var I/L of the OU process over L days,
// given x before; a = exp(-L/ell).
func (c *ClassUsage) noise(L, a float64) (q11, q12, q22 float64) {
	s2, r := c.OUSD*c.OUSD, c.OUDays/L
	return s2 * (1 - a*a), s2 * r * (1 - a) * (1 - a), max(0, s2*r*r*(2/r-3+4*a-a*a))
}

// weigh fills in the blocks' rates by the class's season and week. None is below
// least: when a vehicle stood its log would be infinite.
func (c *ClassUsage) weigh(blocks []block, least float64) {
	for i := range blocks {
		b := &blocks[i]
		from := float64(b.from)
		b.rate = max(least, math.Log(b.km/c.weightedDays(from, from+b.days)))
	}
}

// pass leaves out the months that a vehicle stood and drove again after: laid up, it
// says nothing of how it is driven. Their logs would hold a date back for years. Of one
// that stands now nobody knows whether it will be driven again.
func (c *ClassUsage) pass(blocks []block) {
	drove := false
	for i := len(blocks) - 1; i >= 0; i-- {
		switch b := &blocks[i]; {
		case b.rate > c.standing():
			drove = true
		case drove:
			b.km = math.NaN()
		}
	}
}

// standing is the least log rate that is told apart.
func (c *ClassUsage) standing() float64 { return c.LogKmPerDay + logStandingShare }

// logRate returns the block's rate relative to the class.
func (c *ClassUsage) logRate(b block) float64 { return b.rate - c.LogKmPerDay }

// oddLevel returns the part of a vehicle's median level beyond three standard
// deviations of its class: such a vehicle is driven for another purpose, and
// its own readings must not be taken for outliers.
func (c *ClassUsage) oddLevel(blocks []block) float64 {
	var buf [maxBlocks]float64
	rates := buf[:0]
	for _, b := range blocks {
		if !math.IsNaN(b.km) {
			rates = append(rates, c.logRate(b))
		}
	}
	if len(rates) < 2 {
		return 0
	}
	sort.Float64s(rates)
	mid, far := rates[len(rates)/2], outlyingZ*c.VehicleSD
	return mid - min(max(mid, -far), far)
}

// weightedDays returns the days from a to b weighted by season and weekday.
func (c *ClassUsage) weightedDays(a, b float64) float64 {
	return c.weightedFrom(c.seasonIntegral(a), a, b)
}

// weightedFrom is weightedDays with the season's integral up to a given.
func (c *ClassUsage) weightedFrom(season, a, b float64) float64 {
	days := c.seasonIntegral(b) - season
	// Whole weeks weigh 7; what is left over is counted from the front.
	first := int(math.Floor(a))
	left := int(math.Round(b-a)) % 7
	for i := range left {
		days += c.Weekday[weekday(first+i)] - 1
	}
	return max(days, .1*(b-a))
}

// weekday returns 0 for a Sunday; 1 January 1970 was a Thursday.
func weekday(d int) int { return ((d+4)%7 + 7) % 7 }

// seasonIntegral integrates the season from 1 January 1970 to day d.
func (c *ClassUsage) seasonIntegral(d float64) float64 {
	if c.Season == [harmonics][2]float64{} {
		return d
	}
	const omega = 2 * math.Pi / yearDays
	sin1, cos1 := math.Sincos(omega * (d - yearDays*math.Floor(d/yearDays)))
	sin, cos := sin1, cos1
	sum := d
	for k, h := range c.Season {
		sum += (h[0]*sin - h[1]*cos) / (omega * float64(k+1))
		sin, cos = sin*cos1+cos*sin1, cos*cos1-sin*sin1
	}
	return sum
}

// ouLaw is the law of the distance ahead, given the state at the last reading.
type ouLaw struct {
	class  ClassUsage
	at     usageState
	season float64 // the season's integral up to the last reading
}

// logKm takes the log of the mean rate for the mean of the log rate, as the
// blocks do. The mean of x over (a, b) has closed moments.
func (l *ouLaw) logKm(from Day, a, b float64) (mu, sd float64) {
	c, f := &l.class, &l.at
	L := max(b-a, 1e-3)
	da, dL := 1., math.Exp(-L/c.OUDays)
	if a > 0 {
		da = math.Exp(-a / c.OUDays)
	}
	g := c.OUDays * (1 - dL) / L
	_, _, q22 := c.noise(L, dL)
	xx := da*da*f.xx + c.OUSD*c.OUSD*(1-da*da)
	v := f.vv + 2*g*da*f.vx + g*g*xx + q22 + c.BlockSD*c.BlockSD*blockDays/max(L, 1)
	day, season := float64(from), l.season
	if a > 0 {
		season = c.seasonIntegral(day + a)
	}
	mu = c.LogKmPerDay + f.v + g*da*f.x + math.Log(c.weightedFrom(season, day+a, day+a+L))
	return mu, math.Sqrt(v)
}
