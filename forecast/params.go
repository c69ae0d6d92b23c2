package forecast

import (
	"maps"
	"math"
	"strconv"
	"strings"
)

// Params are what a fleet teaches the full model: numbers only, which go
// through JSON unchanged. DefaultParams stand in for a fleet not learned yet.
type Params struct {
	Noise  map[Part]Noise   `json:"noise"`
	Rates  Rates            `json:"rates"`
	Depots map[string]Gauge `json:"depots,omitempty"`
	Season WearSeason       `json:"season"`
	Tail   TailMap          `json:"tail"`
	Usage  UsageModel       `json:"usage"`
	// Training says what they were learned from; nil for defaults.
	Training *Training `json:"training,omitempty"`
}

// Gauge describes how a depot reads.
type Gauge struct {
	Bias     float64 `json:"bias"` // mm, reading less truth
	SD       float64 `json:"sd"`   // mm, of one reading with its rounding; 0 = not known
	Readings int     `json:"readings"`
}

// Rates is the hierarchy of the log wear rate theta (rate in mm per 1000 km):
//
//	theta = group + duty + class x duty + class x model + depot  (fleet-wide)
//	      + vehicle + axle + set                                 (sds below)
//
// Groups are keyed by RateKey, the others by their names joined with "|".
type Rates struct {
	Groups     map[string]Effect `json:"groups,omitempty"`
	Duty       map[string]Effect `json:"duty,omitempty"`
	ClassDuty  map[string]Effect `json:"class_duty,omitempty"`
	ClassModel map[string]Effect `json:"class_model,omitempty"`
	Depot      map[string]Effect `json:"depot,omitempty"`

	Vehicle float64 `json:"vehicle"` // sd between vehicles
	Axle    float64 `json:"axle"`    // sd between axles of a vehicle
	Set     float64 `json:"set"`     // sd between successive sets on an axle

	Unseen Unseen `json:"unseen"`
}

// Unseen are the variances of the effects of names that the fleet learned from
// does not have.
type Unseen struct {
	Duty       float64 `json:"duty"`
	ClassDuty  float64 `json:"class_duty"`
	ClassModel float64 `json:"class_model"`
	Depot      float64 `json:"depot"`
}

// Effect is an estimated effect on theta.
type Effect struct {
	Mean  float64 `json:"mean"`
	Var   float64 `json:"var"` // of the estimate
	Lives int     `json:"lives"`
}

// RateKey names the group of a part on an axle of a class.
func RateKey(class string, axle int, p Part) string {
	return class + "|" + strconv.Itoa(axle) + "|" + string(p)
}

// DefaultParams returns the parameters of a fleet not learned yet: spreads
// assumed on simulated fleets, and no groups, so that rates come from planning
// bands.
func DefaultParams() Params {
	noise := make(map[Part]Noise)
	for _, part := range partOrder {
		noise[part] = defaultNoise(part)
	}
	return Params{
		Noise: noise,
		Rates: Rates{Vehicle: 0.28, Axle: 0.09, Set: 0.14},
		Tail:  TailMap{Nu: 8, None: 1.00, Some: 1.10, Many: 1.15},
		Usage: DefaultUsage(),
	}
}

func defaultNoise(part Part) Noise {
	n := Noise{
		Gauge: 0.30, Visit: 0.12, Start: 0.12, StartPlace: 0.08,
		Side: 0.05, Place: 0.08, InnerOuter: 0.07,
		Drift: 0.20, DriftSide: 0.06, DriftPlace: 0.06, DriftDays: 250,
		AccelSD: 0.08,
	}
	if part.rubs() != "" {
		// A micrometer reads rotors and drums, and their bodies are made to
		// closer limits than friction material. Judgement, no source.
		n.Gauge, n.Visit, n.Start, n.StartPlace = 0.08, 0.03, 0.05, 0.03
	}
	return n
}

// gaugeSD is the spread of one reading in mm: the depot's own where known,
// else that of the hand that reads and the rounding to the gauge's step, else
// the fleet's.
func (p *Params) gaugeSD(part Part, step float64, depot string) float64 {
	if g := p.Depots[depot]; g.SD > 0 && part.rubs() == "" {
		return g.SD
	}
	n := p.noise(part)
	if !(step > 0) || step > maxStep {
		return n.Gauge
	}
	// handShare leaves 0.2 mm for a fleet's 0.3 (0.1 mm gauges of a simulated
	// fleet, from memory).
	const handShare = 2.0 / 3
	hand := handShare * n.Gauge
	return math.Sqrt(hand*hand + step*step/12)
}

// maxStep: a gauge that shows no less than this many mm is an entry gone wrong.
const maxStep = 5.0

// prior is the expected log-rate of a part and what makes it uncertain.
type prior struct {
	mean  float64
	group float64 // variance of the mean of the part's group
	fleet float64 // and of the vehicle's duty, model and depot
	total float64 // variance for a set of a vehicle of which nothing is known
	// banded says that the mean is a planning band's more than a fleet's.
	banded bool
}

// priorOf returns the prior of a part that rubs, on an axle of v.
func (r *Rates) priorOf(v *Vehicle, axle int, part Part) prior {
	g, ok := r.Groups[RateKey(v.Class, axle, part)]
	p := prior{mean: g.Mean, group: g.Var, banded: g.Lives < leastLives}
	if !ok {
		p.mean, p.group = bandOf(v.Class, axle)
	}
	keys := effectKeys(v)
	for _, e := range [...]Effect{
		effect(r.Duty, keys[dutyFamily], r.Unseen.Duty),
		effect(r.ClassDuty, keys[classDutyFamily], r.Unseen.ClassDuty),
		effect(r.ClassModel, keys[classModelFamily], r.Unseen.ClassModel),
		effect(r.Depot, keys[depotFamily], r.Unseen.Depot),
	} {
		p.mean += e.Mean
		p.fleet += e.Var
	}
	p.total = p.group + p.fleet + r.Vehicle*r.Vehicle + r.Axle*r.Axle + r.Set*r.Set
	return p
}

// effectKeys names the effects of a vehicle by family, but the groups'.
func effectKeys(v *Vehicle) [families]string {
	return [families]string{
		dutyFamily:       v.Duty,
		classDutyFamily:  v.Class + "|" + v.Duty,
		classModelFamily: v.Class + "|" + v.Model,
		depotFamily:      v.Depot,
	}
}

// NamedBy returns the parameters with the duties, models and depots only that a
// vehicle has.
func (p Params) NamedBy(vs []Vehicle) Params {
	var own [families]map[string]bool
	for f := range own {
		own[f] = make(map[string]bool)
	}
	for i := range vs {
		for f, name := range effectKeys(&vs[i]) {
			own[f][name] = true
		}
	}
	r := &p.Rates
	r.Duty, r.ClassDuty = of(r.Duty, own[dutyFamily]), of(r.ClassDuty, own[classDutyFamily])
	r.ClassModel, r.Depot = of(r.ClassModel, own[classModelFamily]), of(r.Depot, own[depotFamily])
	p.Depots = of(p.Depots, own[depotFamily])
	return p
}

func of[T any](known map[string]T, names map[string]bool) map[string]T {
	known = maps.Clone(known)
	maps.DeleteFunc(known, func(name string, _ T) bool { return !names[name] })
	return known
}

// effect returns an effect by name, or one of nobody knows what.
func effect(known map[string]Effect, name string, unseen float64) Effect {
	if e, ok := known[name]; ok {
		return e
	}
	return Effect{Var: unseen}
}

// bandOf returns mean and variance of log mm per 1000 km from planning bands
// in mm per 10,000 km (derived from part thickness and life figures; from
// memory): car front 0.5-2.5, rear 0.3-1.5; van 0.8-4; city bus 2-6; lorries
// from a highway truck's 0.1 to a city bus's 6, since the class alone does not
// tell them apart, and so for anything else. A band is taken for mean +- 2 sd.
func bandOf(class string, axle int) (mean, variance float64) {
	lo, hi := 0.1, 6.0
	switch strings.ToUpper(class) {
	case "M1":
		if lo, hi = 0.5, 2.5; axle > 1 {
			lo, hi = 0.3, 1.5
		}
	case "N1":
		lo, hi = 0.8, 4
	case "M2", "M3":
		lo, hi = 2, 6
	}
	a, b := math.Log(lo/10), math.Log(hi/10)
	sd := (b - a) / 4
	return (a + b) / 2, sd * sd
}
