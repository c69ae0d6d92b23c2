package fleet

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Fleet is a set of vehicles under one owner. Every other record hangs on it.
type Fleet struct {
	ID      int64
	Name    string
	RuleSet string // id of the rule set picked; blank = none
}

// Depot is a place with a workshop.
type Depot struct {
	ID       int64
	FleetID  int64
	Name     string
	TimeZone string // IANA name; "UTC" unless given
}

// Category is a vehicle category of UNECE R.E.3: M1 to M3 carry people, N1 to
// N3 goods, O1 to O4 are trailers.
type Category string

var categories = regexp.MustCompile(`^(M[123]|N[123]|O[1234])$`)

// Valid says whether c is one of the ten categories.
func (c Category) Valid() bool { return categories.MatchString(string(c)) }

// Heavy says whether the category's brakes are of the heavy kind; a blank
// category counts as light.
func (c Category) Heavy() bool {
	switch c {
	case "M2", "M3", "N2", "N3", "O3", "O4":
		return true
	}
	return false
}

// Trailer says whether the category is one of trailers.
func (c Category) Trailer() bool { return strings.HasPrefix(string(c), "O") }

// Vehicle is one vehicle of a fleet. Number is what people call it; it is
// unique within its fleet.
type Vehicle struct {
	ID       int64
	FleetID  int64
	DepotID  int64
	Number   string
	Plate    string
	Category Category
	Make     string
	Model    string
	Year     int    // of manufacture; 0 = not known
	Duty     string // kind of work, such as "city" or "long haul"
	// What rules depend on; blank or 0 = not known.
	FirstUsed Date      // day of first use; the year stands in
	Actuation Actuation // how its brakes are worked
	GrossKg   float64   // greatest mass it may have with its load
}

// Actuation is how a vehicle's brakes are worked.
type Actuation string

const (
	Air       Actuation = "air"
	Hydraulic Actuation = "hydraulic"
	Electric  Actuation = "electric"
)

// Actuations in the order they are offered to people.
var Actuations = []Actuation{Air, Hydraulic, Electric}

// BrakeSystem is which of a vehicle's brakes is meant.
type BrakeSystem string

const (
	ServiceBrake   BrakeSystem = "service"
	SecondaryBrake BrakeSystem = "secondary" // or emergency brake
	ParkingBrake   BrakeSystem = "parking"
)

// Validate reports the first fault of v in words for the person entering it.
func (v *Vehicle) Validate() error {
	switch {
	case strings.TrimSpace(v.Number) == "":
		return Invalidf("vehicle: a vehicle needs a number or name")
	case v.Category != "" && !v.Category.Valid():
		return Invalidf("category %q: want one of M1 M2 M3 N1 N2 N3 O1 O2 O3 O4", v.Category)
	case v.Year != 0 && (v.Year < 1950 || v.Year > 2100):
		return Invalidf("year %d: want a year of manufacture such as 2021", v.Year)
	case v.FirstUsed != 0 && v.FirstUsed < Earliest:
		return Invalidf("first used %s: want a day since 1950", v.FirstUsed.Written())
	case v.FirstUsed != 0 && v.Year != 0 && v.FirstUsed < NewDate(v.Year-1, 1, 1):
		return Invalidf("first used %s, but made in %d: correct one of the two", v.FirstUsed.Written(), v.Year)
	case !slices.Contains(Actuations, v.Actuation) && v.Actuation != "":
		return Invalidf("actuation %q: want air, hydraulic or electric, or blank", v.Actuation)
	case !(v.GrossKg >= 0) || v.GrossKg > maxTestKg:
		return Invalidf("gross mass %.0f kg: want 0 to %d kg", v.GrossKg, maxTestKg)
	}
	return nil
}

// Spec is the new and the limit value of one part, in mm, and where they come
// from.
type Spec struct {
	New    float64
	Limit  float64
	Source string // "maker" or the id of a published value
}

// leastWear is what a part must have to wear, in mm: a gauge reads no less.
// hairMM is what a difference of two values may lack by binary fractions: 12 less
// 11.9 is a little below 0.1.
const (
	leastWear = 0.1
	hairMM    = 1e-9
)

// Validate reports a spec that cannot be meant.
func (s Spec) Validate(p Part) error {
	switch {
	case !(s.New > 0) || !(s.Limit > 0) || s.New > 1000 || s.Limit > 1000:
		return Invalidf("%s: new %g mm and limit %g mm must lie between 0 and 1000", p, s.New, s.Limit)
	case s.New != s.Limit && math.Abs(s.New-s.Limit) < leastWear-hairMM:
		return Invalidf("%s: new %g mm and limit %g mm are less than %g mm apart", p, s.New, s.Limit, leastWear)
	case p.Grows() && s.Limit <= s.New:
		return Invalidf("%s: the limit %g mm must be above the new diameter %g mm", p, s.Limit, s.New)
	case !p.Grows() && s.Limit >= s.New:
		return Invalidf("%s: the limit %g mm must be below the new thickness %g mm", p, s.Limit, s.New)
	}
	return nil
}

// AxleLimit is a limit that the workshop has set for a part of one axle.
type AxleLimit struct {
	VehicleID int64
	Axle      int
	Part      Part
	MM        float64 // 0 = withdrawn
	Reason
	At time.Time
}

// MaxAxle is the number of the last axle a vehicle may have.
const MaxAxle = 12

// Axle is one axle of a vehicle with its specification.
type Axle struct {
	ID        int64
	VehicleID int64
	Number    int // 1 = front
	Brake     Brake
	Specs     map[Part]Spec
}

// Validate reports the first fault of a.
func (a *Axle) Validate() error {
	if a.Number < 1 || a.Number > MaxAxle {
		return Invalidf("axle %d: want 1 (front) to %d", a.Number, MaxAxle)
	}
	if a.Brake != DiscBrake && a.Brake != DrumBrake {
		return Invalidf("brake %q: want disc or drum", a.Brake)
	}
	for _, p := range Parts {
		s, ok := a.Specs[p]
		if !ok {
			continue
		}
		if !p.Of(a.Brake) {
			return Invalidf("%s: a %s brake has none", p, a.Brake)
		}
		if err := s.Validate(p); err != nil {
			return err
		}
	}
	return nil
}

// Odometer is one odometer reading.
type Odometer struct {
	ID        int64
	VehicleID int64
	Date      Date
	Km        float64
	// PreviousKm declares that the instrument cluster was changed on that day:
	// what the old one showed last. Km is what the new one shows. nil = no
	// change.
	PreviousKm *float64
	UploadID   int64
	Aside      *Aside // nil while it counts
}

// Validate reports the first fault of o.
func (o *Odometer) Validate() error {
	if err := validOdometer(o.PreviousKm); err != nil {
		return err
	}
	return validOdometer(&o.Km)
}

// ClusterSwap is a change of the instrument cluster that somebody wrote down.
type ClusterSwap struct {
	ID        int64
	VehicleID int64
	Date      Date
	OldKm     float64 // shown on that day by the old one
	NewKm     float64 // and by the new one
	UploadID  int64
}

// Reading is one measured thickness (a drum's is a diameter), kept as given
// beside the normalised value.
type Reading struct {
	ID        int64
	VehicleID int64
	Position  Position
	Date      Date
	// OdometerKm is the odometer given with the reading; nil when it was not.
	OdometerKm *float64
	MM         float64
	// Given and Unit are what the technician wrote: "9/32", "in".
	Given      string
	Unit       string
	Gauge      string
	Technician string
	Note       string
	// Tripped marks a wear sensor's signal: the thickness is at or below MM.
	Tripped  bool
	UploadID int64
	Line     int    // line of the upload's file; 0 for a form
	Aside    *Aside // nil while it counts
}

// MaxMM bounds a believable measured value: no brake part in service is
// thicker or wider than a metre.
const MaxMM = 1000

// MaxOdometerKm bounds a believable odometer.
const MaxOdometerKm = 10_000_000

// Validate reports the first fault of r.
func (r *Reading) Validate() error {
	p := r.Position
	switch {
	case p.Axle < 1 || p.Axle > MaxAxle:
		return Invalidf("axle %d: want 1 (front) to %d", p.Axle, MaxAxle)
	case !p.Part.Valid():
		return Invalidf("part %q: want pad, rotor, lining or drum", p.Part)
	case p.Side != "" && p.Side != Left && p.Side != Right:
		return Invalidf("side %q: want left, right or blank for the thinner of both", p.Side)
	case p.Face != "" && p.Face != Inner && p.Face != Outer:
		return Invalidf("face %q: want inner, outer or blank for the thinner of both", p.Face)
	case p.Face != "" && p.Part != Pad:
		return Invalidf("face %q: only a pad has faces, leave it blank for a %s", p.Face, p.Part)
	case !(r.MM >= 0) || r.MM > MaxMM:
		return Invalidf("value %g mm: want 0 to %d mm", r.MM, MaxMM)
	}
	return validOdometer(r.OdometerKm)
}

func validOdometer(km *float64) error {
	if km != nil && (!(*km >= 0) || *km > MaxOdometerKm) {
		return Invalidf("odometer %g km: want 0 to %d km", *km, MaxOdometerKm)
	}
	return nil
}

// Fitment is new or machined parts put on: the start of a segment.
type Fitment struct {
	ID         int64
	VehicleID  int64
	Position   Position // blank side or face: all of the axle's
	Date       Date
	OdometerKm *float64
	MM         float64 // thickness when fitted; 0 = the specification's new value
	UploadID   int64
	Line       int
	Aside      *Aside // nil while it counts
}

// Validate reports the first fault of f.
func (f *Fitment) Validate() error {
	r := Reading{Position: f.Position, MM: f.MM, OdometerKm: f.OdometerKm}
	return r.Validate()
}

// Upload is one file or form received.
type Upload struct {
	ID       int64
	Kind     string // vehicles, axles, readings, odometer, fitments
	Name     string // file name as sent
	SHA256   string // of the bytes, hex
	By       string
	Key      string // the sender's own name for the request; blank = none
	At       time.Time
	Accepted int
	Refused  int
	Repeated int // rows that were already there
	Doubtful int // rows of Accepted that somebody should look at
	Problems []Problem
}

// Problem is one thing wrong or assumed in an upload.
type Problem struct {
	Line    int    // 1-based line of the file; 0 when it concerns the whole
	Column  string // header of the column; blank when it concerns the row
	Read    string // what was read
	Message string // what is wrong or was assumed, and what to do
	Refused bool   // the row was refused; otherwise a note on an accepted row
	// Doubtful marks a row that was taken although what it says is unlikely.
	Doubtful bool
}
