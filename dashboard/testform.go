package dashboard

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// TestFormPage enters a brake test, or corrects one.
type TestFormPage struct {
	Shell
	In      units.Reader // units of its odometer
	Vehicle string
	Back    string
	Link    string // where the form goes
	Methods []MethodLink
	Method  string
	Force   bool // a form of forces at the wheels
	Stop    bool
	Meter   bool
	Fault   string
	Judged  *Judged  // of what is typed, not kept
	Doubts  []string // on the odometer that is typed
	Brakes  []Choice
	Stages  []Choice
	Axles   []WheelFields
	Correct string // id of the test corrected; blank = a new one
	Card    string // number of the job card that it is of; blank = none
	Reason  Field
	Keeps   *TestKept // how a phone keeps it; nil = it does not

	Day, Odometer, Technician, Note Field
	Weight, Pedal                   Field
	Mean, Peak                      Field
	Speed, Distance, Begin, End     Field

	ForceUnit, WeightUnit, PedalUnit, DecelUnit, SpeedUnit, DistanceUnit UnitChoice
}

// MethodLink leads to the form of another method.
type MethodLink struct {
	Label, Link string
	Chosen      bool
}

// UnitChoice is a select of units.
type UnitChoice struct {
	Name, Label string
	Units       []Choice
}

// WheelFields are the two wheels of an axle on the form.
type WheelFields struct {
	Axle  int
	Left  WheelField
	Right WheelField
}

// WheelField is one wheel on the form.
type WheelField struct {
	Field
	Lock   string // name of the box to tick
	Locked bool
}

// formUnit is a unit that the form offers, with what leads to the unit inside.
type formUnit struct {
	name   string
	factor float64
}

// formUnits are offered by field, the first unless something tells otherwise.
var formUnits = map[string][]formUnit{
	"force_unit":    {{"kN", 1000}, {"N", 1}, {"kgf", fleet.Gravity}, {"lbf", poundKg * fleet.Gravity}},
	"weight_unit":   {{"kg", 1}, {"t", 1000}, {"lb", poundKg}},
	"pedal_unit":    {{"N", 1}, {"kgf", fleet.Gravity}, {"lbf", poundKg * fleet.Gravity}},
	"decel_unit":    {{"m/s²", 1}, {"g", fleet.Gravity}, {"ft/s²", 0.3048}},
	"speed_unit":    {{"km/h", 1}, {"mph", 1.609344}},
	"distance_unit": {{"m", 1}, {"ft", 0.3048}},
}

const poundKg = 0.45359237 // exactly

var unitLabels = map[string]string{
	"force_unit": "Forces in", "weight_unit": "in", "pedal_unit": "in",
	"decel_unit": "Decelerations in", "speed_unit": "in", "distance_unit": "Distances in",
}

// usUnits are what a workshop under a rule set of the United States reads off
// its instruments.
var usUnits = map[string]string{
	"force_unit": "lbf", "weight_unit": "lb", "pedal_unit": "lbf", "decel_unit": "ft/s²", "speed_unit": "mph", "distance_unit": "ft",
}

// forceUnit is the unit of forces of a name; N where there is none.
func forceUnit(name string) formUnit {
	for _, u := range formUnits["force_unit"] {
		if u.name == name {
			return u
		}
	}
	return formUnit{"N", 1}
}

func (d *Dashboard) testForm(c *gin.Context) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	h, err := d.testedVehicle(c, id, c.Query("card"))
	if err != nil {
		return err
	}
	if c.Query("correct") != "" {
		b, err := d.toCorrect(c, &h, c.Query("correct"))
		if err != nil {
			return err
		}
		return d.showTestForm(c, http.StatusOK, &h, b.Method, nil, b, nil)
	}
	method := fleet.Method(c.Query("method"))
	if !slices.Contains(fleet.Methods, method) {
		method = fleet.Roller
		if n := len(h.BrakeTests); n > 0 { // as last time
			method = h.BrakeTests[n-1].Method
		}
	}
	return d.showTestForm(c, http.StatusOK, &h, method, nil, nil, nil)
}

// testedVehicle is the vehicle that a test is of, with its history; by a job card whoever
// sees the card tests its vehicle.
func (d *Dashboard) testedVehicle(c *gin.Context, vehicle int64, card string) (store.History, error) {
	ctx, sc := c.Request.Context(), d.scope(c)
	if id, err := strconv.ParseInt(card, 10, 64); err == nil {
		card, h, err := d.svc.JobCard(ctx, sc, id)
		if err == nil && card.VehicleID == vehicle || err != nil && !isKind(err, fleet.ErrNotFound) {
			return h, err
		}
	}
	return d.svc.DB.History(ctx, sc, vehicle)
}

// toCorrect finds the test of an id among those that count.
func (d *Dashboard) toCorrect(c *gin.Context, h *store.History, id string) (*fleet.BrakeTest, error) {
	// The form takes the right to enter a test; this takes another.
	if !web.SignedIn(c).Scope(auth.Correct).Sees(h.Vehicle.FleetID, h.Vehicle.DepotID) {
		return nil, fleet.Deniedf("your account may not do this. It takes the right to %s: ask whoever looks after the accounts", web.RightWords(auth.Correct))
	}
	for i := range h.BrakeTests {
		if strconv.FormatInt(h.BrakeTests[i].ID, 10) == id {
			return &h.BrakeTests[i], nil
		}
	}
	return nil, fleet.NotFoundf("brake test %q: vehicle %s has none of this number that counts", id, h.Vehicle.Number)
}

// showTestForm sends the form: as it was typed where f is set, filled from old
// where a test is corrected, else blank. j is the judgement of what is typed.
func (d *Dashboard) showTestForm(c *gin.Context, status int, h *store.History, m fleet.Method, f *fields, old *fleet.BrakeTest, j *Judged, doubts ...string) error {
	link := vehicleLink(h.Vehicle.ID)
	p := TestFormPage{
		Shell:   Shell{Title: h.Vehicle.Number + ": enter a brake test", Place: "vehicles", Cautions: true, of: ofVehicle(&h.Vehicle)},
		Vehicle: h.Vehicle.Number,
		Back:    link + "#brake-tests",
		Link:    link + "/test",
		Method:  string(m),
		Force:   m.ByForce(),
		Stop:    m == fleet.MeasuredStop,
		Meter:   m == fleet.Decelerometer,
		Judged:  j,
		Doubts:  doubts,
		In:      formReader(f, reader(c)),
		Reason:  f.field("why", "Why it is corrected", ""),
	}
	if f != nil {
		p.Fault, p.Card = f.faults[""], c.PostForm("card")
	}
	b := old
	if b == nil {
		b = &fleet.BrakeTest{Date: d.svc.Today(), System: fleet.ServiceBrake, Technician: d.who(c)}
		if x := fleet.Stage(c.Query("stage")); slices.Contains(fleet.Stages, x) {
			b.Stage = x
		}
		if card, err := queryID(c, "card"); err == nil && card != 0 {
			p.Card = strconv.FormatInt(card, 10)
			p.Back = "/cards/" + p.Card
		}
	} else {
		p.Title = h.Vehicle.Number + ": correct a brake test"
		p.Correct = strconv.FormatInt(b.ID, 10)
	}
	if old == nil {
		p.Keeps = d.testKept(c, h.Vehicle.ID, m, p.In, f != nil)
		for _, x := range fleet.Methods {
			p.Methods = append(p.Methods, MethodLink{capital(methodWords[x]), p.Link + "?" + url.Values{"method": {string(x)}, "stage": {string(b.Stage)}, "card": {p.Card}}.Encode(), x == m})
		}
	}
	typed := func(name, value string) string {
		if f != nil {
			return f.text(name)
		}
		return value
	}
	for _, x := range fleet.BrakeSystems {
		p.Brakes = append(p.Brakes, Choice{string(x), capital(string(x)) + " brake", typed("brake", string(b.System)) == string(x)})
	}
	for _, x := range fleet.Stages {
		p.Stages = append(p.Stages, Choice{string(x), capital(stageWords[x]), typed("stage", string(b.Stage)) == string(x)})
	}
	chosen := d.formUnitsOf(h, b, old != nil, typed)
	for name, to := range map[string]*UnitChoice{
		"force_unit": &p.ForceUnit, "weight_unit": &p.WeightUnit, "pedal_unit": &p.PedalUnit,
		"decel_unit": &p.DecelUnit, "speed_unit": &p.SpeedUnit, "distance_unit": &p.DistanceUnit,
	} {
		*to = UnitChoice{Name: name, Label: unitLabels[name]}
		for _, x := range formUnits[name] {
			to.Units = append(to.Units, Choice{x.name, x.name, x.name == chosen[name].name})
		}
	}
	odometer := ""
	if b.OdometerKm != nil {
		odometer = p.In.KmField(*b.OdometerKm)
	}
	p.Day = f.field("day", "Day", b.Date.String()).as("date")
	fill := func(to *Field, name, label, value string) { *to = f.field(name, label, value) }
	in := func(x float64, unit string) string {
		if x == 0 {
			return ""
		}
		return plain(math.Round(x/chosen[unit].factor*1e6) / 1e6)
	}
	known := ""
	if last := lastKm(p.In, h, b.Date, b.OdometerKm); last != "" {
		known = " (" + last + ")"
	}
	fill(&p.Odometer, "odometer", "Odometer, "+p.In.DistanceUnit()+known, odometer)
	fill(&p.Weight, "weight", "Weight of the whole vehicle, which the efficiency is reckoned by", in(b.WeightKg, "weight_unit"))
	fill(&p.Pedal, "pedal", "Pedal force, where it was measured", in(b.PedalN, "pedal_unit"))
	fill(&p.Mean, "mean", "Mean deceleration", in(b.Mean, "decel_unit"))
	fill(&p.Peak, "peak", "Peak deceleration", in(b.Peak, "decel_unit"))
	fill(&p.Speed, "speed", "Speed when the pedal first moved", in(b.SpeedKmh, "speed_unit"))
	fill(&p.Distance, "distance", "Distance from there to standstill", in(b.DistanceM, "distance_unit"))
	fill(&p.Begin, "begin", "Distance at 0.8 of the speed", in(b.BeginM, "distance_unit"))
	fill(&p.End, "end", "Distance at 0.1 of the speed", in(b.EndM, "distance_unit"))
	fill(&p.Technician, "technician", "Technician", b.Technician)
	fill(&p.Note, "note", "Note", b.Note)
	for _, x := range []*Field{&p.Odometer, &p.Weight, &p.Pedal, &p.Mean, &p.Peak, &p.Speed, &p.Distance, &p.Begin, &p.End} {
		x.Mode = "decimal"
	}
	for _, axle := range formAxles(h, b) {
		row := WheelFields{Axle: axle}
		for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
			name := wheelName(axle, side)
			x := WheelField{Lock: name + "_locked"}
			value := ""
			for _, w := range b.Wheels {
				if w.Axle == axle && w.Side == side {
					value, x.Locked = in(w.N, "force_unit"), w.Locked
					if w.N == 0 {
						value = "0"
					}
				}
			}
			x.Field = f.field(name, fmt.Sprintf("Axle %d %s", axle, side), value)
			x.Mode = "decimal"
			if f != nil {
				x.Locked = f.text(x.Lock) != ""
			}
			if side == fleet.Left {
				row.Left = x
			} else {
				row.Right = x
			}
		}
		p.Axles = append(p.Axles, row)
	}
	return d.send(c, status, "testform", p)
}

// lastKm says what the odometer read last, on a day and beside a reading of it; blank
// where it was never read.
func lastKm(tell units.Reader, h *store.History, day fleet.Date, km *float64) string {
	last, _ := pipeline.OdometerOn(h, day, km, tell.DistanceIn == units.Miles)
	if last == nil {
		return ""
	}
	return "last, " + tell.DayNear(last.Date, day) + ": " + tell.Distance(last.Km)
}

// odometerDoubts says what is to be remarked on a reading of the odometer that a job
// card or a brake test has.
func odometerDoubts(tell units.Reader, h *store.History, day fleet.Date, km *float64) (said []string) {
	if km == nil {
		return nil
	}
	_, remarks := pipeline.OdometerOn(h, day, km, tell.DistanceIn == units.Miles)
	for _, r := range remarks {
		said = append(said, "Odometer "+tell.Distance(*km)+". "+tell.Text(r.Text, day))
	}
	return said
}

// formUnitsOf chooses the units that the form shows: as typed, as the test
// corrected was written, or as the fleet's rule set makes likely.
func (d *Dashboard) formUnitsOf(h *store.History, b *fleet.BrakeTest, correct bool, typed func(name, value string) string) map[string]formUnit {
	chosen := map[string]formUnit{}
	for name, units := range formUnits {
		chosen[name] = units[0]
		want := ""
		switch {
		case correct && name == "force_unit":
			want = b.ForceUnit
		case correct: // as it is kept
		case strings.HasPrefix(h.RuleSet, "us-"):
			want = usUnits[name]
		}
		want = typed(name, want)
		for _, u := range units {
			if u.name == want {
				chosen[name] = u
			}
		}
	}
	return chosen
}

func wheelName(axle int, side fleet.Side) string { return fmt.Sprintf("force_%d_%s", axle, side) }

// formAxles are the axles that the form has a line for: the vehicle's, or two
// where none is known, and those of the test.
func formAxles(h *store.History, b *fleet.BrakeTest) (axles []int) {
	for _, a := range h.Axles {
		axles = append(axles, a.Number)
	}
	if axles == nil {
		axles = []int{1, 2}
	}
	for _, w := range b.Wheels {
		if !slices.Contains(axles, w.Axle) {
			axles = append(axles, w.Axle)
		}
	}
	slices.Sort(axles)
	return axles
}

// readTest reads the form of a test of method m, which corrects old unless that
// is nil.
func readTest(f *fields, old *fleet.BrakeTest, axles []int, m fleet.Method) fleet.BrakeTest {
	in := func(name, unit string) float64 {
		x := f.number(name)
		if x < 0 {
			f.fault(name, "Below 0: correct it")
		}
		for _, u := range formUnits[unit] {
			if u.name == f.text(unit) {
				return math.Round(x*u.factor*1e6) / 1e6
			}
		}
		return x
	}
	var was *float64
	if old != nil {
		was = old.OdometerKm
	}
	b := fleet.BrakeTest{
		Date:       f.must("day"),
		Method:     m,
		System:     fleet.BrakeSystem(f.text("brake")),
		Stage:      fleet.Stage(f.text("stage")),
		OdometerKm: f.km("odometer", was),
		PedalN:     in("pedal", "pedal_unit"),
		Technician: f.text("technician"),
		Note:       f.text("note"),
	}
	switch m {
	case fleet.Decelerometer:
		b.Mean, b.Peak = in("mean", "decel_unit"), in("peak", "decel_unit")
	case fleet.MeasuredStop:
		b.SpeedKmh, b.DistanceM = in("speed", "speed_unit"), in("distance", "distance_unit")
		b.BeginM, b.EndM = in("begin", "distance_unit"), in("end", "distance_unit")
		b.Mean = in("mean", "decel_unit")
	default:
		b.WeightKg = in("weight", "weight_unit")
		b.ForceUnit = forceUnit(f.text("force_unit")).name
		for _, axle := range axles {
			for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
				name := wheelName(axle, side)
				if f.text(name) == "" {
					continue
				}
				b.Wheels = append(b.Wheels, fleet.WheelEffort{Axle: axle, Side: side, N: in(name, "force_unit"), Locked: f.text(name+"_locked") != ""})
			}
		}
	}
	return b
}

// addTest judges what was typed, and keeps it unless only a judgement was
// asked for.
func (d *Dashboard) addTest(c *gin.Context) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	h, err := d.testedVehicle(c, id, c.PostForm("card"))
	if err != nil {
		return err
	}
	f := readFields(c)
	m := fleet.Method(f.text("method"))
	if !slices.Contains(fleet.Methods, m) {
		return fleet.Invalidf("method %q: want one of %s", m, fleet.OneOf(fleet.Methods))
	}
	var old *fleet.BrakeTest
	axles := formAxles(&h, &fleet.BrakeTest{})
	if s := f.text("correct"); s != "" {
		if old, err = d.toCorrect(c, &h, s); err != nil {
			return err
		}
		axles = formAxles(&h, old)
	}
	b := readTest(f, old, axles, m)
	b.VehicleID = id
	if f.ok() {
		if err := f.take("", b.Validate()); err != nil {
			return err
		}
	}
	var j *Judged
	if f.ok() && f.text("do") == "judge" && !web.WantsJSON(c) { // a script asks for it to be kept
		v := judged(web.SignedIn(c), &h.Vehicle, pipeline.JudgeBrakeTest(&h, &b))
		known := h
		if old != nil { // whose reading goes with it
			known.BrakeTests = slices.DeleteFunc(slices.Clone(h.BrakeTests), func(x fleet.BrakeTest) bool { return x.ID == old.ID })
		}
		return d.showTestForm(c, http.StatusOK, &h, m, f, old, &v, odometerDoubts(formReader(f, reader(c)), &known, b.Date, b.OdometerKm)...)
	}
	card, _ := strconv.ParseInt(c.PostForm("card"), 10, 64) // 0 = none
	var to int64
	again := ""
	if f.ok() {
		if old != nil {
			corrected, err := d.svc.CorrectBrakeTest(ctx, web.SignedIn(c).Scope(auth.Correct), old.ID, b, fleet.Reason{Why: f.text("why"), By: d.who(c)}, d.svc.Today())
			if err := f.take("", err); err != nil {
				return err
			}
			to = corrected.StandsID
		} else {
			got, added, err := d.svc.AddCardTest(ctx, sc, card, b, d.who(c), d.svc.Today())
			if err := f.take("", err); err != nil {
				return err
			}
			to = got.ID
			if !added {
				again = "?again=1"
			}
		}
	}
	switch {
	case !f.ok() && web.WantsJSON(c):
		return sendJSON(c, http.StatusBadRequest, formAnswer{Message: f.first(), Faults: f.faults})
	case !f.ok():
		return d.showTestForm(c, http.StatusBadRequest, &h, m, f, old, j)
	case card != 0:
		return took(c, fmt.Sprintf("/cards/%d#test", card))
	}
	return took(c, testLink(id, to)+again)
}
