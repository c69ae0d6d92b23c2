package demo

import (
	"math"
	"math/rand/v2"
	"sort"
)

// Distance driven. The spread between vehicles, days and lay-ups is an
// assumption; the drift and the block are the usage model's of the method.
const (
	useSD       = .30
	useDriftSD  = .27
	useDriftLen = 90.0 // days
	useBlockSD  = .12  // between blocks of 30 days
	useBlockLen = 30
	dayFrom     = .6 // a day's use is uniform between these factors
	dayTo       = 1.4
	layUpMin    = 14.0 // days
	layUpMax    = 60.0
)

// road is the distance of one vehicle, day by day, drawn as far as asked for.
type road struct {
	km      []float64 // at the start of each day, from the first on
	day0    int       // the first day, from 1970
	scale   float64   // mean km of a day
	layUps  float64   // per day
	class   *class
	r       *rand.Rand
	drift   ou
	level   float64
	block   float64
	standBy int // days that it still stands
}

func (d *road) start(p *plan, shares *Shares) {
	d.class = &classes[p.class]
	d.r = stream(p.seed, streamRoad, uint64(p.index))
	d.day0 = p.birth
	d.km = append(d.km[:0], p.startKm)
	d.scale = d.class.kmPerDay * p.use / profileMean[p.class]
	d.layUps = shares.LayUps / yearDays
	d.drift = newOU(d.r, useDriftSD, useDriftLen, 7)
	d.standBy = 0
}

// extend draws the distance up to the start of day t.
func (d *road) extend(t int) {
	for i := len(d.km) - 1; i < t; i++ {
		if i%useBlockLen == 0 {
			d.block = logNormal(d.r, useBlockSD)
		}
		if i%7 == 0 {
			d.level = d.scale * d.block * math.Exp(d.drift.next(d.r)-useDriftSD*useDriftSD/2)
		}
		u := d.r.Float64()
		km := d.level * d.class.profile(d.day0+i) * (dayFrom + (dayTo-dayFrom)*u)
		switch {
		case d.standBy > 0:
			d.standBy--
			km = 0
		// The remainder of u is as good as a fresh draw, and cheaper.
		case d.layUps > 0 && u*4096-math.Floor(u*4096) < d.layUps:
			d.standBy = int(uniform(d.r, layUpMin, layUpMax))
		}
		d.km = append(d.km, d.km[i]+km)
	}
}

// at returns the distance at t days, drawn so far.
func (d *road) at(t float64) float64 {
	i := int(t)
	if i >= len(d.km)-1 {
		return d.km[len(d.km)-1]
	}
	return d.km[i] + (t-float64(i))*(d.km[i+1]-d.km[i])
}

// when returns the time in days at which the distance reached km, which must
// lie within what is drawn.
func (d *road) when(km float64) float64 {
	i := sort.SearchFloat64s(d.km, km)
	if i == 0 {
		return 0
	}
	if i == len(d.km) {
		return float64(i - 1)
	}
	return float64(i-1) + (km-d.km[i-1])/(d.km[i]-d.km[i-1])
}

// profile returns how much a class drives on a day, before scaling.
func (c *class) profile(day int) float64 {
	// The day of the year, to a day; 1 January 1970 was a Thursday.
	doy := day * 10000 % 3652425 / 10000
	f := c.week[(day+4)%7] * (1 - c.swing*yearCos[doy])
	switch {
	case doy >= 357 || doy < 1:
		f *= c.newYear
	case doy >= 200 && doy < 221:
		f *= c.summer
	}
	return f
}

// yearCos is the cosine of the year, 1 on 1 January.
var yearCos = func() (t [366]float64) {
	for i := range t {
		t[i] = math.Cos(2 * math.Pi * float64(i) / yearDays)
	}
	return t
}()

// profileMean is each class's mean profile over 28 years, after which the
// calendar repeats.
var profileMean = func() (t [len(classes)]float64) {
	const days = 28*365 + 7
	for c := range classes {
		for day := range days {
			t[c] += classes[c].profile(day) / days
		}
	}
	return t
}()
