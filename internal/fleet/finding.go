package fleet

import (
	"slices"
	"time"
)

// FindingKind is a kind of thing that the data show and a person should look
// at.
type FindingKind string

const (
	PastStamped        FindingKind = "past_stamped_limit"  // a rotor or drum
	MeasureAgain       FindingKind = "measure_again"       // a thin reading was not believed
	CrackedPart        FindingKind = "cracked"             // as ticked at an inspection
	TestFailed         FindingKind = "brake_test_failed"   // the last one
	BrakeFades         FindingKind = "brake_fades"         // efficiency falls from test to test
	PedalHarder        FindingKind = "pedal_harder"        // pedal force grows from test to test
	UnevenPads         FindingKind = "uneven_pads"         // inner against outer of a wheel
	UnevenSides        FindingKind = "uneven_sides"        // one side wears faster
	TaperedPad         FindingKind = "taper"               // along one pad
	ContaminatedPart   FindingKind = "contaminated"        // as ticked
	GlazedPart         FindingKind = "glazed"              // as ticked
	ThicknessVariation FindingKind = "thickness_variation" // of a rotor
	RotorRunout        FindingKind = "runout"
	PartChange         FindingKind = "part_change" // that nobody recorded
	Disagrees          FindingKind = "disagrees"   // a reading with the history
	OdometerBack       FindingKind = "odometer_back"
	OdometerJump       FindingKind = "odometer_jump"
	OdometerMiles      FindingKind = "odometer_miles"
	OdometerSwap       FindingKind = "odometer_swap"
)

// Urgency says by when a finding wants looking at.
type Urgency int

const (
	BeforeRoad Urgency = iota + 1 // before the vehicle goes back on the road
	NextVisit                     // when its wheels are next off
	ForRecord                     // nothing at the vehicle: the record is in doubt
)

// findingKinds in the order they are listed: the most pressing first.
var findingKinds = []struct {
	kind    FindingKind
	urgency Urgency
}{
	{PastStamped, BeforeRoad},
	{CrackedPart, BeforeRoad},
	{TestFailed, BeforeRoad},
	{MeasureAgain, BeforeRoad},
	{ContaminatedPart, NextVisit},
	{BrakeFades, NextVisit},
	{PedalHarder, NextVisit},
	{UnevenPads, NextVisit},
	{UnevenSides, NextVisit},
	{TaperedPad, NextVisit},
	{GlazedPart, NextVisit},
	{ThicknessVariation, NextVisit},
	{RotorRunout, NextVisit},
	{PartChange, ForRecord},
	{Disagrees, ForRecord},
	{OdometerBack, ForRecord},
	{OdometerJump, ForRecord},
	{OdometerMiles, ForRecord},
	{OdometerSwap, ForRecord},
}

// FindingKinds are all there are, the most pressing first.
func FindingKinds() []FindingKind {
	ks := make([]FindingKind, len(findingKinds))
	for i, k := range findingKinds {
		ks[i] = k.kind
	}
	return ks
}

// Valid says whether there is such a kind.
func (k FindingKind) Valid() bool { return slices.Contains(FindingKinds(), k) }

// Urgency of a finding of this kind.
func (k FindingKind) Urgency() Urgency {
	for _, x := range findingKinds {
		if x.kind == k {
			return x.urgency
		}
	}
	return ForRecord
}

// FindingState says how far a finding has got.
type FindingState string

const (
	OpenFinding FindingState = "open"           // nobody has looked yet
	LookedAt    FindingState = "looked at"      // somebody has, and says what was done
	NoLonger    FindingState = "no longer seen" // the data do not show it any more
)

// FindingStates are all there are.
var FindingStates = []FindingState{OpenFinding, LookedAt, NoLonger}

// Answer to a suggestion.
type Answer string

const (
	NoAnswer  Answer = ""
	Confirmed Answer = "confirmed"
	Refused   Answer = "refused"
)

// Finding is one thing that the data of a vehicle show.
type Finding struct {
	ID        int64
	VehicleID int64
	Kind      FindingKind
	// Subject is what it is about, apart from vehicle and kind: what is found
	// again with the same subject is the same finding.
	Subject  string
	Position Position // axle 0: the vehicle as a whole
	Seen     string   // in words, with the figures
	Advice   string   // what to do
	Source   string   // ids of the published values, or what it rests on
	// Figure is how much of it there is, in the unit of its kind, to tell
	// whether it has grown; nil where there is no such thing.
	Figure *float64
	Record Record // the row to correct, where one is in doubt
	State  FindingState
	// Suggested is the fitment that nobody recorded; nil for most.
	Suggested *SuggestedFitment

	FirstSeen, LastSeen Date
	Answer              Answer // to Suggested
	Note                Reason // what somebody who looked says
	NoteAt              time.Time
}

// SuggestedFitment is a change of parts that nobody recorded, with the fitment
// that would record it.
type SuggestedFitment struct {
	After, Before Date // it was done between these days
	Fitment
}
