// Package demo makes up fleets whose truth is known: the demo fleet of an
// invented island, and fleets of any size for benchmarks and for scoring
// forecasts. Every vehicle, name and number in it is invented.
//
// The world is richer than any model that forecasts it: drivers come and go,
// wear has seasons, calipers seize, gauges round, people mistype, parts are
// changed off the record, clusters are swapped and vehicles stand still. Where
// a constant says "method", it is a figure of the project's simulated fleets;
// where it says "assumption", it is a guess without a source.
//
// A vehicle depends on the seed, its index and the options only, never on how
// many others there are or how many processors work on them. Between kinds of
// processor the last bits may differ, which the files do not show but where a
// rounding tie falls on it.
package demo

import (
	"iter"
	"math"
	"runtime"
	"sync"

	"brakewear/internal/fleet"
)

// Options say what to make.
type Options struct {
	Vehicles int
	Seed     uint64
	Until    fleet.Date // last day of the records
	Years    float64    // length of the records; 0 = DefaultYears
	// Clean leaves out what people and gauges do wrong: every value is the
	// true one to 0.01 mm, every change and the start of every life is on
	// record, every position is read. The wear itself stays as it is.
	Clean bool
	// ToCome also makes up the inspections that would have followed had parts
	// stayed on until their limit.
	ToCome  bool
	Shares  *Shares // nil = DefaultShares
	Workers int     // 0 = one per processor
}

// DefaultYears of records.
const DefaultYears = 2.5

// Shares say how often things go otherwise than by the book.
type Shares struct {
	OuterOnly     float64 // of depots: read outer pads only
	Typos         float64 // of thickness readings
	SideSwaps     float64 // of axles inspected: left written as right
	Undeclared    float64 // of part changes: not on record
	BoughtUsed    float64 // of vehicles
	UnknownStart  float64 // of vehicles in service before the records: first fitting not on record
	Late          float64 // of changes due: put off to the next inspection
	NoOdometer    float64 // of inspections: no odometer beside the readings
	OdometerTypos float64 // of odometer values
	ClusterSwaps  float64 // per vehicle and year
	Drag          float64 // per disc axle and year: a caliper seizes
	LayUps        float64 // per vehicle and year
	Sensors       float64 // of vehicles of a model that can have a wear sensor
	FuelCards     float64 // of vehicles: odometer about once a month
	Rotors        float64 // of axles inspected: rotors or drums are measured too
}

// DefaultShares returns the shares of the method; those it does not give are
// assumptions.
func DefaultShares() Shares {
	return Shares{
		OuterOnly:     .25,
		Typos:         .02,
		SideSwaps:     .01,
		Undeclared:    .25,
		BoughtUsed:    .15, // assumption
		UnknownStart:  .40, // assumption
		Late:          .05, // assumption
		NoOdometer:    .12, // assumption
		OdometerTypos: .01, // assumption
		ClusterSwaps:  .02, // assumption
		Drag:          .02,
		LayUps:        .15, // assumption
		Sensors:       .5,  // assumption
		FuelCards:     .7,  // assumption
		Rotors:        .2,  // assumption
	}
}

// withoutFaults returns s without what is wrong with records; what happens to
// the vehicles stays.
func (s Shares) withoutFaults() Shares {
	s.OuterOnly, s.Typos, s.SideSwaps, s.Undeclared = 0, 0, 0, 0
	s.BoughtUsed, s.UnknownStart, s.NoOdometer = 0, 0, 0
	s.OdometerTypos, s.ClusterSwaps = 0, 0
	return s
}

// Vehicle is one vehicle with its records, as a workshop would hand them over,
// and the truth behind them.
type Vehicle struct {
	Number   string // unique over all fleets
	Fleet    string
	Depot    string
	Plate    string
	Category fleet.Category
	Make     string
	Model    string
	Year     int
	Duty     string

	Axles    []fleet.Axle
	Odometer []fleet.Odometer // beside those with readings and fitments
	Readings []fleet.Reading  // by day
	Fitments []fleet.Fitment  // by day

	Truth Truth
}

// Generate streams the vehicles in order. Not more than a few hundred are in
// memory at a time.
func Generate(opt Options) iter.Seq[*Vehicle] {
	w := newWorld(opt)
	return func(yield func(*Vehicle) bool) {
		inOrder(opt.Vehicles, opt.Workers, func() func(int) *Vehicle {
			s := &sim{world: w}
			return func(i int) *Vehicle { return s.vehicle(w.plan(i)) }
		}, yield)
	}
}

// batch is how many vehicles a worker makes at a time.
const batch = 32

// inOrder yields make(0), ..., make(n-1) in order, made by several workers each
// with a maker of its own. It returns when all workers have stopped.
func inOrder(n, workers int, maker func() func(int) *Vehicle, yield func(*Vehicle) bool) {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	workers = min(workers, (n+batch-1)/batch)
	if workers <= 1 {
		mk := maker()
		for i := range max(n, 0) {
			if !yield(mk(i)) {
				return
			}
		}
		return
	}
	// Worker k makes every workers-th batch; its channel keeps them in order.
	made := make([]chan []*Vehicle, workers)
	stop := make(chan struct{})
	var wg sync.WaitGroup
	defer wg.Wait()
	defer close(stop)
	for k := range workers {
		made[k] = make(chan []*Vehicle, 2)
		wg.Go(func() {
			mk := maker()
			for from := k * batch; from < n; from += workers * batch {
				vs := make([]*Vehicle, 0, batch)
				for i := from; i < min(from+batch, n); i++ {
					vs = append(vs, mk(i))
				}
				select {
				case made[k] <- vs:
				case <-stop:
					return
				}
			}
		})
	}
	for from := 0; from < n; from += batch {
		for _, v := range <-made[from/batch%workers] {
			if !yield(v) {
				return
			}
		}
	}
}

// world is what all vehicles of one call share.
type world struct {
	opt    Options
	shares Shares
	from   fleet.Date // first day of the records
	// modelEffects are the log wear effects of the models of each class.
	modelEffects [][]float64
}

func newWorld(opt Options) *world {
	w := &world{opt: opt, shares: DefaultShares()}
	if opt.Shares != nil {
		w.shares = *opt.Shares
	}
	if opt.Clean {
		w.shares = w.shares.withoutFaults()
	}
	years := opt.Years
	if years <= 0 {
		years = DefaultYears
	}
	w.from = opt.Until - fleet.Date(math.Round(years*yearDays))
	for c := range classes {
		effects := make([]float64, len(classes[c].models))
		for m := range effects {
			effects[m] = modelSD * stream(opt.Seed, streamModel, uint64(c), uint64(m)).NormFloat64()
		}
		w.modelEffects = append(w.modelEffects, effects)
	}
	return w
}
