package dashboard

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// CorrectionPage is one record, to correct or to set aside.
type CorrectionPage struct {
	Shell
	In       units.Reader // units of its form
	Gauge    string       // it was read with
	Link     string
	Vehicle  string
	Back     string
	What     string   // "Reading: axle 1 left inner pad"
	Facts    []string // what is recorded, in words
	Upload   int64
	Aside    string // what became of it; blank while it counts
	Stands   string // link to what stands instead
	CanUndo  bool
	Shelf    string // what setting it aside, or letting it count again, does to the stock
	Fault    string // of the form as a whole
	Fields   []Field
	Choices  []ChoiceField
	Whole    string // offers to change the whole visit; blank = no others
	WholeSet bool
	Doubts   []string // about what was typed: it is asked about before it is kept
	Sure     string   // what says that it is right all the same
	Why, By  Field
	Axle     string   // page that moves its inspection's readings; blank = none
	Log      []string // what was done to it before
}

// ChoiceField is a field with its options.
type ChoiceField struct {
	Name, Label string
	Options     []Choice
}

// correctionPath is the page of a record.
func correctionPath(r fleet.Record) string {
	if r.ID == 0 {
		return ""
	}
	return "/corrections/" + string(r.Kind) + "/" + idText(r.ID)
}

// pathRecord reads the record in the address.
func pathRecord(c *gin.Context) (fleet.Record, error) {
	id, err := web.PathID(c, "record")
	return fleet.Record{Kind: fleet.RecordKind(c.Param("kind")), ID: id}, err
}

func (d *Dashboard) correction(c *gin.Context) error {
	tell := reader(c)
	rec, err := pathRecord(c)
	if err != nil {
		return err
	}
	v, err := d.svc.DB.Record(c.Request.Context(), d.scope(c), rec)
	if err != nil {
		return err
	}
	return d.sendCorrection(c, http.StatusOK, correctionPage(tell, rec, &v, nil))
}

func (d *Dashboard) sendCorrection(c *gin.Context, status int, p CorrectionPage) (err error) {
	if p.Upload != 0 {
		if p.hidden, err = d.svc.DB.HiddenUploads(c.Request.Context(), d.scope(c), []int64{p.Upload}); err != nil {
			return err
		}
	}
	return d.send(c, status, "correction", p)
}

// correctionPage lays a record out; f is the form as it was sent, nil for a
// fresh one.
func correctionPage(tell units.Reader, rec fleet.Record, v *store.RecordView, f *fields) CorrectionPage {
	p := CorrectionPage{
		Shell:   Shell{Place: "vehicles", Cautions: true, of: ofVehicle(&v.Vehicle)},
		Link:    correctionPath(rec),
		Vehicle: v.Number,
		Back:    vehicleLink(v.ID),
		Why:     f.field("why", "Why", ""),
		By:      f.field("by", "Your name", ""),
		In:      formReader(f, tell),
	}
	if f != nil {
		p.Fault = f.faults[""]
		p.WholeSet = f.text("whole_visit") != ""
	}
	var aside *fleet.Aside
	switch {
	case v.Reading != nil:
		aside = readingForm(tell, &p, v, f)
	case v.Fitment != nil:
		aside = fitmentForm(tell, &p, v, f)
	case v.Odometer != nil:
		aside = odometerForm(tell, &p, v.Odometer, f)
	case v.Condition != nil:
		aside = conditionFacts(tell, &p, v.Condition)
	}
	if aside != nil {
		p.Aside = fmt.Sprintf("Set aside by %s on %s: %s.", aside.By, tell.Day(fleet.DateOf(aside.At)), strings.TrimSuffix(aside.Why, "."))
		p.CanUndo = aside.StandsID == 0
		if !p.CanUndo {
			p.Aside = "Corrected" + strings.TrimPrefix(p.Aside, "Set aside")
			p.Stands = correctionPath(fleet.Record{Kind: rec.Kind, ID: aside.StandsID})
		}
	}
	for _, x := range v.Log {
		p.Log = append(p.Log, actWords(tell, &x, rec))
	}
	p.Title = "Correct: " + p.What
	return p
}

func readingForm(tell units.Reader, p *CorrectionPage, v *store.RecordView, f *fields) *fleet.Aside {
	r := v.Reading
	p.Gauge = r.Gauge
	p.What = "Reading: " + r.Position.String()
	p.Upload = r.UploadID
	value := tell.Exactly(string(r.Position.Part), r.MM)
	if r.Tripped {
		value = "at or below " + value + " (sensor)"
	}
	p.Facts = []string{value, tell.Day(r.Date), odometerWords(tell, r.OdometerKm)}
	for _, x := range []string{r.Technician, r.Note} {
		if x != "" {
			p.Facts = append(p.Facts, x)
		}
	}
	p.Axle = p.Link + "/axle"
	p.Fields = append(valueFields(f, p.In, r.Position.Part, r.MM), dayAndKm(f, p.In, r.Date, r.OdometerKm)...)
	p.Choices = positionChoices(f, r.Position, "the thinner of both")
	if v.Others > 0 {
		p.Whole = fmt.Sprintf("Day and odometer are wrong for the whole visit: change them for its %s too", plural(v.Others, "other reading", "other readings"))
	}
	return r.Aside
}

func fitmentForm(tell units.Reader, p *CorrectionPage, v *store.RecordView, f *fields) *fleet.Aside {
	x := v.Fitment
	p.What = "Fitment: " + x.Position.String()
	p.Upload = x.UploadID
	value := "new, by the specification"
	if x.MM > 0 {
		value = tell.Exactly(string(x.Position.Part), x.MM)
	}
	p.Facts = []string{value, tell.Day(x.Date), odometerWords(tell, x.OdometerKm)}
	p.Fields = valueFields(f, p.In, x.Position.Part, x.MM)
	p.Fields[0].Label = "Value when fitted (blank: new)"
	if x.MM == 0 && f == nil {
		p.Fields[0].Value = ""
	}
	p.Fields = append(p.Fields, dayAndKm(f, p.In, x.Date, x.OdometerKm)...)
	p.Choices = positionChoices(f, x.Position, "both")
	p.Shelf = v.Shelf.Ahead()
	for i, m := range v.Moves {
		p.Shelf = strings.TrimSuffix(p.Shelf, ".") + fmt.Sprintf("%s %d × %s.", [...]string{":", ","}[min(i, 1)], m.N, m.Number)
	}
	return x.Aside
}

func odometerForm(tell units.Reader, p *CorrectionPage, o *fleet.Odometer, f *fields) *fleet.Aside {
	p.What = "Odometer reading"
	p.Upload = o.UploadID
	p.Facts = []string{tell.Distance(o.Km), tell.Day(o.Date)}
	p.Fields = dayAndKm(f, p.In, o.Date, &o.Km)
	return o.Aside
}

// conditionFacts lays out what was seen at an inspection, which is set aside and
// entered anew, not changed.
func conditionFacts(tell units.Reader, p *CorrectionPage, x *fleet.Condition) *fleet.Aside {
	p.What = "Seen: " + conditionPlace(x)
	p.Upload = x.UploadID
	p.Facts = []string{x.Words(), tell.Day(x.Date), odometerWords(tell, x.OdometerKm)}
	if x.Technician != "" {
		p.Facts = append(p.Facts, x.Technician)
	}
	return x.Aside
}

func conditionPlace(x *fleet.Condition) string {
	if x.Axle == 0 {
		return "the whole vehicle"
	}
	return fmt.Sprintf("axle %d", x.Axle)
}

func odometerWords(tell units.Reader, km *float64) string {
	if km == nil {
		return "odometer not read"
	}
	return tell.Distance(*km)
}

func valueFields(f *fields, in units.Reader, part fleet.Part, mm float64) []Field {
	return []Field{thicknessField(f, in, part, "value_mm", "Value", in.MMField(string(part), mm))}
}

func dayAndKm(f *fields, in units.Reader, d fleet.Date, km *float64) []Field {
	day := f.field("date", "Day", d.String())
	day.Type = "date"
	return []Field{day, distanceField(f, in, "odometer_km", "Odometer", km)}
}

// positionChoices are the fields that say where on the vehicle it is.
func positionChoices(f *fields, p fleet.Position, blank string) []ChoiceField {
	chosen := func(name, value string) string {
		if f != nil {
			return f.c.PostForm(name)
		}
		return value
	}
	options := func(name, value string, words ...string) (cs []Choice) {
		is := chosen(name, value)
		for _, w := range words {
			cs = append(cs, Choice{w, cmp.Or(w, blank), w == is})
		}
		return cs
	}
	fs := []ChoiceField{{Name: "side", Label: "Side", Options: options("side", string(p.Side), string(fleet.Left), string(fleet.Right), "")}}
	if p.Part == fleet.Pad {
		fs = append(fs, ChoiceField{Name: "face", Label: "Pad", Options: options("face", string(p.Face), string(fleet.Inner), string(fleet.Outer), "")})
	}
	return fs
}

// correct does what the form asks, forecasts the vehicle anew and leads back
// to it. What cannot be done leads back to the form, as it was typed.
func (d *Dashboard) correct(c *gin.Context) error {
	tell := reader(c)
	ctx, sc, today := c.Request.Context(), d.scope(c), d.svc.Today()
	rec, err := pathRecord(c)
	if err != nil {
		return err
	}
	v, err := d.svc.DB.Record(ctx, sc, rec)
	if err != nil {
		return err
	}
	f := readFields(c)
	why := fleet.Reason{Why: c.PostForm("why"), By: c.PostForm("by")}
	act := c.PostForm("act")
	var done fleet.Correction
	switch act {
	case "correct":
		if v.Condition != nil {
			return fleet.Invalidf("act %q: what was seen is set aside, and entered anew if it was something else", act)
		}
		ch := changeOf(f, &v)
		if f.ok() && !ch.Empty() {
			if asked, err := d.askAbout(c, rec, &v, ch, f); asked || err != nil {
				return err
			}
		}
		if f.ok() {
			_, err = d.svc.Correct(ctx, sc, rec, ch, why, today)
		}
	case "set-aside":
		done, err = d.svc.SetAside(ctx, sc, rec, why, today)
	case "undo":
		done, err = d.svc.UndoSetAside(ctx, sc, rec, why, today)
	default:
		return fleet.Invalidf("act %q: want correct, set-aside or undo", act)
	}
	status := http.StatusBadRequest
	if errors.Is(err, fleet.ErrConflict) {
		status = http.StatusConflict
		// Somebody else came first: show how it stands now.
		if v, err2 := d.svc.DB.Record(ctx, sc, rec); err2 == nil {
			f.fault("", "%s", faultWords(c, err))
			return d.sendCorrection(c, status, correctionPage(tell, rec, &v, f))
		}
	}
	if err := f.take("", err); err != nil {
		return err
	}
	if !f.ok() {
		return d.sendCorrection(c, status, correctionPage(tell, rec, &v, f))
	}
	shelf := ""
	if done.Shelf != "" {
		shelf = "&shelf=" + string(done.Shelf)
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("/vehicles/%d?done=%s%s#corrections", v.ID, act, shelf))
	return nil
}

// askAbout sends the form back once with what is unlikely about the change, and
// says whether it did.
func (d *Dashboard) askAbout(c *gin.Context, rec fleet.Record, v *store.RecordView, ch fleet.Change, f *fields) (asked bool, err error) {
	var typed []string // what is sure of one value is not so of another
	for _, name := range []string{"value_mm", "date", "odometer_km", "side", "face"} {
		typed = append(typed, f.text(name))
	}
	sure := strings.Join(typed, "|") // a blank before the first would be trimmed where it comes back
	if f.text("sure") == sure {
		return false, nil
	}
	doubts, err := d.svc.ChangeDoubts(c.Request.Context(), d.scope(c), v, ch)
	if err != nil || len(doubts) == 0 {
		return false, err
	}
	tell := reader(c)
	p := correctionPage(tell, rec, v, f)
	p.Sure = sure
	for i := range doubts {
		p.Doubts = append(p.Doubts, tell.Text(doubts[i].Text, d.svc.Today()))
	}
	return true, d.sendCorrection(c, http.StatusConflict, p)
}

// changeOf reads what is to be different: what was typed as it stands is no
// change.
func changeOf(f *fields, v *store.RecordView) (ch fleet.Change) {
	day := f.must("date")
	var wasDay fleet.Date
	var wasKm *float64
	var place *fleet.Position
	var wasMM float64
	switch {
	case v.Reading != nil:
		wasDay, wasKm, wasMM, place = v.Reading.Date, v.Reading.OdometerKm, v.Reading.MM, &v.Reading.Position
	case v.Fitment != nil:
		wasDay, wasKm, wasMM, place = v.Fitment.Date, v.Fitment.OdometerKm, v.Fitment.MM, &v.Fitment.Position
	case v.Odometer != nil:
		wasDay, wasKm = v.Odometer.Date, &v.Odometer.Km
	}
	if day != wasDay {
		ch.Date = &day
	}
	km := f.km("odometer_km", wasKm)
	switch {
	case km == nil && wasKm != nil:
		ch.NoOdometer = true
	case km != nil && (wasKm == nil || *km != *wasKm):
		ch.OdometerKm = km
	}
	if place != nil {
		given := f.text("value_mm")
		if given == "" && v.Reading != nil {
			f.fault("value_mm", "Give the value, or set the reading aside")
		}
		if x := f.thickness("value_mm", place.Part, wasMM); x.MM != wasMM {
			ch.MM, ch.Given, ch.Unit = &x.MM, x.Given, x.Unit
		}
		to := *place
		to.Side = fleet.Side(f.text("side"))
		if to.Part == fleet.Pad {
			to.Face = fleet.Face(f.text("face"))
		}
		if to != *place {
			ch.Position = &to
		}
	}
	ch.WholeVisit = f.text("whole_visit") != ""
	return ch
}

// actWords says what was done to a record, seen from rec.
func actWords(tell units.Reader, x *fleet.Correction, rec fleet.Record) string {
	what := capital(string(x.Act))
	switch {
	case x.Act == fleet.Corrected && x.StandsID == rec.ID:
		what = fmt.Sprintf("Stands instead of %s", x.Record)
	case x.Act == fleet.Undone:
		what = "Counts again"
	case x.Act == fleet.Moved:
		what = "Moved here from another vehicle"
	}
	return fmt.Sprintf("%s: %s on %s, %s", what, x.By, tell.Day(fleet.DateOf(x.At)), x.Why)
}

// doneWords say on the vehicle's page what was just done.
var doneWords = map[string]string{
	"correct":   "Corrected. The old value stays in the history, and the forecast follows the new one.",
	"set-aside": "Set aside. It stays in the history, and the forecast goes without it.",
	"axle":      "Moved. What was recorded stays in the history, and the forecasts follow.",
	"undo":      "It counts again, and the forecast goes with it.",
	"note":      "Kept that it was looked at.",
	"confirm":   "The fitment is recorded, and the forecast starts from it.",
	"refuse":    "Kept that nothing was fitted. It is not suggested again, and the forecast goes without it.",
}

// CorrectedRow is one thing done to a record of a vehicle.
type CorrectedRow struct {
	Date fleet.Date
	What string
	Link string
}

// correctedRows puts what was done to the records of a vehicle into words,
// newest first.
func correctedRows(tell units.Reader, h *store.History, cs *store.Corrections) (rows []CorrectedRow) {
	if len(cs.Log) == 0 { // as of most vehicles: nothing needs a name
		return nil
	}
	named := map[fleet.Record]string{}
	for _, rs := range [][]fleet.Reading{h.Readings, cs.Readings} {
		for i := range rs {
			r := &rs[i]
			named[fleet.Record{Kind: fleet.ReadingRecord, ID: r.ID}] = r.Position.String() + ", " + tell.Exactly(string(r.Position.Part), r.MM) + " on " + tell.Day(r.Date) + " at " + odometerAt(tell, r.OdometerKm)
		}
	}
	for _, xs := range [][]fleet.Fitment{h.Fitments, cs.Fitments} {
		for i := range xs {
			x := &xs[i]
			named[fleet.Record{Kind: fleet.FitmentRecord, ID: x.ID}] = fittedWords(tell, x) + " on " + tell.Day(x.Date) + " at " + odometerAt(tell, x.OdometerKm)
		}
	}
	for _, os := range [][]fleet.Odometer{h.Odometers, cs.Odometers} {
		for i := range os {
			o := &os[i]
			named[fleet.Record{Kind: fleet.OdometerRecord, ID: o.ID}] = "odometer " + tell.Distance(o.Km) + " on " + tell.Day(o.Date)
		}
	}
	for _, xs := range [][]fleet.Condition{h.Conditions, cs.Conditions} {
		for i := range xs {
			x := &xs[i]
			named[fleet.Record{Kind: fleet.ConditionRecord, ID: x.ID}] = conditionPlace(x) + ", " + x.Words() + ", on " + tell.Day(x.Date)
		}
	}
	for i := range cs.Log {
		x := &cs.Log[i]
		what := cmp.Or(named[x.Record], x.Record.String())
		switch x.Act {
		case fleet.Corrected:
			to := fleet.Record{Kind: x.Record.Kind, ID: x.StandsID}
			what += "; corrected to " + cmp.Or(named[to], to.String())
		case fleet.SetAside:
			what += "; set aside"
		case fleet.Undone:
			what += "; counts again"
		case fleet.Moved:
			what += "; moved here from another vehicle"
		}
		rows = append(rows, CorrectedRow{
			Date: fleet.DateOf(x.At),
			What: fmt.Sprintf("%s by %s: %s", capital(what), x.By, x.Why),
			Link: correctionPath(x.Record),
		})
	}
	return rows
}

func odometerAt(tell units.Reader, km *float64) string {
	if km == nil {
		return "an odometer not read"
	}
	return tell.Distance(*km)
}

// fittedWords is a fitment in a table.
func fittedWords(tell units.Reader, x *fleet.Fitment) string {
	s := "new " + x.Position.Within()
	if x.MM > 0 {
		s += " at " + tell.Exactly(string(x.Position.Part), x.MM)
	}
	return s
}

func idText(id int64) string { return strconv.FormatInt(id, 10) }
