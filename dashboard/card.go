package dashboard

import (
	"context"
	"crypto/rand"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// CardPage is one job card: what to do, what was done, what proves it.
type CardPage struct {
	Shell
	ID             int64
	Vehicle, Plate string
	VehicleLink    string
	Depot, Day     string
	Km             string
	Shelf          string   // what an undo just did to it
	Kept           string   // ends the names under which a phone keeps its forms
	Shown          int64    // when, in microseconds since 1970
	Facts          []string // of the vehicle
	Work           []CardWork
	Parts          []CardSpec
	Findings       []string
	Sections       []CardSection
	Odometer       string // as it was typed
	LastKm         string // beside it
	Off            []CardAxle
	Fitted         []CardFitted
	Tests          []string
	TestBefore     string // link to enter one
	TestAfter      string
	Against        []string    // what stands against passing
	NotFitted      string      // what was to be renewed, and is not entered
	Faults         []CardFault // of what was just entered
	Sure           string      // what confirms it, where it is only doubted
	Remarks        []string    // on the parts and the odometer
	State          string      // in words; blank while open
	Closed         string
	Note           string
	Closing        string // the note as it was typed
	Skipped        int    // steps
	Failed         int
	Open           bool
	Nonce          string
}

// CardFault is what is wrong with what was entered on a card, and in which field of
// the form; blank: it is about the whole.
type CardFault struct{ Field, Text, Typed string }

// Wants are the attributes of a field that cannot be taken as it stands: the first
// of them has the focus.
func (p CardPage) Wants(field string) template.HTMLAttr {
	i := slices.IndexFunc(p.Faults, func(f CardFault) bool { return f.Field == field })
	if i < 0 {
		return ""
	}
	attrs := fmt.Sprintf(` aria-invalid="true" aria-describedby="w-%s"`, field)
	if i == 0 {
		attrs += " autofocus"
	}
	return template.HTMLAttr(attrs)
}

// CardWork is what is to be done to an axle, in words.
type CardWork struct{ Where, What, Why, Part string }

// CardSpec is a part of the axles worked on: its values and its last readings.
type CardSpec struct{ Where, New, Limit, Source, Last string }

// CardSection is a part of the card with its steps.
type CardSection struct {
	Title string
	Steps []CardStepView
}

// CardStepView is one step with what was entered last.
type CardStepView struct {
	Seq      int
	Text     string
	Safety   bool
	Source   string
	State    string // done, failed, skipped or blank
	Marked   string // the same, as it stands in the form
	Fields   []CardField
	Note     string
	By       string // who and when
	Faults   []string
	Remarks  []string
	Earlier  int
	TestLink string
	Was      string // what the form says of it, as it is shown; blank: nothing was entered
}

// CardField is a value to note.
type CardField struct {
	Name, Label, Check, Value string
	Unit, Mode                string // of a thickness, and the phone's keys for it
}

// CardAxle is the form of what comes off an axle and what goes on.
type CardAxle struct {
	Axle int
	Off  []CardField
	On   []CardOn
}

// CardOn is one kind of part that goes on.
type CardOn struct {
	Name, Part, New, Number string
	Sides, MM, Batch        string // as they were typed
	Unit, Mode              string // as of a CardField
}

// CardFitted is a part that was fitted.
type CardFitted struct {
	ID           int64
	What, Number string
	MM, By       string
	Undone       string
}

func (d *Dashboard) card(c *gin.Context) error {
	id, err := web.PathID(c, "job card")
	if err != nil {
		return err
	}
	return d.showCard(c, http.StatusOK, id, nil, "")
}

// showCard sends a card with what could not be taken of what was just entered.
func (d *Dashboard) showCard(c *gin.Context, status int, id int64, faults []CardFault, sure string) error {
	tell := reader(c)
	ctx, sc := c.Request.Context(), d.scope(c)
	card, h, err := d.svc.JobCard(ctx, sc, id)
	if err != nil {
		return err
	}
	tests, err := d.svc.CardTests(ctx, sc, &card)
	if err != nil {
		return err
	}
	p := cardPage(tell, &card, &h)
	p.Shown = d.svc.DB.Now().UnixMicro()
	if sc.Sees(h.Vehicle.FleetID, h.Vehicle.DepotID) { // at home elsewhere, it is no more than its card here
		p.VehicleLink = vehicleLink(card.VehicleID)
	}
	p.Faults, p.Sure, p.Remarks = faults, sure, pipeline.PartRemarks(&card)
	p.Shelf = fleet.Shelf(c.Query("shelf")).Words()
	p.LastKm = lastKm(tell, &h, card.Day, card.OdometerKm)
	for _, s := range odometerDoubts(tell, &h, card.Day, card.OdometerKm) {
		p.Remarks = append(p.Remarks, s+" If it is wrong, correct it on the vehicle’s page.")
	}
	p.addTests(tell, &card, tests)
	for _, b := range []*fleet.BrakeTest{tests.Before, tests.After} {
		if b == nil {
			continue
		}
		for _, s := range odometerDoubts(tell, &h, b.Date, b.OdometerKm) {
			p.Remarks = append(p.Remarks, s+" If it is wrong, correct the brake test of "+tell.Day(b.Date)+".")
		}
	}
	if len(faults) > 0 {
		p.typed(c)
	}
	if p.Open {
		p.Against = tellAll(tell, pipeline.Against(&card, &h, tests), card.Day)
		p.NotFitted = strings.Join(card.NotFitted(h.Fitments), ", ")
		p.Nonce = rand.Text()
	}
	if p.Findings, err = d.cardFindings(ctx, sc, tell, &card); err != nil {
		return err
	}
	return d.send(c, status, "card", p)
}

// typed puts what was sent into the form that it was sent from, so that only
// what is wrong has to be typed again.
func (p *CardPage) typed(c *gin.Context) {
	if _, steps := c.GetPostForm("nonce"); steps {
		for i := range p.Sections {
			for j := range p.Sections[i].Steps {
				s := &p.Sections[i].Steps[j]
				was, says := c.PostForm(wasField(s.Seq)), formSays(c, s.Seq, len(s.Fields))
				if untouched(was, says) || takenBack(was, says) && was != s.Was {
					continue // as a colleague may have left it since
				}
				s.Marked, s.Note = c.PostForm(fmt.Sprintf("state_%d", s.Seq)), c.PostForm(fmt.Sprintf("note_%d", s.Seq))
				for k := range s.Fields {
					s.Fields[k].Value = c.PostForm(s.Fields[k].Name)
				}
			}
		}
		return
	}
	if _, closing := c.GetPostForm("state"); closing {
		p.Closing = c.PostForm("note")
		return
	}
	p.Odometer = c.PostForm("odometer_km")
	for i := range p.Off {
		a := &p.Off[i]
		for j := range a.Off {
			a.Off[j].Value = c.PostForm(a.Off[j].Name)
		}
		for j := range a.On {
			on := &a.On[j]
			on.Sides, on.MM = c.PostForm(on.Name), c.PostForm(on.Name+"_mm")
			on.Number, on.Batch = c.PostForm(on.Name+"_number"), c.PostForm(on.Name+"_batch")
		}
	}
}

// cardFindings are the open findings of the vehicle as a whole and of the axles
// that the card is about, in words.
func (d *Dashboard) cardFindings(ctx context.Context, sc auth.Scope, tell units.Reader, card *fleet.Card) (words []string, err error) {
	found, err := d.svc.CardFindings(ctx, sc, card)
	if err != nil {
		return nil, err
	}
	axles := fleet.Axles(card.Work)
	for _, f := range found {
		if f.Position.Axle == 0 || slices.Contains(axles, f.Position.Axle) {
			words = append(words, tell.Text(f.Seen, d.svc.Today())+" "+f.Advice)
		}
	}
	return words, nil
}

func cardPage(tell units.Reader, card *fleet.Card, h *store.History) CardPage {
	p := CardPage{
		Shell: Shell{Title: fmt.Sprintf("Job card %d: %s", card.ID, card.Vehicle), Place: "plan", Cautions: true, of: place{card.FleetID, card.DepotID}},
		ID:    card.ID, Vehicle: card.Vehicle, Plate: card.Plate,
		Depot: card.Depot, Day: tell.Day(card.Day),
		Open: card.State == fleet.CardOpen, Note: card.Note,
	}
	for _, s := range []string{h.Vehicle.Make + " " + h.Vehicle.Model, string(h.Vehicle.Category)} {
		if s = strings.TrimSpace(s); s != "" {
			p.Facts = append(p.Facts, s)
		}
	}
	if card.OdometerKm != nil {
		p.Km = tell.Distance(*card.OdometerKm)
	}
	if !p.Open {
		p.State = map[fleet.CardState]string{
			fleet.CardPassed:    "Passed",
			fleet.CardNotPassed: "Not passed: the vehicle may not go",
			fleet.CardDropped:   "Dropped: nothing was done",
		}[card.State]
		p.Closed = fmt.Sprintf("closed by %s on %s", card.ClosedBy, tell.Moment(*card.ClosedAt, pipeline.Zone(card.TimeZone)))
	}
	for _, w := range card.Work {
		where := "whole vehicle"
		if w.Axle > 0 {
			where = fmt.Sprintf("axle %d", w.Axle)
		}
		part := w.PartNumber
		if part != "" && w.Quantity > 0 {
			part = fmt.Sprintf("%d × %s", w.Quantity, part)
		}
		p.Work = append(p.Work, CardWork{capital(where), w.Item.Words(), tell.Text(w.Reason, card.Day), part})
	}
	axles := fleet.Axles(card.Work)
	slices.Sort(axles)
	for _, axle := range slices.Compact(axles) {
		p.Parts = append(p.Parts, cardSpecs(tell, h, axle)...)
		if p.Open {
			p.Off = append(p.Off, cardAxle(tell, card, h, axle))
		}
	}
	if tell.DistanceUnit() != string(units.Kilometres) || tell.ThicknessUnit() != string(units.Millimetres) {
		// What was typed in other units must not come back under these.
		p.Kept = "-" + tell.DistanceUnit() + "-" + tell.ThicknessUnit()
	}
	p.Sections = cardSections(tell, card)
	for _, s := range card.Steps {
		switch {
		case s.Entry == nil:
		case s.Entry.State == fleet.StepSkipped:
			p.Skipped++
		case s.Entry.State == fleet.StepFailed:
			p.Failed++
		}
	}
	for _, f := range card.Parts {
		p.Fitted = append(p.Fitted, cardFitted(tell, card, f))
	}
	return p
}

func cardFitted(tell units.Reader, card *fleet.Card, f fleet.CardPart) CardFitted {
	side := ""
	if f.Side != "" {
		side = string(f.Side) + " "
	}
	how := "nominal"
	if f.Measured {
		how = "measured"
	}
	number := f.Number
	if f.Batch != "" {
		number = strings.TrimSpace(number + ", batch " + f.Batch)
	}
	v := CardFitted{
		ID: f.ID, What: fmt.Sprintf("Axle %d: %s%ss", f.Axle, side, f.Part), Number: strings.TrimPrefix(number, ", "),
		MM: tell.Exactly(string(f.Part), f.MM) + " new, " + how, By: f.By + ", " + stamp(tell, card, f.At),
	}
	if f.Undone != nil {
		v.Undone = fmt.Sprintf("undone by %s on %s: %s", f.Undone.By, stamp(tell, card, f.Undone.At), f.Undone.Why)
	}
	return v
}

// stamp is a moment by the depot's clock, as short as a card has room for.
func stamp(tell units.Reader, card *fleet.Card, t time.Time) string {
	return tell.MomentShort(t, pipeline.Zone(card.TimeZone))
}

// cardSpecs gives the values of an axle's parts with their last readings.
func cardSpecs(tell units.Reader, h *store.History, axle int) (out []CardSpec) {
	for _, a := range h.Axles {
		if a.Number != axle {
			continue
		}
		for _, part := range fleet.Parts {
			s, ok := pipeline.SpecInForce(h, &a, part)
			if !ok {
				continue
			}
			out = append(out, CardSpec{
				Where: fmt.Sprintf("Axle %d %s", axle, part), New: tell.Spec(string(part), s.New), Limit: tell.Spec(string(part), s.Limit), Source: s.Source,
				Last: lastReadings(tell, h, axle, part),
			})
		}
	}
	return out
}

// lastReadings puts the readings of a part's last day into words.
func lastReadings(tell units.Reader, h *store.History, axle int, part fleet.Part) string {
	var last fleet.Date
	for _, r := range h.Readings {
		if r.Position.Axle == axle && r.Position.Part == part && r.Date > last {
			last = r.Date
		}
	}
	if last == 0 {
		return "never measured"
	}
	var words []string
	for _, r := range h.Readings {
		if r.Position.Axle == axle && r.Position.Part == part && r.Date == last {
			words = append(words, strings.TrimSpace(strings.TrimSuffix(r.Position.Within(), string(part)))+" "+tell.MM(string(part), r.MM))
		}
	}
	return tell.Day(last) + ": " + strings.Join(words, ", ")
}

// cardAxle is the form of an axle's parts: off at every position, on for each kind
// of part.
func cardAxle(tell units.Reader, card *fleet.Card, h *store.History, axle int) CardAxle {
	out := CardAxle{Axle: axle}
	var brake fleet.Brake
	specs := map[fleet.Part]fleet.Spec{}
	for _, a := range h.Axles {
		if a.Number != axle {
			continue
		}
		brake = a.Brake
		for part := range a.Specs {
			specs[part], _ = pipeline.SpecInForce(h, &a, part)
		}
	}
	for _, part := range fleet.Parts {
		if !part.Of(brake) {
			continue
		}
		faces := []fleet.Face{""}
		if part == fleet.Pad {
			faces = []fleet.Face{fleet.Inner, fleet.Outer}
		}
		for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
			for _, face := range faces {
				pos := fleet.Position{Axle: axle, Part: part, Side: side, Face: face}
				out.Off = append(out.Off, CardField{Name: "off_" + posKey(pos), Label: capital(pos.Within()), Unit: tell.GaugeUnit(string(part)), Mode: keys(tell), Check: checkOf(tell, part, specs[part])})
			}
		}
		on := CardOn{Name: fmt.Sprintf("on_%d_%s", axle, part), Part: string(part) + "s", Unit: tell.GaugeUnit(string(part)), Mode: keys(tell)}
		if s, ok := specs[part]; ok {
			on.New = tell.Spec(string(part), s.New)
		}
		for _, w := range card.Work {
			if w.Axle == axle && w.Item.Part() == part {
				on.Number = w.PartNumber
			}
		}
		out.On = append(out.On, on)
	}
	return out
}

func checkOf(tell units.Reader, part fleet.Part, s fleet.Spec) string {
	if s.Limit == 0 {
		return ""
	}
	return "limit " + tell.Spec(string(part), s.Limit)
}

// posKey names a position in a form: 1_pad_left_inner.
func posKey(p fleet.Position) string {
	return fmt.Sprintf("%d_%s_%s_%s", p.Axle, p.Part, p.Side, p.Face)
}

// Measures of steps are of metal: runout, diameters.

// inInches says whether a measure is asked for in inches.
func inInches(tell units.Reader, m *fleet.Measure) bool {
	return m.Unit == "mm" && tell.ThicknessIn == units.Inches
}

// measureName names a measure, with its unit where that is the reader's.
func measureName(tell units.Reader, m *fleet.Measure) string {
	if inInches(tell, m) {
		return m.Name + ", in"
	}
	return m.Name
}

// measureField is a measured value as it stands in a card's form.
func measureField(tell units.Reader, m *fleet.Measure, x float64) string {
	if inInches(tell, m) {
		return tell.FineField(x)
	}
	return plain(x)
}

// checkValues puts a measure's check values into words: "8 to 10", "at most 0.05 mm".
func checkValues(tell units.Reader, m *fleet.Measure) string {
	unit := ""
	if m.Unit != "" {
		unit = " " + m.Unit
	}
	inches := inInches(tell, m)
	switch {
	case inches && m.High != nil && m.Low == nil:
		return fmt.Sprintf("at most %s (%g mm)", tell.FineBound(*m.High, true), *m.High)
	case inches && m.Low != nil && m.High == nil:
		return fmt.Sprintf("at least %s (%g mm)", tell.FineBound(*m.Low, false), *m.Low)
	case inches && m.Low != nil:
		return fmt.Sprintf("%s to %s (%g to %g mm)", tell.FineBound(*m.Low, false), tell.FineBound(*m.High, true), *m.Low, *m.High)
	case inches && m.Makers:
		return "by the maker's data"
	case inches:
		return ""
	case m.Low != nil && m.High != nil:
		return fmt.Sprintf("%g to %g%s", *m.Low, *m.High, unit)
	case m.High != nil:
		return fmt.Sprintf("at most %g%s", *m.High, unit)
	case m.Low != nil:
		return fmt.Sprintf("at least %g%s", *m.Low, unit)
	case m.Makers:
		return strings.TrimSpace("by the maker's data, " + m.Unit)
	}
	return m.Unit
}

func (p *CardPage) addTests(tell units.Reader, card *fleet.Card, t pipeline.CardTests) {
	if t.Before != nil {
		p.Tests = append(p.Tests, "Before, "+tell.Day(t.Before.Date)+": "+t.JudgedBefore.Summary())
	}
	if t.After != nil {
		p.Tests = append(p.Tests, "After, "+tell.Day(t.After.Date)+": "+t.JudgedAfter.Summary())
	}
	if p.Open {
		link := fmt.Sprintf("/vehicles/%d/test?card=%d&stage=", card.VehicleID, card.ID)
		p.TestBefore, p.TestAfter = link+string(fleet.BeforeJob), link+string(fleet.AfterJob)
	}
}
