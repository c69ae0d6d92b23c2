package plan

import "brakewear/internal/fleet"

// Plan is a proposal: what is booked where, what is not and why, what it costs
// and how far from the best it can be at most.
type Plan struct {
	Visits []Visit // by date, shop, vehicle
	// Later are jobs that may wait: their chance of being past the limit stays
	// within the accepted risk to the last day of the problem.
	Later []JobKey
	// Unplaced are jobs that ought to be booked and are not; Late those booked
	// beyond their accepted risk.
	Unplaced []Trouble
	Late     []Trouble

	Cost  Cost
	Bound float64 // no plan costs less
	// Gap is Cost.Total - Bound against the cost of what can be decided, which is
	// Cost.Total without that of fixed jobs.
	Gap float64
	Cut bool // the search was ended before its time: Options.Enough

	Used []Use // by shop and day
}

// JobKey names a job.
type JobKey struct {
	Vehicle int64
	Axle    int
}

// Visit is one vehicle at one shop on one day.
type Visit struct {
	Vehicle int64
	Slot
	Hours  float64
	Joined bool // goes with a visit planned anyway
	Jobs   []Placement
}

// Placement is one job of a visit.
type Placement struct {
	Axle     int
	BookBy   fleet.Date // last day within the accepted risk; the day before Start when there is none
	Past     float64    // chance of being past the limit by then
	WastedMM float64    // expected
	Fixed    bool
	Moved    bool // Previous was elsewhere
}

// Cost is what a plan costs, in Rates' unit, and what it is made of. Fixed jobs
// count as others do, so that plans can be compared that fix more or fewer.
type Cost struct {
	Total    float64
	Lining   float64 // thrown away
	Risk     float64 // of being past the limit, breaches included
	Visits   float64 // with ways to shops that are not home
	Overtime float64
	Moves    float64
	Unplaced float64

	WastedMM      float64 // expected, booked jobs; those beyond the days are not known
	PastLimit     float64 // jobs expected to be past their limit, booked and unplaced
	VisitCount    int     // joined ones excluded
	OvertimeHours float64
	MoveCount     int
	Breaches      int // booked beyond, or unplaced with, more than the accepted risk that could be avoided
}

// Use is what a plan takes of a shop on one day.
type Use struct {
	Slot
	Hours    float64 // overtime included
	Overtime float64
	Visits   int
	// Over says that fixed jobs alone take more than there is.
	Over bool
}

// Trouble is a job that is not booked as it ought to be.
type Trouble struct {
	JobKey
	Slot   *Slot // where it is booked, late; nil = nowhere
	Past   float64
	BookBy fleet.Date
	Why    Reason
	// Remedies that let it be booked within its accepted risk, everything else
	// staying where it is; cheapest first. Empty when nothing does.
	Remedies []Remedy
}

// Reason says why a job cannot be booked on a day within its accepted risk.
type Reason string

const (
	Overdue   Reason = "overdue"    // its book-by date was past before the first day
	PartsLate Reason = "parts_late" // parts come after its book-by date
	NotSpared Reason = "not_spared" // the vehicle is blocked on every such day
	Closed    Reason = "closed"     // its shops are closed on every such day
	NoHours   Reason = "no_hours"   // no technician hours left
	NoBays    Reason = "no_bays"    // no bay left
)

// RemedyKind is a way out.
type RemedyKind string

const (
	MoreHours   RemedyKind = "more_hours"   // Hours more on Slot
	MoreBays    RemedyKind = "more_bays"    // one more vehicle on Slot, and Hours more if not 0
	OtherShop   RemedyKind = "other_shop"   // Slot at a shop that is not one of its own
	PartsSooner RemedyKind = "parts_sooner" // parts Days sooner, for Slot
	SpareIt     RemedyKind = "spare_it"     // the vehicle given on the blocked day of Slot
)

// Remedy is a way to book a job in time.
type Remedy struct {
	Kind  RemedyKind
	Slot  Slot
	Hours float64
	Days  int
	Cost  float64
}
