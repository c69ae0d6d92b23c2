package forecast

// Day is a civil day counted from 1 January 1970.
type Day int32

// Part is what wears.
type Part string

const (
	Pad    Part = "pad"
	Rotor  Part = "rotor"
	Lining Part = "lining"
	Drum   Part = "drum" // measured as inside diameter, which grows
)

// Position is a place on one axle. A blank side or face stands for the
// thinnest of both.
type Position struct {
	Part Part
	Side string // left, right
	Face string // inner, outer
}

// Spec is the new and the limit value of a part in mm. New < Limit means that
// the value grows as the part wears.
type Spec struct {
	New   float64
	Limit float64
}

// Reading is one measured value.
type Reading struct {
	Day Day
	// Km is the odometer read with it; NaN where none was, and the odometer
	// track stands in.
	Km      float64
	Pos     Position
	MM      float64
	Step    float64 // smallest step the gauge shows, mm; 0 = not known
	Depot   string  // where it was read
	Tripped bool    // a wear sensor's signal: the value is at or below MM
}

// Fitment is the fitting of new or machined parts.
type Fitment struct {
	Day Day
	Km  float64  // NaN where not known
	Pos Position // blank side or face: all of the axle's
	MM  float64  // value when fitted; 0 = Spec.New
}

// Odometer is one odometer reading.
type Odometer struct {
	Day Day
	Km  float64
}

// Axle is all that is known of one axle.
type Axle struct {
	Number   int // 1 = front
	Specs    map[Part]Spec
	Readings []Reading
	Fitments []Fitment
	// Kept are the spans in which, by somebody's word, parts were not changed,
	// whatever the readings look like.
	Kept []Kept
}

// Kept says that a part was not changed between two days.
type Kept struct {
	Part          Part
	After, Before Day
}

// kept says whether parts were not changed between two visits, by word of
// somebody.
func (a *Axle) kept(p Part, after, before Day) bool {
	for _, k := range a.Kept {
		if k.Part == p && k.After <= after && before <= k.Before {
			return true
		}
	}
	return false
}

// Vehicle is all that is known of one vehicle. Class, Duty, Model and Depot
// name the groups it may borrow strength from; blank is a group of its own.
type Vehicle struct {
	ID       string
	Class    string
	Duty     string
	Model    string
	Depot    string
	Odometer []Odometer
	Swaps    []DeclaredSwap
	Axles    []Axle
	// Memory is of what was worked out of the vehicle before; with nil everything
	// is worked out anew.
	Memory *Memory
}

// Options asks for extras that most callers do not need.
type Options struct {
	Paths bool // fill PositionForecast.Path, for a plot
}

// Model forecasts the axles of a vehicle. All models answer the same way, so
// that they can be scored side by side.
type Model interface {
	// Name is the word people choose the model by.
	Name() string
	// Forecast returns one AxleForecast per axle of v that has a
	// specification, in v's order. It uses only what is dated on or before
	// asOf and never changes v. What is wrong with the data comes back as
	// warnings.
	Forecast(v *Vehicle, asOf Day, opt Options) []AxleForecast
}

// Crossing is the place and time at which a limit is reached, as two
// distributions of the same event.
type Crossing struct {
	Km  Dist // on the scale of the odometer
	Day Dist // days since 1970-01-01; may lie before the forecast's day
}

// BookBy returns the last whole day on which the chance of being past the
// limit is still below risk, and false when that lies beyond the horizon.
func (c Crossing) BookBy(risk float64) (Day, bool) {
	return lastDayBelow(c.Day, risk)
}

// PositionForecast is the forecast of one position.
type PositionForecast struct {
	Pos          Position
	Spec         Spec
	ThicknessMM  float64 // estimated on the forecast's day
	RatePer10000 float64 // wear in mm per 10,000 km, positive
	Readings     int     // readings used
	Since        Day     // start of the segment: day of fitting, or of first reading
	SinceKnown   bool    // the segment starts with a declared fitment
	Crossing     Crossing
	Path         []PathPoint // ascending Km; empty unless asked for
}

// PathPoint is the model's thickness at one odometer value, with the 80 %
// interval.
type PathPoint struct {
	Km          float64
	Mid, Lo, Hi float64 // mm
}

// AxleForecast is the forecast of an axle: of the first of its positions to
// reach its limit.
type AxleForecast struct {
	Axle       int
	Model      string
	AsOf       Day
	OdometerKm float64 // estimated on AsOf
	KmPerDay   float64
	Crossing   Crossing
	Limiting   int // index in Positions of the one most likely to be first; -1 when there is none
	Positions  []PositionForecast
	Readings   int // readings used
	Warnings   []Warning
	Basis      Basis
}

// Has says whether the forecast carries a warning of this kind.
func (f *AxleForecast) Has(c Code) bool {
	for _, w := range f.Warnings {
		if w.Code == c {
			return true
		}
	}
	return false
}

// Basis is what a forecast rests on, for people to judge it. Models fill what
// they know.
type Basis struct {
	SetAside  []SetAside // readings not used, and why
	Changes   []Change   // part changes that nobody recorded
	Doubted   []Reading  // thin readings that nothing bears out: to be measured again
	Drags     []Drag     // sides whose caliper seems to drag
	PeerRate  float64    // mm per 10,000 km of similar vehicles; 0 = not known
	RateRatio float64    // this axle's wear rate over PeerRate
	// Shares of the variance of the limit day, adding up to 1: wear rate and
	// its drift, distance driven, gauge and visit, starting thickness.
	ShareWear, ShareUsage, ShareGauge, ShareStart float64
	// Width80Days is the width of the 80 % interval of the limit day, and
	// Width80IfMeasured what it would be on average after one more
	// inspection on AsOf.
	Width80Days, Width80IfMeasured float64
}

// SetAside is a reading that the model did not use.
type SetAside struct {
	Reading Reading
	Why     string
}

// Drag is a caliper that seems to have begun to drag: its side wears faster
// since.
type Drag struct {
	Part          Part
	Side          string
	Pace          float64 // times as fast as before
	After, Before Day     // it began between these days
	Chance        float64
}

// Change is a part change inferred from the readings.
type Change struct {
	Part          Part
	Side          string // blank: both
	After, Before Day    // it lies between these days
	Chance        float64
}

// Warning is something that a person should know about a forecast.
type Warning struct {
	Code Code
	Text string
}

// Code names a kind of warning.
type Code string

const (
	NoReadings    Code = "no_readings"    // forecast from similar vehicles alone
	FewReadings   Code = "few_readings"   // one inspection only
	OldReadings   Code = "old_readings"   // last reading too long ago to clear the vehicle
	PastLimit     Code = "past_limit"     // last measured at or below the limit, or more likely than not past it
	SetAsideCode  Code = "set_aside"      // readings not used
	Remeasure     Code = "remeasure"      // a thin reading disagrees: measure again
	PartChange    Code = "part_change"    // an unrecorded change of parts
	Dragging      Code = "dragging"       // one side wears much faster
	UsageUnknown  Code = "usage_unknown"  // too few odometer readings for a date
	OdometerFault Code = "odometer_fault" // odometer readings set aside
	Standing      Code = "standing"       // the odometer does not move
	Rising        Code = "rising"         // thickness does not fall
	DefaultPrior  Code = "default_prior"  // borrowed from planning bands, not from a fleet
	BadInput      Code = "bad_input"      // values that cannot be meant were set aside
	NoSpec        Code = "no_spec"        // no limit known for a part
)
