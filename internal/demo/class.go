package demo

import (
	"math"

	"brakewear/internal/fleet"
)

// Spreads of the log wear rate (method: fleet estimates near .28, .09, .14 for
// vehicle, axle and set; the rest are assumptions).
const (
	modelSD = .12
	depotSD = .08
	axleSD  = .10
	setSD   = .14
	// Vehicles are a contaminated normal: one in ten is driven quite otherwise.
	vehicleSD     = .22
	oddVehicle    = .10
	oddVehicleSD  = .60
	vehicleVar    = (1-oddVehicle)*vehicleSD*vehicleSD + oddVehicle*oddVehicleSD*oddVehicleSD
	counterRatio  = .10 // wear of a rotor per wear of its pads (guess, as in the method)
	counterSD     = .50 // of its log, between rotors
	liningLight   = .35 // wear of a rear lining per wear of a rear pad, cars and vans (assumption)
	liningHeavy   = .70 // the same of heavy vehicles (assumption)
	drumOverShoes = .12 // growth of a drum's diameter per wear of its linings (assumption)
)

// class is one kind of vehicle.
type class struct {
	name     string
	category fleet.Category
	share    float64
	wear     [2]float64 // mean mm per 10,000 km of pads, front and rear (method)
	kmPerDay float64    // mean over the year (assumption)
	visit    float64    // mean days between inspections (assumption)
	duties   []duty
	models   []model
	week     [7]float64 // weights of the days, Sunday first (assumption)
	newYear  float64    // of usual use between 24 December and 1 January (assumption)
	summer   float64    // in three weeks of summer (assumption)
	swing    float64    // of use over the year, most in June (assumption)
}

// duty is a kind of work; all figures are assumptions. wear and use are
// relative; wear is scaled so that the class keeps its mean.
type duty struct {
	name      string
	share     float64
	wear, use float64
}

// model is a vehicle model, invented. Sources of the values, by id of the
// published ones: pads of cars WP-18 to WP-20 (limit by maker 1.5-2.0 mm),
// rotors of cars WP-10 and WP-11, drums of cars WP-22 and WP-23 with the limit
// of 1.5 mm of UK-01; heavy rotors WP-12, heavy pads 30 mm with a plate of 9 mm
// (WP-13) and the limits of US-03, US-05 and US-06. Vans, and heavy drums
// (16.5 inch, 3 mm of wear): common practice, no source.
type model struct {
	make, name   string
	share        float64
	axles        int
	pad, rotor   [2]fleet.Spec // front, rear
	rearDrum     bool
	lining, drum fleet.Spec
	sensor       bool // can have a wear sensor on its front axle
}

func mm(new, limit float64) fleet.Spec { return fleet.Spec{New: new, Limit: limit, Source: "maker"} }

var (
	heavyPads   = [2]fleet.Spec{mm(21, 3.2), mm(21, 3.2)}
	thinHeavy   = [2]fleet.Spec{mm(19, 3.2), mm(19, 3.2)}
	heavyRotors = [2]fleet.Spec{mm(45, 37), mm(45, 37)}
	carRotors   = [2]fleet.Spec{mm(24, 22), mm(10, 8.5)}
	vanRotors   = [2]fleet.Spec{mm(28, 25), mm(16, 14)}
	carDrum     = mm(228.6, 230.6)
	vanDrum     = mm(270, 272)
	heavyDrum   = mm(419, 422)
	carLining   = mm(4.9, 1.5)
	vanLining   = mm(6.0, 1.5)
	heavyLining = mm(19, 6.4)

	everyDay    = [7]float64{.8, 1.05, 1.05, 1.05, 1.05, 1.1, .9}
	workingWeek = [7]float64{.05, 1.3, 1.3, 1.3, 1.3, 1.25, .5}
	haulageWeek = [7]float64{.1, 1.25, 1.35, 1.35, 1.35, 1.2, .4}
	collectWeek = [7]float64{0, 1.3, 1.35, 1.35, 1.35, 1.3, .35}
	timetable   = [7]float64{.65, 1.08, 1.08, 1.08, 1.08, 1.08, .95}
)

// Indexes of classes.
const (
	classCar = iota
	classVan
	classBus
	classTruck
	classRefuse
)

var classes = [...]class{
	classCar: {
		name: "car", category: "M1", share: .28, wear: [2]float64{1.7, 1.2}, kmPerDay: 55, visit: 150,
		duties: []duty{{"city", .35, 1.3, .8}, {"mixed", .4, 1, 1}, {"rural", .25, .75, 1.3}},
		models: []model{
			{make: "Lunderquay", name: "Wren", share: .4, axles: 2, pad: [2]fleet.Spec{mm(11.5, 2), mm(9, 2)}, rotor: carRotors, sensor: true},
			{make: "Lunderquay", name: "Dunlin", share: .2, axles: 2, pad: [2]fleet.Spec{mm(11, 1.5), mm(9, 1.5)}, rotor: [2]fleet.Spec{mm(20, 18), mm(10, 8.5)},
				rearDrum: true, lining: carLining, drum: carDrum},
			{make: "Pellowhithe", name: "Cove", share: .4, axles: 2, pad: [2]fleet.Spec{mm(12, 2), mm(10, 2)}, rotor: carRotors, sensor: true},
		},
		week: everyDay, newYear: .8, summer: 1.25, swing: .05,
	},
	classVan: {
		name: "van", category: "N1", share: .24, wear: [2]float64{2.5, 1.9}, kmPerDay: 90, visit: 90,
		duties: []duty{{"parcels", .45, 1.2, 1.1}, {"service", .35, .9, .8}, {"mixed", .2, .85, 1.1}},
		models: []model{
			{make: "Hathermoss", name: "Carrier 2", share: .45, axles: 2, pad: [2]fleet.Spec{mm(13, 2.5), mm(11, 2.5)}, rotor: vanRotors, sensor: true},
			{make: "Hathermoss", name: "Carrier 1", share: .25, axles: 2, pad: [2]fleet.Spec{mm(12, 2), mm(10, 2)}, rotor: vanRotors,
				rearDrum: true, lining: vanLining, drum: vanDrum},
			{make: "Pellowhithe", name: "Jetty", share: .3, axles: 2, pad: [2]fleet.Spec{mm(13, 2), mm(12, 2)}, rotor: vanRotors, sensor: true},
		},
		week: workingWeek, newYear: .4, summer: .85, swing: .04,
	},
	classBus: {
		name: "bus", category: "M3", share: .18, wear: [2]float64{3.1, 3.6}, kmPerDay: 170, visit: 50,
		duties: []duty{{"city", .6, 1.15, .9}, {"suburban", .4, .8, 1.2}},
		models: []model{
			{make: "Velquary", name: "Strand 12", share: .5, axles: 2, pad: heavyPads, rotor: heavyRotors, sensor: true},
			{make: "Velquary", name: "Strand 18", share: .2, axles: 3, pad: heavyPads, rotor: heavyRotors, sensor: true},
			{make: "Brackhollen", name: "Esplanade", share: .3, axles: 2, pad: thinHeavy, rotor: heavyRotors},
		},
		week: timetable, newYear: .7, summer: .8, swing: .03,
	},
	classTruck: {
		name: "truck", category: "N3", share: .18, wear: [2]float64{.60, .75}, kmPerDay: 380, visit: 75,
		duties: []duty{{"long haul", .7, .92, 1.1}, {"regional", .3, 1.2, .8}},
		models: []model{
			{make: "Ondrevik", name: "Tor 4", share: .45, axles: 2, pad: heavyPads, rotor: heavyRotors},
			{make: "Ondrevik", name: "Tor 6", share: .4, axles: 3, pad: heavyPads, rotor: heavyRotors},
			{make: "Brackhollen", name: "Drover", share: .15, axles: 3, pad: thinHeavy, rotor: heavyRotors,
				rearDrum: true, lining: heavyLining, drum: heavyDrum},
		},
		week: haulageWeek, newYear: .35, summer: .85, swing: .05,
	},
	classRefuse: {
		name: "refuse", category: "N3", share: .12, wear: [2]float64{5.0, 6.2}, kmPerDay: 85, visit: 50,
		duties: []duty{{"refuse", 1, 1, 1}},
		models: []model{
			{make: "Brackhollen", name: "Collector", share: .6, axles: 3, pad: heavyPads, rotor: heavyRotors},
			{make: "Ondrevik", name: "Tor 6 R", share: .4, axles: 3, pad: thinHeavy, rotor: heavyRotors},
		},
		week: collectWeek, newYear: .75, summer: 1, swing: .02,
	},
}

// groupRate returns the median wear rate in mm per km of friction parts: of
// vehicles of this class, axle, duty, model and depot. Medians lie so far below
// the class's mean that all spreads together make the mean come out.
func (w *world) groupRate(c, axle, duty, mdl int, d depot) float64 {
	k := &classes[c]
	place := min(axle, 2) - 1
	mean := k.wear[place] / 10000
	if place == 1 && k.models[mdl].rearDrum {
		if k.category.Heavy() {
			mean *= liningHeavy
		} else {
			mean *= liningLight
		}
	}
	total := 0.0
	for _, x := range k.duties {
		total += x.share * x.wear
	}
	spread := modelSD*modelSD + depotSD*depotSD + vehicleVar + axleSD*axleSD + setSD*setSD
	return mean * k.duties[duty].wear / total * math.Exp(w.modelEffects[c][mdl]+d.effect-spread/2)
}

// axleSpecs returns what is printed on the parts of an axle.
func (m *model) axleSpecs(axle int) fleet.Axle {
	place := min(axle, 2) - 1
	if place == 1 && m.rearDrum {
		return fleet.Axle{Number: axle, Brake: fleet.DrumBrake,
			Specs: map[fleet.Part]fleet.Spec{fleet.Lining: m.lining, fleet.Drum: m.drum}}
	}
	return fleet.Axle{Number: axle, Brake: fleet.DiscBrake,
		Specs: map[fleet.Part]fleet.Spec{fleet.Pad: m.pad[place], fleet.Rotor: m.rotor[place]}}
}
