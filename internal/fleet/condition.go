package fleet

import (
	"slices"
	"strings"
)

// ConditionKind is what a person saw that is no measured value.
type ConditionKind string

const (
	Contaminated  ConditionKind = "contaminated" // by oil, grease or fluid
	Cracked       ConditionKind = "cracked"
	Tapered       ConditionKind = "tapered"
	Glazed        ConditionKind = "glazed"
	SensorTripped ConditionKind = "sensor tripped"
	NotMeasured   ConditionKind = "not measured" // the note says why
	Noted         ConditionKind = "noted"        // the note says it all
)

// Ticks are the conditions that are ticked on a sheet, in its order.
var Ticks = []ConditionKind{Contaminated, Cracked, Tapered, Glazed, SensorTripped}

// ConditionKinds are all there are.
var ConditionKinds = append(slices.Clone(Ticks), NotMeasured, Noted)

// Condition is what a person saw at an inspection beside the measured values.
type Condition struct {
	ID         int64
	VehicleID  int64
	Axle       int  // 1 = front; 0 = the whole vehicle
	Side       Side // blank: both
	Kind       ConditionKind
	Note       string
	Date       Date
	OdometerKm *float64 // of the inspection; nil when it was not read
	Technician string
	UploadID   int64
	Aside      *Aside // nil while it counts
}

// maxConditionNote bounds a note, in bytes: a page of text.
const maxConditionNote = 2000

// Validate reports the first fault of c.
func (c *Condition) Validate() error {
	switch {
	case !slices.Contains(ConditionKinds, c.Kind):
		return Invalidf("condition %q: want one of %s", c.Kind, conditionList())
	case c.Axle < 0 || c.Axle > MaxAxle:
		return Invalidf("axle %d: want 1 (front) to %d, or 0 for the whole vehicle", c.Axle, MaxAxle)
	case c.Side != "" && c.Side != Left && c.Side != Right:
		return Invalidf("side %q: want left, right or blank for both", c.Side)
	case c.Side != "" && c.Axle == 0:
		return Invalidf("side %q: the whole vehicle has none, name the axle", c.Side)
	case c.Note == "" && (c.Kind == NotMeasured || c.Kind == Noted):
		return Invalidf("note of %q: blank; say what is meant", c.Kind)
	case longer(c.Note, maxConditionNote):
		return Invalidf("note of %q: longer than %d characters, shorten it", c.Kind, maxConditionNote)
	}
	return validOdometer(c.OdometerKm)
}

func conditionList() string {
	words := make([]string, len(ConditionKinds))
	for i, k := range ConditionKinds {
		words[i] = string(k)
	}
	return strings.Join(words, ", ")
}

// Words gives the condition in words, without its axle: "left: cracked",
// "not measured: no time", "pin stiff".
func (c *Condition) Words() string {
	s := string(c.Kind)
	switch {
	case c.Kind == Noted:
		s = c.Note
	case c.Note != "":
		s += ": " + c.Note
	}
	if c.Side != "" {
		s = string(c.Side) + ": " + s
	}
	return s
}
