package ingest

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"brakewear/internal/fleet"
)

var brakeTestColumns = []Column{
	colVehicle,
	colFleet,
	also(colDate, "tested on", "test date", "date of test", "date tested"),
	{
		Name: "method", Required: true, field: fMethod, Example: "roller",
		Help: "roller, plate, decelerometer or stop. A roller or plate test has a line for each wheel, one under the other; " +
			"what is of the whole test stands in one of them or in all. Any other test has one line.",
		Synonyms: []string{"test method", "test", "kind of test", "type of test", "test type"},
	},
	{
		Name: "brake", field: fSystem, Example: "service",
		Help:     "service (blank as well), secondary or parking.",
		Synonyms: []string{"brake tested", "system", "brake system", "which brake"},
	},
	{
		Name: "stage", field: fStage, Example: "after",
		Help:     "before or after a job; blank for a test of no job.",
		Synonyms: []string{"before after", "before or after", "when"},
	},
	{
		Name: "odometer_km", Unit: "km", field: fOdometer, Example: "155000",
		Help:     "Odometer on that day, where it was read.",
		Synonyms: []string{"odometer", "odometer reading", "odo"},
	},
	{
		Name: "weight_kg", Unit: "kg", field: fWeight, Example: "12400",
		Help:     "Weight that the efficiency is reckoned of, by the rules that hold: of the whole vehicle, not of one axle.",
		Synonyms: []string{"weight", "mass", "test weight", "test mass", "vehicle weight", "vehicle mass"},
	},
	{
		Name: "axle", field: fAxle, Example: "1",
		Help:     "Axle of a roller or plate test, counted from the front.",
		Synonyms: []string{"axle number", "axle no", "axle position"},
	},
	{
		Name: "side", field: fSide, Example: "left",
		Help:     "left or right, seen in the direction of travel.",
		Synonyms: []string{"wheel", "wheel side", "vehicle side"},
	},
	{
		Name: "force_n", Unit: "N", field: fForce, Example: "15200",
		Help:     "Highest braking force at the wheel. The header may name kN, kgf or lbf.",
		Synonyms: []string{"force", "brake force", "braking force", "effort", "brake effort", "braking effort", "max force", "maximum force"},
	},
	{
		Name: "locked", field: fLocked, Example: "no",
		Help:     "yes where the wheel locked on the rollers; no or blank otherwise.",
		Synonyms: []string{"lock", "locks", "wheel locked", "wheel lock"},
	},
	{
		Name: "pedal_n", Unit: "N", field: fPedal, Example: "271",
		Help:     "Force on the pedal, where it was measured.",
		Synonyms: []string{"pedal", "pedal force", "control force", "pedal effort"},
	},
	{
		Name: "mean_m_s2", Unit: "m/s2", field: fMean, Example: "5.4",
		Help:     "Mean deceleration of a decelerometer. The header may name g or ft/s2.",
		Synonyms: []string{"mean", "mean deceleration", "average deceleration", "deceleration", "decel", "mean decel", "average"},
	},
	{
		Name: "peak_m_s2", Unit: "m/s2", field: fPeak, Example: "7.1",
		Help:     "Peak deceleration.",
		Synonyms: []string{"peak", "peak deceleration", "max deceleration", "maximum deceleration", "peak decel"},
	},
	{
		Name: "speed_km_h", Unit: "km/h", field: fSpeed, Example: "60",
		Help:     "Speed of a measured stop when the pedal first moved.",
		Synonyms: []string{"speed", "initial speed", "test speed", "start speed"},
	},
	{
		Name: "distance_m", Unit: "m", field: fStop, Example: "31.5",
		Help:     "Distance of a measured stop, from the first movement of the pedal.",
		Synonyms: []string{"stopping distance", "stop distance", "braking distance"},
	},
	{
		Name: "begin_m", Unit: "m", field: fBegin, Example: "",
		Help:     "Distance at which the speed had fallen to 0.8 of it, for the mean fully developed deceleration.",
		Synonyms: []string{"begin", "sb"},
	},
	{
		Name: "end_m", Unit: "m", field: fEnd, Example: "",
		Help:     "Distance at which it had fallen to 0.1.",
		Synonyms: []string{"end", "se"},
	},
	{
		Name: "technician", field: fTechnician, Example: "",
		Help:     "Who tested.",
		Synonyms: []string{"tested by", "tester", "mechanic", "by", "initials"},
	},
	{
		Name: "note", field: fNote, Example: "",
		Help:     "Anything else worth keeping.",
		Synonyms: []string{"notes", "remark", "remarks", "comment", "comments"},
	},
}

// openTest is a brake test of which more lines may come.
type openTest struct {
	row  Row
	key  testKey
	t    fleet.BrakeTest
	good int // lines taken
	bad  int // first line that was refused; 0 = none
}

// testKey is what the lines of one test have in common.
type testKey struct {
	vehicle, fleet string
	day            fleet.Date
	method         fleet.Method
	system         fleet.BrakeSystem
	stage          fleet.Stage
}

// lostLine is a refused line of which only this much of its test can be told.
type lostLine struct {
	line int // 0 = none
	key  testKey
}

// mayBeOf says whether the line may be of the test of this key: what cannot be
// told is of any.
func (l *lostLine) mayBeOf(k testKey) bool {
	m := l.key
	return l.line != 0 &&
		(m.vehicle == "" || m.vehicle == k.vehicle) && (m.fleet == "" || m.fleet == k.fleet) &&
		(m.day == 0 || m.day == k.day) && (m.method == "" || m.method == k.method) &&
		(m.system == "" || m.system == k.system) && (m.stage == "" || m.stage == k.stage)
}

// lose refuses the open test where the line may be of it, and keeps the line in
// mind for the next.
func (r *Reader) lose(line int, key testKey) {
	r.lost = lostLine{line, key}
	if r.test != nil && r.test.bad == 0 && r.lost.mayBeOf(r.test.key) {
		r.test.bad = line
	}
}

// brakeTest reads a line of a brake test, and closes the test before where it
// is of another. One wheel that is missing would make the whole test wrong, so
// that a test is taken or refused whole.
func (l *line) brakeTest() {
	var row Row
	l.vehicle(&row)
	t := fleet.BrakeTest{
		Date:       l.date(),
		Method:     methodOf(strings.ToLower(l.cell(fMethod))),
		System:     systemOf(strings.ToLower(l.cell(fSystem))),
		OdometerKm: l.odometer(fOdometer),
		Line:       l.rec.line,
	}
	if t.Method == "" {
		l.fault(fMethod, l.cell(fMethod), "no method: want roller, plate, decelerometer or stop")
	}
	if t.System == "" {
		l.fault(fSystem, l.cell(fSystem), "no brake of a vehicle: want service, secondary or parking")
	}
	stage, ok := stageOf(strings.ToLower(l.cell(fStage)))
	if !ok {
		l.fault(fStage, l.cell(fStage), "want before or after a job, or blank")
	}
	t.Stage = stage
	key := testKey{row.Vehicle, row.Fleet, t.Date, t.Method, t.System, t.Stage}
	known := !l.bad
	l.testValues(&row, &t)

	if !known { // whose line it is cannot be told
		l.lose(l.rec.line, key)
		return
	}
	if l.test == nil || l.test.key != key || l.test.begins(&t) {
		l.endTest()
		l.test = &openTest{row: row, key: key, t: fleet.BrakeTest{
			Date: t.Date, Method: t.Method, System: t.System, Stage: t.Stage, Line: t.Line, ForceUnit: t.ForceUnit,
		}}
		if l.lost.mayBeOf(key) {
			l.test.bad = l.lost.line
		}
	}
	l.lost = lostLine{}
	if !l.bad {
		l.merge(&t)
	}
	if l.bad && l.test.bad == 0 {
		l.test.bad = l.rec.line
	}
	if !l.bad {
		l.test.good++
	}
}

// testValues reads what was measured.
func (l *line) testValues(row *Row, t *fleet.BrakeTest) {
	t.WeightKg = l.quantity(fWeight)
	t.PedalN = l.quantity(fPedal)
	t.Mean, t.Peak = l.quantity(fMean), l.quantity(fPeak)
	t.SpeedKmh, t.DistanceM = l.quantity(fSpeed), l.quantity(fStop)
	t.BeginM, t.EndM = l.quantity(fBegin), l.quantity(fEnd)
	t.Technician, t.Note = l.text(fTechnician), l.text(fNote)
	s := l.cell(fForce)
	if s == "" || notMeasured[strings.ToLower(s)] {
		if l.cell(fAxle) != "" && t.Method.ByForce() {
			l.fault(fForce, s, "no force: write it, or leave the wheel out")
		}
		return
	}
	w := fleet.WheelEffort{N: l.quantity(fForce), Side: sideOf(strings.ToLower(l.cell(fSide)))}
	t.ForceUnit = l.lay.units[fForce].name
	n, fault := l.axle(l.column(fAxle), l.cell(fAxle), row)
	switch {
	case l.cell(fAxle) == "":
		l.fault(fAxle, "", "blank: of which axle is the force? write its number, 1 is the front")
	case fault != "":
		l.fault(fAxle, l.cell(fAxle), "%s", fault)
	}
	w.Axle = n
	if w.Side == "" {
		what := "no side: want left or right"
		if byRoad(strings.ToLower(l.cell(fSide))) {
			what = "which side that is depends on the country: write left or right, seen in the direction of travel"
		}
		l.fault(fSide, l.cell(fSide), "%s", what)
	}
	switch strings.ToLower(l.cell(fLocked)) {
	case "", "no", "n", "0", "false", "-":
	case "yes", "y", "1", "true", "x", "locked":
		w.Locked = true
	default:
		l.fault(fLocked, l.cell(fLocked), "want yes or no")
	}
	t.Wheels = []fleet.WheelEffort{w}
}

// quantity reads a number with a unit, 0 where the cell is blank.
func (l *line) quantity(f field) float64 {
	s := l.cell(f)
	if s == "" || notMeasured[strings.ToLower(s)] {
		return 0
	}
	x, u, fault := l.number(f, s)
	switch {
	case fault != "":
		l.fault(f, s, "%s", withHelp(fault, "write it in digits, in "+u.name))
		return 0
	case x < 0:
		l.fault(f, s, "below 0: correct it")
		return 0
	}
	return u.convert(x)
}

// begins says whether t is the beginning of another test: a wheel that o has
// already, or a method that has one line for a test.
func (o *openTest) begins(t *fleet.BrakeTest) bool {
	if !t.Method.ByForce() {
		return true
	}
	for _, w := range t.Wheels {
		for _, have := range o.t.Wheels {
			if w.Axle == have.Axle && w.Side == have.Side {
				return true
			}
		}
	}
	return false
}

// merge adds what the line says to the open test. What is of the whole test
// may stand in every line, but not differ.
func (l *line) merge(t *fleet.BrakeTest) {
	o := &l.test.t
	o.Wheels = append(o.Wheels, t.Wheels...)
	if o.ForceUnit == "" {
		o.ForceUnit = t.ForceUnit
	}
	if t.OdometerKm != nil {
		if o.OdometerKm != nil && *o.OdometerKm != *t.OdometerKm {
			l.differs(fOdometer)
		}
		o.OdometerKm = t.OdometerKm
	}
	for _, x := range []struct {
		f         field
		have, got *float64
	}{
		{fWeight, &o.WeightKg, &t.WeightKg},
		{fPedal, &o.PedalN, &t.PedalN},
		{fMean, &o.Mean, &t.Mean},
		{fPeak, &o.Peak, &t.Peak},
		{fSpeed, &o.SpeedKmh, &t.SpeedKmh},
		{fStop, &o.DistanceM, &t.DistanceM},
		{fBegin, &o.BeginM, &t.BeginM},
		{fEnd, &o.EndM, &t.EndM},
	} {
		switch {
		case *x.got == 0:
		case *x.have != 0 && *x.have != *x.got:
			l.differs(x.f)
		default:
			*x.have = *x.got
		}
	}
	if o.Technician == "" {
		o.Technician = t.Technician
	}
	if t.Note != "" && !strings.Contains(o.Note, t.Note) {
		note := strings.TrimPrefix(o.Note+"; "+t.Note, "; ")
		if len(note) > maxNote && utf8.RuneCountInString(note) > maxNote {
			l.fault(fNote, t.Note, "the notes of this test are together longer than %d characters: shorten them", maxNote)
			return
		}
		o.Note = note
	}
}

func (l *line) differs(f field) {
	l.fault(f, l.cell(f), "differs from line %d of the same test: write the same, or leave it blank", l.test.t.Line)
}

// endTest closes the open brake test and queues it, or says why it is refused.
func (r *Reader) endTest() {
	o := r.test
	if o == nil {
		return
	}
	r.test = nil
	o.t.Lines = o.good
	if o.good == 0 {
		return // its lines are refused one by one
	}
	what := ""
	if o.bad != 0 {
		what = fmt.Sprintf("line %d of this test is refused, and without it the test would be wrong: mend it and hand the test in again", o.bad)
	} else if err := o.t.Validate(); err != nil {
		what = err.Error()
	}
	if what != "" {
		r.refuse(fleet.Problem{Line: o.t.Line, Message: what})
		r.refused += o.good
		return
	}
	o.row.BrakeTest = &o.t
	r.queue = append(r.queue, o.row)
}

// methodOf, systemOf, stageOf and actuationOf read a word in lower case; ""
// when it is none.

func methodOf(s string) fleet.Method {
	switch s {
	case "roller", "rollers", "roller test", "roller brake test", "roller tester", "rbt":
		return fleet.Roller
	case "plate", "plates", "plate test", "plate brake test":
		return fleet.Plate
	case "decelerometer", "decelerometer test", "meter", "decel":
		return fleet.Decelerometer
	case "stop", "measured stop", "road", "road test", "brake stop":
		return fleet.MeasuredStop
	}
	return ""
}

func systemOf(s string) fleet.BrakeSystem {
	switch s {
	case "", "service", "service brake", "foot", "foot brake":
		return fleet.ServiceBrake
	case "secondary", "secondary brake", "emergency", "emergency brake":
		return fleet.SecondaryBrake
	case "parking", "parking brake", "park", "hand brake", "handbrake":
		return fleet.ParkingBrake
	}
	return ""
}

func stageOf(s string) (fleet.Stage, bool) {
	switch s {
	case "", "-", "routine", "none":
		return fleet.Routine, true
	case "before", "before job", "before the job":
		return fleet.BeforeJob, true
	case "after", "after job", "after the job":
		return fleet.AfterJob, true
	}
	return "", false
}

func actuationOf(s string) fleet.Actuation {
	switch s {
	case "air", "pneumatic", "compressed air":
		return fleet.Air
	case "hydraulic", "fluid":
		return fleet.Hydraulic
	case "electric", "electrical":
		return fleet.Electric
	}
	return ""
}
