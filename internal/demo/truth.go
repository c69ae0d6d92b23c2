package demo

import "brakewear/internal/fleet"

// Truth is what nobody in the workshop knows.
type Truth struct {
	Class  string // car, van, bus, truck, refuse
	Entry  fleet.Date
	Origin string // how it came on record: "in service", "new", "used"
	Lives  []Life // by axle, part and number
	Typos  []Typo
	// OdometerFaults by day. Swapped clusters are among them.
	OdometerFaults []OdometerFault
	Distance       []Moment // every 30 days, and on the last day of the records
	// OdometerToCome are the values that would be read after the records, when
	// Options.ToCome asks for them.
	OdometerToCome []fleet.Odometer
}

// Moment is a day with the distance driven until then.
type Moment struct {
	Known       bool // false: it did not come to pass within the horizon
	Date        fleet.Date
	Km          float64 // continuous: goes on where a cluster is swapped
	DisplayedKm float64 // what the dashboard of that day shows
}

// Life is one set of a part on an axle, from its fitting on. What happens
// after its removal, and after the last day of the records, is what would have
// happened had it stayed on, up to HorizonYears after the records' end.
type Life struct {
	Axle     int
	Part     fleet.Part
	Number   int    // 1 = the first that the records can know of
	Fitted   Moment // before Entry where the vehicle came with it
	Declared bool   // its fitting is on record
	Removed  Moment // not known: still on at the end of the records
	New      float64
	Limit    float64
	FittedMM float64 // written down when fitted: New, or what machining left

	// Crossing is when the first position reaches the limit, First its index.
	Crossing  Moment
	First     int
	Positions []PositionLife

	// Rate is the wear of all positions' mean from the fitting to Crossing,
	// or to the horizon, in mm per 10,000 km. GroupRate is the median of the
	// rate over vehicles of the same class, axle, duty, model and depot: 10 mm
	// over it is the distance that makes errors comparable between groups.
	Rate      float64
	GroupRate float64

	// Drag is when a caliper seizes, where that comes before Crossing would
	// without it; DragSide is its side.
	Drag     Moment
	DragSide fleet.Side

	// ToCome are the readings, by day, of the inspections that would have
	// followed had the parts stayed on until Crossing: of pads and linings, with
	// the rotors or drums that rub on them, when Options.ToCome asks for them.
	ToCome []fleet.Reading
}

// PositionLife is one position of a Life.
type PositionLife struct {
	Side     fleet.Side
	Face     fleet.Face
	StartMM  float64 // true value when fitted
	Crossing Moment
}

// Typo is a reading that was not written down as it was meant.
type Typo struct {
	Date      fleet.Date
	Position  fleet.Position // as written
	Kind      string         // digit, factor ten, transposition, side swap
	TrueMM    float64        // thickness at the written position
	MeantMM   float64        // what the gauge showed there
	WrittenMM float64
}

// OdometerFault is an odometer value that is not the truth, or a swap.
type OdometerFault struct {
	Date      fleet.Date
	Kind      string  // digit, factor ten, transposition, cluster swap
	Km        float64 // continuous
	MeantKm   float64 // shown on that day; of a swap: before it
	WrittenKm float64 // of a swap: shown after it
}

// On returns the life of a part that is on an axle at the end of day d, or nil.
func (t *Truth) On(axle int, part fleet.Part, d fleet.Date) *Life {
	for i := range t.Lives {
		l := &t.Lives[i]
		if l.Axle == axle && l.Part == part && l.Fitted.Date <= d && (!l.Removed.Known || l.Removed.Date > d) {
			return l
		}
	}
	return nil
}
