package demo

import (
	"iter"
	"math"
	"strconv"

	"brakewear/internal/fleet"
)

// The island, its places, its authority and the makes of its vehicles are
// invented.
const islandFleet = "Skarrowmere Island Transport"

const islandSeed = 20

var islandDepots = []depot{
	{name: "Quenby Sands", gauge: gauges[0], caution: 1.6},
	{name: "Gannetsby", gauge: gauges[1], caution: 1.4, effect: .06},
	{name: "Upper Skarrow", gauge: gauges[0], caution: 1.8, effect: -.05, outerOnly: true},
}

// islandShares keep the records in order: what is awkward on the island is
// placed by hand, so that a visitor can find it.
var islandShares = Shares{
	BoughtUsed: .15, UnknownStart: .2, Late: .05, NoOdometer: .1,
	LayUps: .1, Sensors: .5, FuelCards: .8, Rotors: .6,
}

// line is a run of vehicles of one kind.
type line struct {
	class int
	name  string
	first int // number of the first
	n     int
	use   float64 // factor on the class's distance: the island is small
}

var islandLines = []line{
	{classBus, "Bus", 101, 22, .8},
	{classVan, "Van", 21, 14, .9},
	{classCar, "Car", 61, 9, 1},
	{classRefuse, "Refuse", 41, 9, 1},
	{classTruck, "Truck", 81, 6, .45},
}

// span is a span of days from the last day of the records to the true limit
// date of the vehicle's first axle. The list of what is due soon gets its story
// from it.
type span struct{ from, to int }

var (
	dueNow   = span{-6, 9}
	inWeeks  = span{10, 45}
	inMonths = span{46, 120}
	later    = span{121, 100000}
	anyTime  = span{-100000, 100000}
)

// islandDue are the vehicles that are due at a chosen time; the others are due
// later.
var islandDue = map[string]span{
	"Bus 103": dueNow, "Refuse 44": dueNow, "Van 29": dueNow,
	"Bus 106": inWeeks, "Bus 111": inWeeks, "Bus 119": inWeeks, "Refuse 41": inWeeks,
	"Refuse 48": inWeeks, "Van 24": inWeeks, "Van 31": inWeeks, "Car 65": inWeeks,
	"Bus 101": inMonths, "Bus 104": inMonths, "Bus 108": inMonths, "Bus 112": inMonths,
	"Bus 115": inMonths, "Bus 120": inMonths, "Refuse 42": inMonths, "Refuse 46": inMonths,
	"Van 22": inMonths, "Van 27": inMonths, "Van 34": inMonths, "Car 62": inMonths,
	"Truck 82": inMonths,
}

// Island streams the demo fleet: 60 vehicles of five kinds in three depots,
// with two and a half years of records that end on until.
func Island(until fleet.Date) iter.Seq[*Vehicle] {
	return func(yield func(*Vehicle) bool) {
		w := newWorld(Options{Seed: islandSeed, Until: until, Shares: &islandShares})
		s := &sim{world: w}
		index := 0
		for _, l := range islandLines {
			for i := range l.n {
				if !yield(s.islander(l, l.name+" "+strconv.Itoa(l.first+i), index)) {
					return
				}
				index++
			}
		}
	}
}

// islanderTries bounds the search for a vehicle that suits its place in the
// story; the last one is taken as it is.
const islanderTries = 5000

func (s *sim) islander(l line, number string, index int) *Vehicle {
	due, ok := islandDue[number]
	if !ok {
		due = later
	}
	odd, isOdd := islandAwkward[number]
	if isOdd {
		due = odd.due
	}
	var v *Vehicle
	for try := range uint64(islanderTries) {
		p := s.islandPlan(l, number, index, try)
		if odd.prepare != nil {
			odd.prepare(s.world, p)
		}
		v = s.vehicle(p)
		if days := s.daysLeft(v); days < due.from || days > due.to {
			continue
		}
		if !isOdd && !s.wellRead(v) {
			continue
		}
		if odd.spoil == nil || odd.spoil(s, v) {
			break
		}
	}
	return v
}

func (s *sim) islandPlan(l line, number string, index int, try uint64) *plan {
	r := stream(islandSeed, streamPlan, uint64(index), try)
	k := &classes[l.class]
	p := &plan{
		index: index, seed: r.Uint64(), class: l.class,
		number: number, fleet: islandFleet, plate: plate(uint64(index) + 5000),
		depot: islandDepots[index%len(islandDepots)],
		duty:  index / 2 % len(k.duties),
		model: index / 3 % len(k.models),
	}
	if l.class == classTruck {
		p.duty = 1 // an island has no long haul
	}
	s.drawHistory(p, r)
	p.use *= l.use
	return p
}

// daysLeft returns the days from the end of the records until the first axle
// reaches its limit.
func (s *sim) daysLeft(v *Vehicle) int {
	first := math.MaxInt32
	for i := range v.Truth.Lives {
		l := &v.Truth.Lives[i]
		if !l.Removed.Known && l.Crossing.Known {
			first = min(first, int(l.Crossing.Date-s.opt.Until))
		}
	}
	return first
}

// wellRead says whether every axle has been measured in the last months: a
// demo of mostly stale readings would show warnings and little else.
func (s *sim) wellRead(v *Vehicle) bool {
	const recent = 150 // days
	last := make([]fleet.Date, len(v.Axles)+1)
	for _, r := range v.Readings {
		last[r.Position.Axle] = max(last[r.Position.Axle], r.Date)
	}
	for _, d := range last[1:] {
		if d < s.opt.Until-recent {
			return false
		}
	}
	return true
}
