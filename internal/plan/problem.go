package plan

import "brakewear/internal/fleet"

// Problem is what is to be booked, and into what. Days are counted from Start.
type Problem struct {
	Start    fleet.Date // first day that may be booked
	Days     int        // how many days
	Risk     float64    // accepted chance of being past the limit; 0 = DefaultRisk
	Shops    []Shop
	Vehicles []Vehicle
	Rates    Rates // zero = DefaultRates
}

// Shop is a workshop with what it still has to give: what bookings outside the
// problem take is taken off before; what the problem's fixed jobs take is not.
type Shop struct {
	ID   int64
	Days []Capacity // one for each day of the problem
}

// Capacity is what a shop can still do on one day; its zero value is a closed
// day.
type Capacity struct {
	Hours    float64 // technicians' working hours
	Overtime float64 // hours beyond those, at Rates.Overtime each
	Visits   int     // vehicles that the bays can take
}

// Vehicle is a vehicle with the axles that may be worked on. It comes to one
// shop on one day at most.
type Vehicle struct {
	ID    int64
	Shops []Way // where it may be done, home first
	// Blocked are the days it cannot be spared.
	Blocked []fleet.Date
	// Joins are visits planned anyway (statutory test, service): a job that
	// goes with one costs no visit. A vehicle may join, not move, them, and
	// goes to no other shop on such a day.
	Joins []Slot
	Jobs  []Job
}

// Way is a shop that may do a vehicle, and what getting there costs more than
// at home.
type Way struct {
	Shop int64
	Cost float64 // per visit
}

// Slot is a day at a shop.
type Slot struct {
	Shop int64
	Date fleet.Date
}

// Job is the work on one axle. Past and Wasted have a value for each day of
// the problem; Outlook makes them from a forecast.
type Job struct {
	Axle  int     // 1 = front; with the vehicle the key of the job
	Hours float64 // done alone
	// SetUp is the part of Hours that jobs of the vehicle done on one visit
	// have in common: bringing it in, lifting, test drive.
	SetUp float64

	Past   []float64 // chance of being past the limit by that day
	Wasted []float64 // lining thrown away when done that day, mm expected
	After  float64   // the same when done after the horizon, on its book-by date
	Usable float64   // mm of a new set between its new and limit value

	Weight float64 // of risk; 0 = 1. DefaultSteerWeight for a braked steer axle
	Value  float64 // of a set beside others; 0 = 1

	Ready fleet.Date // first day its parts can be there; zero = at once

	// Fixed keeps a job where a person, or an earlier plan about to be carried
	// out, has put it. It may lie outside the days and the shops of the problem.
	Fixed *Slot
	// Previous is where the last proposal had it; another slot costs
	// Rates.Move.
	Previous *Slot
}

// Rates weigh one kind of cost against another. The unit is the value of one
// axle's new lining, its fitting included.
type Rates struct {
	Lining   float64 // a whole new set thrown away
	Past     float64 // being past the limit on the day of the job, for sure
	PastDay  float64 // each day driven past the limit
	Excess   float64 // chance of being past above the accepted risk
	Breach   float64 // above the accepted risk where another day would not be
	Visit    float64 // bringing a vehicle in
	Overtime float64 // an hour
	Move     float64 // a job proposed elsewhere before
	Unplaced float64 // a job that ought to be booked and is not

	// What remedies cost, to tell the cheapest.
	ExtraVisit float64 // room for one more vehicle on a day
	Away       float64 // sending a vehicle to a shop that is not one of its own
	Hurry      float64 // a day by which parts come sooner
	Spare      float64 // a blocked day given up
}

// DefaultRisk is the accepted chance of being past the limit: the usual 5 % of
// one-sided limits.
const DefaultRisk = .05

// DefaultSteerWeight is what being past the limit on a braked steer axle
// counts: it does most of the braking, and pulls the vehicle aside when it
// fails. Judgement.
const DefaultSteerWeight = 2

// DefaultRates are judgement, but for Past and Excess, which the project's
// simulated fleets were planned with. A set fitted stands for about 400 units
// of money; then a visit is half a day's absence and two drives, an hour of
// overtime the premium above its wage and the goodwill it takes. Breach
// exceeds what moving a hundred other jobs across sixty days throws away, so
// that it gives way to nothing but greater risk.
var DefaultRates = Rates{
	Lining:   1,
	Past:     2,
	PastDay:  .1,
	Excess:   50,
	Breach:   10,
	Visit:    .3,
	Overtime: .06,
	Move:     .05,
	Unplaced: 5,

	ExtraVisit: .5,
	Away:       .4,
	Hurry:      .05,
	Spare:      .3,
}
