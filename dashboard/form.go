package dashboard

import (
	"crypto/rand"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// FormPage is the form that readings of one vehicle are entered into.
type FormPage struct {
	Shell
	Link        string // of the page, and where the form is sent
	Back        string // to the vehicle
	VehicleID   int64
	Number      string
	Plate       string
	Where       string
	Key         string // names this form: sent twice, it is taken once
	Fault       string // of the form as a whole
	Faults      int    // fields that want another look
	Technician  FormField
	Date        FormField
	Units       []Choice // of a thickness
	KmUnits     []Choice // of the odometer
	Odometer    FormField
	Wheels      []FormWheel
	Places      int // to be measured at every visit
	Filled      int
	Note        FormField
	NoAxles     bool // none is on record: the form asks first
	Assumed     bool // the axles are as the form's reader told
	Brakes      string
	BrakeCounts []Choice
	BrakeKinds  []Choice
	Script      FormScript
}

// FormScript is what form.js works with: the same words and bounds that the
// server's remarks are made of.
type FormScript struct {
	Words     string // JSON, by code
	Distance  string // what the reader counts in
	Thickness string // and measures in
	Days      string // and how days are written
	ApartMM   string
	Today     string // ISO
	LastDay   string // ISO, of the odometer
	KmPerDay  string
	KmBesides string
	NextKm    string
	NextDay   string
}

// FormWheel is one end of an axle.
type FormWheel struct {
	Name    string // "1-left"
	Title   string
	Axle    int
	Side    string
	Places  []FormField // measured at every visit
	Seldom  []FormField
	Ticks   []Choice
	Reasons []Choice // why it was not measured
	Open    bool     // something is filled in, or wrong, in what is folded
}

// FormField is one field with what is known of it and what is remarked.
type FormField struct {
	Name, Label string
	Value       string
	Known       []Fact
	Fault       string
	Remarks     []string
	Doubt       bool
	Confirmed   bool
	Data        FieldData
}

// Fact is one thing known, with its name.
type Fact struct{ Name, Value string }

// FieldData is what form.js compares a value with; blank where not known.
type FieldData struct {
	Limit, New, Last, LastDay, Median, Low, High string
	Kind                                         string // part
	Thinnest                                     bool
	Face, Side                                   string // fields it is compared with
	FaceWord, SideWord                           string // what they are called
}

// form shows a vehicle's form, empty.
func (d *Dashboard) form(c *gin.Context) error {
	tell := reader(c)
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	brakes, err := brakesOf(c.Query("axles"), c.Query("brakes"))
	if err != nil {
		return err
	}
	today := d.svc.Today()
	sh, err := d.svc.Sheet(c.Request.Context(), d.scope(c), id, today, brakes)
	if err != nil {
		return err
	}
	return d.send(c, http.StatusOK, "form", d.formPage(tell, sh, &entered{
		date: today.String(), key: rand.Text(), technician: d.who(c), tell: tell,
		unit: tell.GaugeUnit(linings), kmUnit: tell.DistanceUnit(),
	}))
}

// brakesOf reads what a person says of axles that are not on record: how many,
// and "disc", "drum", or "mixed" for discs in front and drums behind.
func brakesOf(axles, kind string) (bs []fleet.Brake, err error) {
	if axles == "" {
		return nil, nil
	}
	n, err := strconv.Atoi(axles)
	if err != nil || n < 1 || n > fleet.MaxAxle {
		return nil, fleet.Invalidf("axles %q: want 1 to %d", axles, fleet.MaxAxle)
	}
	for i := range n {
		switch {
		case kind == "disc" || kind == "mixed" && i == 0:
			bs = append(bs, fleet.DiscBrake)
		case kind == "drum" || kind == "mixed":
			bs = append(bs, fleet.DrumBrake)
		default:
			return nil, fleet.Invalidf("brakes %q: want disc, drum or mixed", kind)
		}
	}
	return bs, nil
}

// formPage lays out a sheet with what was entered.
func (d *Dashboard) formPage(tell units.Reader, sh *pipeline.Sheet, e *entered) FormPage {
	v := &sh.Vehicle
	p := FormPage{
		Shell:      Shell{Title: v.Number + ": enter readings", Place: "readings", Cautions: true},
		Link:       fmt.Sprintf("/vehicles/%d/measure", v.ID),
		Back:       vehicleLink(v.ID),
		VehicleID:  v.ID,
		Number:     v.Number,
		Plate:      v.Plate,
		Where:      strings.Trim(sh.Depot+" · "+strings.TrimSpace(v.Make+" "+v.Model), " ·"),
		Key:        e.key,
		Fault:      e.fault,
		Technician: FormField{Name: "technician", Label: "Your name", Value: e.technician, Fault: e.faults["technician"]},
		Date:       FormField{Name: "date", Label: "Measured on", Value: e.date, Fault: e.faults["date"]},
		Note:       FormField{Name: "note", Label: "Note", Value: e.note, Fault: e.faults["note"]},
		Units:      lengthChoices(e.unit),
		KmUnits:    sameChoices(ingest.DistanceUnits, e.kmUnit),
		Assumed:    sh.Assumed,
		NoAxles:    len(sh.Wheels) == 0,
	}
	if p.Assumed {
		p.Brakes = brakeWords(sh)
	}
	if p.NoAxles {
		p.BrakeCounts = sameChoices([]string{"2", "1", "3", "4", "5", "6"}, "")
		p.BrakeKinds = choices("disc", "disc", "disc brakes all round", "mixed", "discs in front, drums behind", "drum", "drum brakes all round")
	}
	p.Odometer = FormField{Name: pipeline.OdometerField, Label: "Odometer"}
	p.Script = FormScript{Distance: tell.DistanceUnit(), Thickness: tell.ThicknessUnit(), Days: string(tell.DaysAs), Words: remarkWords, ApartMM: data(sh.ApartMM), Today: sh.Day.String()}
	if o := sh.Odometer; o != nil {
		p.Odometer.Known = []Fact{{"last, " + tell.DayNear(o.Date, sh.Day), tell.Distance(o.Km)}}
		p.Odometer.Data = FieldData{Last: data(o.Km), LastDay: tell.Day(o.Date)}
		p.Script.LastDay, p.Script.KmPerDay, p.Script.KmBesides = o.Date.String(), data(o.PerDay), data(o.Besides)
		if o.Next != nil {
			p.Script.NextKm, p.Script.NextDay = data(o.Next.Km), tell.Day(o.Next.Date)
		}
	}
	remarks := map[string][]pipeline.Remark{}
	for _, r := range sh.Remarks(e.values) {
		remarks[r.Field] = append(remarks[r.Field], r)
	}
	e.fill(&p.Odometer, remarks)
	for i := range sh.Wheels {
		p.Wheels = append(p.Wheels, wheelForm(tell, sh, &sh.Wheels[i], e, remarks))
	}
	for i := range p.Wheels {
		p.Places += len(p.Wheels[i].Places)
		for j := range p.Wheels[i].Places {
			if p.Wheels[i].Places[j].Value != "" {
				p.Filled++
			}
		}
	}
	p.Faults = len(e.faults)
	return p
}

// sameChoices makes options whose words are their values.
func sameChoices(values []string, chosen string) (cs []Choice) {
	for _, s := range values {
		cs = append(cs, Choice{s, s, s == chosen})
	}
	return cs
}

// lengthChoices are the units of a thickness. What is typed for a rotor or a drum
// is never in 32nds: see gaugeUnit.
func lengthChoices(chosen string) []Choice {
	cs := sameChoices(ingest.LengthUnits, chosen)
	for i := range cs {
		if cs[i].Value == in32nds {
			cs[i].Label += "; rotors and drums in"
		}
	}
	return cs
}

// in32nds is the unit in which pads and linings are told in inches, while rotors
// and drums are in decimal inches (common practice, no source).
const in32nds = "1/32 in"

// gaugeUnit is what a value of a part is in where the form's unit is chosen so.
func gaugeUnit(unit string, part fleet.Part) string {
	if unit == in32nds && part != fleet.Pad && part != fleet.Lining {
		return "in"
	}
	return unit
}

// brakeWords is what a form sends on of axles that are not on record:
// "disc drum".
func brakeWords(sh *pipeline.Sheet) string {
	var words []string
	for _, w := range sh.Wheels {
		if w.Side == fleet.Left {
			words = append(words, string(w.Brake))
		}
	}
	return strings.Join(words, " ")
}

// remarkWords is pipeline.RemarkWords for the script.
var remarkWords = func() string {
	b, err := json.Marshal(pipeline.RemarkWords)
	if err != nil {
		panic(err) // strings
	}
	return string(b)
}()

// data is a number for the script, whole; blank for none.
func data(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

func wheelForm(tell units.Reader, sh *pipeline.Sheet, w *pipeline.Wheel, e *entered, remarks map[string][]pipeline.Remark) FormWheel {
	f := FormWheel{
		Name:  fmt.Sprintf("%d-%s", w.Axle, w.Side),
		Title: wheelTitle(sh, w),
		Axle:  w.Axle,
		Side:  string(w.Side),
	}
	for i := range w.Places {
		x := placeForm(tell, sh, &w.Places[i])
		e.fill(&x, remarks)
		if w.Places[i].Seldom {
			f.Seldom = append(f.Seldom, x)
			f.Open = f.Open || x.Value != ""
		} else {
			f.Places = append(f.Places, x)
		}
	}
	for _, k := range fleet.Ticks {
		chosen := e.ticks[f.Name+" "+string(k)]
		f.Ticks = append(f.Ticks, Choice{f.Name + " " + string(k), string(k), chosen})
		f.Open = f.Open || chosen
	}
	why := e.why[f.Name]
	f.Reasons = []Choice{{"", "nothing to say", why == ""}}
	for _, s := range notMeasuredReasons {
		f.Reasons = append(f.Reasons, Choice{s, s, s == why})
	}
	f.Open = f.Open || why != ""
	return f
}

// notMeasuredReasons are why a wheel is left out, the usual ones.
var notMeasuredReasons = []string{"wheel not taken off", "cannot be reached", "parts seized", "no time", "parts just fitted"}

// wheelTitle names a wheel as people do.
func wheelTitle(sh *pipeline.Sheet, w *pipeline.Wheel) string {
	axles := len(sh.Wheels) / 2
	switch {
	case axles == 1 || sh.Vehicle.Category.Trailer():
	case w.Axle == 1:
		return "Front " + string(w.Side)
	case axles == 2:
		return "Rear " + string(w.Side)
	}
	return fmt.Sprintf("Axle %d %s", w.Axle, w.Side)
}

func placeForm(tell units.Reader, sh *pipeline.Sheet, p *pipeline.Place) FormField {
	f := FormField{Name: pipeline.FieldOf(p.Position), Label: placeLabel(p)}
	x := &f.Data
	x.Kind, x.Thinnest = string(p.Part), p.Thinnest
	if l := p.Last; l != nil {
		f.Known = append(f.Known, Fact{tell.DayNear(l.Date, sh.Day), tell.Spec(string(p.Part), l.MM)})
		x.Last, x.LastDay = data(l.MM), tell.Day(l.Date)
	} else {
		f.Known = append(f.Known, Fact{"last", "–"})
	}
	if l := p.Likely; l != nil {
		f.Known = append(f.Known, Fact{"likely", tell.MM(string(p.Part), l.Median)})
		x.Median, x.Low, x.High = data(l.Median), data(l.Low), data(l.High)
	}
	if s := p.Spec; s != nil {
		f.Known = append(f.Known, Fact{"limit", tell.Spec(string(p.Part), s.Limit)})
		x.Limit, x.New = data(s.Limit), data(s.New)
	}
	if p.Part == fleet.Pad || p.Part == fleet.Lining {
		across := p.Position
		across.Side = map[fleet.Side]fleet.Side{fleet.Left: fleet.Right, fleet.Right: fleet.Left}[p.Side]
		x.Side, x.SideWord = pipeline.FieldOf(across), string(across.Side)
		if p.Face != "" {
			beside := p.Position
			beside.Face = map[fleet.Face]fleet.Face{fleet.Inner: fleet.Outer, fleet.Outer: fleet.Inner}[p.Face]
			x.Face, x.FaceWord = pipeline.FieldOf(beside), string(beside.Face)
		}
	}
	return f
}

func placeLabel(p *pipeline.Place) string {
	switch {
	case p.Part == fleet.Pad && p.Face == "":
		return "Pad, the thinner"
	case p.Part == fleet.Pad:
		return capital(string(p.Face)) + " pad"
	case p.Part == fleet.Drum:
		return "Drum, inside"
	}
	return capital(string(p.Part))
}

func sendJSON(c *gin.Context, status int, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	web.Send(c, status, "application/json", body)
	return nil
}

// worker sends the script that keeps the form within reach without a network.
// It must lie above the pages it serves, under a name that stays.
func (d *Dashboard) worker(c *gin.Context) error {
	body, err := staticFiles.ReadFile("static/worker.js")
	if err != nil {
		return err
	}
	web.Send(c, http.StatusOK, "text/javascript; charset=utf-8", body)
	return nil
}
