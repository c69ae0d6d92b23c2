package fleet

import (
	"fmt"
	"strings"
	"time"
)

// RecordKind is a kind of row that can be corrected.
type RecordKind string

const (
	ReadingRecord  RecordKind = "reading"
	OdometerRecord RecordKind = "odometer"
	FitmentRecord  RecordKind = "fitment"
	// BrakeTestRecord is corrected by a whole test in its place, not by a Change.
	BrakeTestRecord RecordKind = "brake test"
	// ConditionRecord is set aside, and another is entered instead.
	ConditionRecord RecordKind = "condition"
)

// RecordKinds are those that a Change corrects.
var RecordKinds = []RecordKind{ReadingRecord, OdometerRecord, FitmentRecord}

// Record names a row that can be corrected.
type Record struct {
	Kind RecordKind
	ID   int64
}

// String gives the record in words: "odometer reading 17".
func (r Record) String() string {
	if r.Kind == OdometerRecord {
		return fmt.Sprintf("odometer reading %d", r.ID)
	}
	return fmt.Sprintf("%s %d", r.Kind, r.ID)
}

// Act is what was done to a record.
type Act string

const (
	Corrected Act = "corrected"  // another row stands instead
	SetAside  Act = "set aside"  // nothing stands instead
	Undone    Act = "undone"     // no longer set aside
	Moved     Act = "moved here" // it stands instead of a reading of another vehicle
)

// AxleMove puts the readings of one axle of an inspection, recorded for the wrong
// one, where they belong.
type AxleMove struct {
	Reading   int64 // one of them
	VehicleID int64 // 0 = the same vehicle
	Axle      int   // where they belong; 1 = front
	Swap      bool  // what was recorded there belongs here
}

// Validate reports the first fault of m.
func (m *AxleMove) Validate() error {
	switch {
	case m.Axle < 1 || m.Axle > MaxAxle:
		return Invalidf("axle %d: want 1 (front) to %d", m.Axle, MaxAxle)
	case m.Swap && m.VehicleID != 0:
		return Invalidf("swap: only two axles of one vehicle are swapped; move them to the other vehicle")
	}
	return nil
}

// Reason is why something was done to a record, and by whom.
type Reason struct {
	Why string
	By  string
}

// maxReason bounds what is written as a reason or a note, in bytes: a page of
// text.
const maxReason = 2000

// Validate reports what is missing, and trims the spaces around the rest.
func (r *Reason) Validate() error {
	r.Why, r.By = strings.TrimSpace(r.Why), strings.TrimSpace(r.By)
	switch {
	case r.Why == "":
		return Invalidf("reason: say why, for whoever reads the history later")
	case r.By == "":
		return Invalidf("name: say who does this, for whoever reads the history later")
	case longer(r.Why, maxReason) || longer(r.By, maxReason):
		return Invalidf("reason and name: at most %d characters each", maxReason)
	}
	return nil
}

// Correction is one thing done to a record.
type Correction struct {
	ID        int64
	VehicleID int64
	Record    Record
	Act       Act
	StandsID  int64 // the row that stands instead; 0 unless corrected
	Reason
	At time.Time

	Shelf Shelf // as it is made, of a fitment that closed job cards noted
}

// Shelf says what setting a fitment aside, or undoing that, did to the shelf from which
// its job card took the part.
type Shelf string

const (
	ShelfBack      Shelf = "back"
	ShelfOff       Shelf = "off"
	ShelfOfSet     Shelf = "set"
	ShelfCounted   Shelf = "counted"
	ShelfUntouched Shelf = "untouched"
)

// Ahead says it in a sentence before it is done.
func (s Shelf) Ahead() string {
	switch s {
	case ShelfBack:
		return "What its job card took goes back on the shelf."
	case ShelfOff:
		return "What its job card used comes off the shelf again."
	}
	return s.Words()
}

// Words says it in a sentence when it is done; nothing where no closed job card noted the fitment.
func (s Shelf) Words() string {
	switch s {
	case ShelfBack:
		return "What its job card took off the shelf is back on it."
	case ShelfOff:
		return "What its job card used is off the shelf."
	case ShelfOfSet:
		return "The shelf stays as it is: another part of the set is fitted."
	case ShelfCounted:
		return "The shelf was given another number, or counted by a file, since. It stays as it is."
	case ShelfUntouched:
		return "The shelf stays as it is: nothing is known to have been taken off it for this. Have the stock corrected if it differs from what lies there."
	}
	return ""
}

// Aside says that a row no longer counts, since when and why.
type Aside struct {
	Reason
	At       time.Time
	StandsID int64 // the row that stands instead; 0 when none does
}

// Change is what is to be different in the row that stands instead of a
// record. What is nil stays as it is.
type Change struct {
	Position   *Position // of a reading or a fitment
	Date       *Date
	MM         *float64 // of a reading or a fitment; 0 for a fitment: the new value
	Given      string   // the value as written, with its unit, when MM is given
	Unit       string
	OdometerKm *float64
	NoOdometer bool // it was not read after all
	// WholeVisit gives the new day and odometer to all the readings of the same
	// inspection: they were written down together.
	WholeVisit bool
}

// Empty says whether nothing is to be different.
func (c *Change) Empty() bool {
	return c.Position == nil && c.Date == nil && c.MM == nil && c.OdometerKm == nil && !c.NoOdometer
}

// Reading applies the change to r.
func (c *Change) Reading(r *Reading) {
	if c.Position != nil {
		r.Position = *c.Position
	}
	if c.Date != nil {
		r.Date = *c.Date
	}
	if c.MM != nil {
		r.MM, r.Given, r.Unit = *c.MM, c.Given, c.Unit
	}
	c.odometer(&r.OdometerKm)
}

// Fitment applies the change to f.
func (c *Change) Fitment(f *Fitment) {
	if c.Position != nil {
		f.Position = *c.Position
	}
	if c.Date != nil {
		f.Date = *c.Date
	}
	if c.MM != nil {
		f.MM = *c.MM
	}
	c.odometer(&f.OdometerKm)
}

// Odometer applies the change to o.
func (c *Change) Odometer(o *Odometer) {
	if c.Date != nil {
		o.Date = *c.Date
	}
	if c.OdometerKm != nil {
		o.Km = *c.OdometerKm
	}
}

func (c *Change) odometer(km **float64) {
	switch {
	case c.NoOdometer:
		*km = nil
	case c.OdometerKm != nil:
		*km = c.OdometerKm
	}
}
