package dashboard

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// findingWords name the kinds to people.
var findingWords = map[fleet.FindingKind]string{
	fleet.PastStamped:        "Past its stamped limit",
	fleet.TestFailed:         "Brake test failed",
	fleet.MeasureAgain:       "Measure again",
	fleet.CrackedPart:        "Cracked",
	fleet.ContaminatedPart:   "Contaminated",
	fleet.UnevenPads:         "Uneven pads",
	fleet.UnevenSides:        "One side wears faster",
	fleet.BrakeFades:         "Brakes get weaker",
	fleet.PedalHarder:        "Pedal gets harder",
	fleet.TaperedPad:         "Tapered pad",
	fleet.GlazedPart:         "Glazed",
	fleet.ThicknessVariation: "Rotor varies in thickness",
	fleet.RotorRunout:        "Rotor runs out",
	fleet.PartChange:         "Parts changed, not recorded",
	fleet.Disagrees:          "Reading that disagrees",
	fleet.OdometerBack:       "Odometer ran back",
	fleet.OdometerJump:       "Odometer jumped",
	fleet.OdometerMiles:      "Miles as km",
	fleet.OdometerSwap:       "Another odometer",
}

func findingTitle(k fleet.FindingKind) string { return cmp.Or(findingWords[k], string(k)) }

// urgencyWords say by when.
var urgencyWords = map[fleet.Urgency]string{
	fleet.BeforeRoad: "before it goes back on the road",
	fleet.NextVisit:  "at its next visit",
	fleet.ForRecord:  "in the record",
}

// FindingView is one finding in words.
type FindingView struct {
	ID             int64
	Link           string // of its own page
	Title          string
	By             string // by when
	Pressing       bool
	Seen, Advice   string
	Source         string
	Since          string // first seen, last seen
	State          string // what somebody did; blank while it is open
	Open           bool
	Act            string // what its button says
	Correct        string // link to the record in doubt
	Vehicle, Plate string // in lists of many vehicles
	VehicleLink    string
	Depot          string
}

func (d *Dashboard) findingView(c *gin.Context, tell units.Reader, r *store.FindingRow, today fleet.Date) FindingView {
	v := FindingView{
		ID:          r.ID,
		Link:        "/findings/" + idText(r.ID),
		Title:       findingTitle(r.Kind),
		By:          urgencyWords[r.Kind.Urgency()],
		Pressing:    r.Kind.Urgency() == fleet.BeforeRoad && r.State == fleet.OpenFinding,
		Seen:        tell.Text(r.Seen, today),
		Advice:      r.Advice,
		Source:      r.Source,
		Since:       "since " + tell.DayNear(r.FirstSeen, today),
		Open:        r.State == fleet.OpenFinding,
		Act:         "Looked at it",
		Vehicle:     r.Vehicle,
		Plate:       r.Plate,
		VehicleLink: "/vehicles/" + idText(r.VehicleID),
		Depot:       r.Depot,
	}
	if web.SignedIn(c).Scope(auth.Correct).Sees(r.FleetID, r.DepotID) {
		v.Correct = correctionPath(r.Record)
	}
	if r.Position.Axle != 0 {
		v.VehicleLink += fmt.Sprintf("#axle-%d", r.Position.Axle)
	}
	if r.Suggested != nil {
		v.Act = "Confirm or refuse"
	}
	v.State = answerWords(tell, r)
	if r.State == fleet.NoLonger {
		v.Since = "last seen " + tell.DayNear(r.LastSeen, today)
	}
	return v
}

// answerWords say what somebody did about a finding.
func answerWords(tell units.Reader, r *store.FindingRow) string {
	var words []string
	if r.State == fleet.NoLonger {
		words = append(words, "No longer seen.")
	}
	if !r.NoteAt.IsZero() {
		what := "Looked at"
		switch r.Answer {
		case fleet.Confirmed:
			what = "Fitment confirmed"
		case fleet.Refused:
			what = "Refused: nothing was fitted"
		}
		if r.State == fleet.OpenFinding {
			what = "It has grown since it was looked at"
		}
		words = append(words, fmt.Sprintf("%s by %s on %s: %s", what, r.Note.By, tell.Day(fleet.DateOf(r.NoteAt)), r.Note.Why))
	}
	return strings.Join(words, " ")
}

// FindingsPage lists what there is to look at, over all vehicles.
type FindingsPage struct {
	Shell
	Headline string
	Depots   []Choice
	Fleets   []Choice
	Kinds    []Choice
	States   []Choice
	Rows     []FindingView
	From     string // link to the first page; blank on it
	Next     string // link to the next page; blank on the last
	CSV      string
	Empty    *Empty // why there is none
}

// stateChoices are what the list can be narrowed to.
var stateChoices = []struct {
	value, label string
	states       []fleet.FindingState
}{
	{"", "open", []fleet.FindingState{fleet.OpenFinding}},
	{"looked-at", "looked at", []fleet.FindingState{fleet.LookedAt}},
	{"gone", "no longer seen", []fleet.FindingState{fleet.NoLonger}},
	{"all", "all", nil},
}

// findingFilter reads what the list is narrowed to.
func (d *Dashboard) findingFilter(c *gin.Context) (p FindingsPage, q store.FindingQuery, keep query, err error) {
	keep = query{}
	if q.Fleet, p.Fleets, err = d.fleetChoice(c); err != nil {
		return p, q, keep, err
	}
	if q.Depot, p.Depots, err = d.depotOfFleet(c, q.Fleet); err != nil {
		return p, q, keep, err
	}
	q.Kind = fleet.FindingKind(c.Query("kind"))
	if q.Kind != "" && !q.Kind.Valid() {
		return p, q, keep, fleet.Invalidf("kind %q: want one of %s", q.Kind, fleet.OneOf(fleet.FindingKinds()))
	}
	p.Kinds = []Choice{{"", "every kind", q.Kind == ""}}
	for _, k := range fleet.FindingKinds() {
		p.Kinds = append(p.Kinds, Choice{string(k), findingTitle(k), k == q.Kind})
	}
	state := c.Query("state")
	known := false
	for _, s := range stateChoices {
		if s.value == state {
			q.States, known = s.states, true
		}
		p.States = append(p.States, Choice{s.value, s.label, s.value == state})
	}
	if !known {
		return p, q, keep, fleet.Invalidf("state %q: want looked-at, gone or all, or none for what is open", state)
	}
	for name, value := range map[string]string{"fleet": idText(q.Fleet), "depot": idText(q.Depot), "kind": string(q.Kind), "state": state} {
		if value != "" && value != "0" {
			keep = keep.with(name, value)
		}
	}
	return p, q, keep, nil
}

func (d *Dashboard) findings(c *gin.Context) error {
	tell := reader(c)
	p, q, keep, err := d.findingFilter(c)
	if err != nil {
		return err
	}
	q.After = c.Query("after")
	got, err := d.svc.DB.Findings(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	p.Shell = Shell{Title: "Findings", Place: "readings", Cautions: true}
	p.Headline = findingsHeadline(got.Total, q)
	p.CSV = "/findings.csv" + keep.encode()
	today := d.svc.Today()
	for i := range got.Rows {
		p.Rows = append(p.Rows, d.findingView(c, tell, &got.Rows[i], today))
	}
	if q.After != "" {
		p.From = "/findings" + keep.encode()
	}
	if got.Next != "" {
		p.Next = "/findings" + keep.with("after", got.Next).encode()
	}
	if len(p.Rows) == 0 {
		if p.Empty, err = d.noFindings(c); err != nil {
			return err
		}
		if p.Empty.Blank {
			p.Headline = "Findings"
		}
	}
	return d.send(c, http.StatusOK, "findings", p)
}

// noFindings says why there is none: where there are others, what was chosen has none;
// where nothing was measured, hardly anything can show.
func (d *Dashboard) noFindings(c *gin.Context) (*Empty, error) {
	ctx, sc := c.Request.Context(), d.scope(c)
	unchosen := &Empty{
		Title: "Nothing of what was chosen",
		Text:  "That the data show nothing does not mean that a brake is in order: it says what was measured, and no more.",
	}
	others, err := d.svc.DB.CountFindings(ctx, sc, store.FindingQuery{})
	if err != nil || others > 0 {
		return unchosen, err
	}
	known, measured, err := d.takenIn(ctx, sc)
	switch {
	case err != nil:
		return nil, err
	case !known:
		return &Empty{Title: "No vehicles yet", Text: "Findings are what measured values show that a person should look at. They fill themselves from files.", Steps: true, Blank: true}, nil
	case !measured:
		return &Empty{Title: "No readings yet", Text: "Findings are what measured values show that a person should look at.", Link: "/readings", Label: "Take readings in", Blank: true}, nil
	}
	return unchosen, nil
}

func findingsHeadline(n int, q store.FindingQuery) string {
	what := plural(n, "finding", "findings")
	switch {
	case slices.Equal(q.States, []fleet.FindingState{fleet.OpenFinding}):
		what = plural(n, "thing to look at", "things to look at")
		if n == 0 {
			what = "Nothing to look at"
		}
	case len(q.States) == 1:
		what += " " + string(q.States[0])
	}
	if n > 1 {
		what += ", the most pressing first"
	}
	return what
}

// addFindings puts what there is to look at on a vehicle on its page; what is no
// longer seen is shown too.
func (d *Dashboard) addFindings(c *gin.Context, p *VehiclePage, rows []store.FindingRow, today fleet.Date) {
	tell := reader(c)
	for i := range rows {
		v := d.findingView(c, tell, &rows[i], today)
		v.Vehicle = "" // the page says it
		if v.Open {
			p.Findings = append(p.Findings, v)
		} else {
			p.Settled = append(p.Settled, v)
		}
	}
}

// openFindings counts what there is to look at, for pages that lead there.
func (d *Dashboard) openFindings(c *gin.Context) (string, error) {
	n, err := d.svc.DB.CountFindings(c.Request.Context(), d.scope(c), store.FindingQuery{States: []fleet.FindingState{fleet.OpenFinding}})
	if err != nil || n == 0 {
		return "", err
	}
	return plural(n, "thing to look at", "things to look at"), nil
}

var findingColumns = []string{
	"finding", "kind", "urgency", "vehicle", "plate", "fleet", "depot", "axle", "part", "side", "face",
	"seen", "advice", "source", "state", "first_seen", "last_seen", "answer", "note", "note_by", "note_on",
}

// findingsCSV sends all findings of a filter, however many pages they have.
func (d *Dashboard) findingsCSV(c *gin.Context) error {
	_, q, _, err := d.findingFilter(c)
	if err != nil {
		return err
	}
	return d.export(c, "findings", findingColumns, func(row func(...any) error) error {
		return d.svc.DB.EachFinding(c.Request.Context(), d.scope(c), q, func(r store.FindingRow) error {
			noteOn := ""
			if !r.NoteAt.IsZero() {
				noteOn = fleet.DateOf(r.NoteAt).String()
			}
			p := r.Position
			return row(r.ID, r.Kind, urgencyWords[r.Kind.Urgency()], r.Vehicle, r.Plate, r.Fleet, r.Depot, p.Axle, p.Part, p.Side, p.Face,
				r.Seen, r.Advice, r.Source, r.State, r.FirstSeen, r.LastSeen, r.Answer, r.Note.Why, r.Note.By, noteOn)
		})
	})
}

// FindingPage is one finding, to answer.
type FindingPage struct {
	Shell
	In      units.Reader // units of its form
	Finding FindingView
	Fault   string
	Suggest *SuggestView
	Why, By Field
	Sources []string // the published values behind it, spelt out
}

// sourcesOf spells out the published values that a source names by their ids.
func sourcesOf(source string) (out []string) {
	for _, id := range strings.Split(source, ", ") {
		if v, ok := rules.Lookup(id); ok {
			out = append(out, fmt.Sprintf("%s: %s, %s (%s, %s)", v.ID, v.Quantity, strings.TrimSpace(v.Text+" "+v.Unit), v.Source, v.Section))
		}
	}
	return out
}

// SuggestView is the fitment that is suggested.
type SuggestView struct {
	What   string // "new pads on axle 1"
	Within string // days it lies between
	Fields []Field
}

func (d *Dashboard) finding(c *gin.Context) error {
	tell := reader(c)
	id, err := web.PathID(c, "finding")
	if err != nil {
		return err
	}
	r, err := d.svc.DB.Finding(c.Request.Context(), d.scope(c), id)
	if err != nil {
		return err
	}
	return d.send(c, http.StatusOK, "finding", d.findingPage(c, tell, &r, nil))
}

func (d *Dashboard) findingPage(c *gin.Context, tell units.Reader, r *store.FindingRow, f *fields) FindingPage {
	p := FindingPage{
		Shell:   Shell{Title: findingTitle(r.Kind) + ": " + r.Vehicle, Place: "readings", Cautions: true},
		Finding: d.findingView(c, tell, r, d.svc.Today()),
		Why:     f.field("why", "What was found and done", ""),
		By:      f.field("by", "Your name", ""),
		Sources: sourcesOf(r.Source),
		In:      formReader(f, tell),
	}
	if f != nil {
		p.Fault = f.faults[""]
	}
	if s := r.Suggested; s != nil {
		p.Why.Label = "How it is known (may stay blank)"
		v := fittedWords(tell, &s.Fitment)
		p.Suggest = &SuggestView{
			What:   fmt.Sprintf("%ss, axle %d", capital(v), s.Position.Axle),
			Within: fmt.Sprintf("from %s to %s", tell.Day(s.After), tell.Day(s.Before)),
			Fields: dayAndKm(f, p.In, s.Date, s.OdometerKm),
		}
		value := thicknessField(f, p.In, s.Position.Part, "value_mm", "Value when fitted (blank: new)", "")
		p.Suggest.Fields = append(p.Suggest.Fields, value)
	}
	return p
}

// answerFinding keeps what somebody says of a finding, and leads back to the
// vehicle.
func (d *Dashboard) answerFinding(c *gin.Context) error {
	tell := reader(c)
	ctx, sc, today := c.Request.Context(), d.scope(c), d.svc.Today()
	id, err := web.PathID(c, "finding")
	if err != nil {
		return err
	}
	r, err := d.svc.DB.Finding(ctx, sc, id)
	if err != nil {
		return err
	}
	f := readFields(c)
	note := fleet.Reason{Why: f.text("why"), By: f.text("by")}
	act := c.PostForm("act")
	switch act {
	case "note":
		_, err = d.svc.DB.NoteFinding(ctx, sc, id, note)
	case "refuse":
		note.Why = cmp.Or(note.Why, "nothing was fitted")
		err = d.svc.RefuseFitment(ctx, sc, id, note, today)
	case "confirm":
		note.Why = cmp.Or(note.Why, "fitted as suggested")
		fit := fleet.Fitment{Date: f.must("date")}
		if s := r.Suggested; s != nil {
			fit.OdometerKm, fit.MM = f.km("odometer_km", s.OdometerKm), f.thickness("value_mm", s.Position.Part, 0).MM
		}
		if f.ok() {
			err = d.svc.ConfirmFitment(ctx, sc, id, fit, note, today)
		}
	default:
		return fleet.Invalidf("act %q: want note, confirm or refuse", act)
	}
	status := http.StatusBadRequest
	if errors.Is(err, fleet.ErrConflict) {
		status = http.StatusConflict
		now, err2 := d.svc.DB.Finding(ctx, sc, id)
		if err2 != nil {
			return err2
		}
		r = now
	}
	if err := f.take("", err); err != nil {
		return err
	}
	if !f.ok() {
		return d.send(c, status, "finding", d.findingPage(c, tell, &r, f))
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("/vehicles/%d?done=%s#findings", r.VehicleID, act))
	return nil
}
