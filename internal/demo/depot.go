package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
)

const (
	depotsPerFleet   = 12
	vehiclesPerFleet = 1500
)

// gauge is what a depot measures friction material with.
type gauge struct {
	name  string
	step  float64 // mm
	sd    float64 // of the error in all, rounding included (method)
	floor bool    // always read down to the mark below (method: one such depot)
}

var gauges = []gauge{
	{"caliper 0.1 mm", .1, .2, false},
	{"gauge 0.5 mm", .5, .3, false},
	{"gauge 1 mm", 1, .4, false},
	{"gauge 1 mm", 1, .4, true},
}

// gaugeRoster is the gauge of each depot of a fleet, before it is shuffled
// (assumption).
var gaugeRoster = [depotsPerFleet]int{0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 3}

// depot is a workshop with its habits.
type depot struct {
	name      string
	gauge     gauge
	bias      float64 // mm, of everything it reads
	outerOnly bool
	effect    float64 // on the log wear rate of its vehicles
	caution   float64 // expected wear until the next inspection is multiplied by this
}

// Habits of depots are assumptions.
const (
	depotBiasSD = .05
	cautionMean = 1.8
	cautionSD   = .25
)

// depot returns depot k of fleet f. A roster shuffled for each fleet gives every
// fleet the same shares of gauges and habits.
func (w *world) depot(f, k int) depot {
	r := stream(w.opt.Seed, streamDepot, uint64(f))
	gaugeOf := r.Perm(depotsPerFleet)
	outerOf := r.Perm(depotsPerFleet)
	own := stream(w.opt.Seed, streamDepot, uint64(f), uint64(k))
	return depot{
		name:      "Depot " + strconv.Itoa(f*depotsPerFleet+k+1),
		gauge:     gauges[gaugeRoster[gaugeOf[k]]],
		outerOnly: float64(outerOf[k]) < math.Round(w.shares.OuterOnly*depotsPerFleet),
		bias:      depotBiasSD * own.NormFloat64(),
		effect:    depotSD * own.NormFloat64(),
		caution:   cautionMean * logNormal(own, cautionSD),
	}
}

// read returns what the gauge shows of a thickness in mm. The error before
// rounding is what the rounding leaves of sd.
func (g gauge) read(r *rand.Rand, mm float64) float64 {
	x := mm + math.Sqrt(g.sd*g.sd-g.step*g.step/12)*r.NormFloat64()
	if g.floor {
		return onScale(math.Floor(x/g.step), g.step)
	}
	return onScale(math.Round(x/g.step), g.step)
}

// onScale returns n marks of a scale as the nearest float to its decimal.
func onScale(n, step float64) float64 {
	if n <= 0 {
		return 0
	}
	if step < 1 {
		return n / math.Round(1/step)
	}
	return n * step
}

// plan is what a vehicle is before its first day.
type plan struct {
	index     int
	seed      uint64
	class     int
	duty      int
	model     int
	number    string
	fleet     string
	depot     depot
	plate     string
	year      int
	origin    string
	birth     int // day of the simulated path on which it starts, from 1970
	entry     int // first day on record
	startKm   float64
	wear      float64 // log effect on its wear rate
	use       float64 // factor on its distance
	known     bool    // fittings before entry are on record
	sensor    bool
	fuelCard  bool
	swaps     []float64 // days from 1970
	forceDrag forcedDrag
}

// forcedDrag makes a caliper seize on a day, and keeps the pads on.
type forcedDrag struct {
	axle int // 0: no
	day  int // from 1970
}

// Origins.
const (
	inService = "in service"
	bought    = "used"
	brandNew  = "new"
)

// plan draws vehicle i.
func (w *world) plan(i int) *plan {
	r := stream(w.opt.Seed, streamPlan, uint64(i))
	p := &plan{index: i, seed: w.opt.Seed}
	p.class = pick(r, len(classes), func(i int) float64 { return classes[i].share })
	k := &classes[p.class]
	p.duty = pick(r, len(k.duties), func(i int) float64 { return k.duties[i].share })
	p.model = pick(r, len(k.models), func(i int) float64 { return k.models[i].share })
	f := i / vehiclesPerFleet
	p.depot = w.depot(f, r.IntN(depotsPerFleet))
	p.fleet = "Fleet " + strconv.Itoa(f+1)
	p.number = fmt.Sprintf("V%06d", i+1)
	p.plate = plate(uint64(i))
	w.drawHistory(p, r)
	return p
}

// plate makes a plate of an invented pattern: a digit, two letters, four digits.
func plate(i uint64) string {
	const letters = "ACEHKLMNPRTX"
	// The factor is coprime to the number of plates: neighbours look unlike, and no
	// plate comes twice.
	n := i * 4999999 % (9 * 144 * 10000)
	return fmt.Sprintf("%d%c%c %04d", n%9+1, letters[n/9%12], letters[n/108%12], n/1296)
}

// drawHistory draws where the vehicle comes from and how it is used.
func (w *world) drawHistory(p *plan, r *rand.Rand) {
	k := &classes[p.class]
	from, until := int(w.from), int(w.opt.Until)
	span := float64(until - from)
	p.use = k.duties[p.duty].use * logNormal(r, useSD)
	switch u := r.Float64(); {
	case u < w.shares.BoughtUsed:
		p.origin = bought
		p.entry = from + int(span*uniform(r, 0, .9))
		p.birth = p.entry - int(yearDays*uniform(r, .3, 3))
		p.startKm = k.kmPerDay * yearDays * uniform(r, .2, 2)
	case u < w.shares.BoughtUsed+(1-w.shares.BoughtUsed)*newShare:
		p.origin = brandNew
		p.entry = from + int(span*uniform(r, 0, .9))
		p.birth = p.entry
		p.startKm = math.Round(uniform(r, 5, 400))
		p.known = true
	default:
		p.origin = inService
		p.entry = from
		p.birth = from - int(yearDays*uniform(r, 0, 3))
		p.startKm = k.kmPerDay * yearDays * max(0, uniform(r, -2, 4))
	}
	unknown := chance(r, w.shares.UnknownStart)
	if p.origin == inService {
		p.known = !unknown
	}
	p.year = yearOf(p.birth - int(p.startKm/k.kmPerDay))
	p.wear = vehicleSD * r.NormFloat64()
	if chance(r, oddVehicle) {
		p.wear *= oddVehicleSD / vehicleSD
	}
	p.sensor = chance(r, w.shares.Sensors) && k.models[p.model].sensor
	p.fuelCard = chance(r, w.shares.FuelCards)
	p.swaps = happenings(r, w.shares.ClusterSwaps/yearDays, float64(p.entry), float64(until))
}

// newShare of the vehicles not bought used join new while records are kept
// (assumption).
const newShare = .3

func yearOf(day int) int { return 1970 + int(math.Floor(float64(day)/365.2425)) }
