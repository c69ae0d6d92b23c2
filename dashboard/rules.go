package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// RulesPage lists the rule sets, and which fleet goes by which.
type RulesPage struct {
	Shell
	Sets   []SetRow
	Fleets []FleetRulesRow
}

// SetRow is a rule set in the list.
type SetRow struct {
	Link, Name, About string
	Values            int
	Memory            int // of them, known from memory only
}

// FleetRulesRow is a fleet with its rule set.
type FleetRulesRow struct {
	Link, Fleet, Set string
	ToPick           bool // none is picked, and whoever looks sees the whole fleet
}

func setLink(id string) string { return "/rules/sets/" + id }

func fleetRulesLink(id int64) string { return fmt.Sprintf("/rules/fleets/%d", id) }

func (d *Dashboard) rules(c *gin.Context) error {
	sc := d.scope(c)
	fs, err := d.svc.DB.Fleets(c.Request.Context(), sc)
	if err != nil {
		return err
	}
	p := RulesPage{Shell: Shell{Title: "Rule sets", Place: "vehicles", Cautions: true}}
	for _, s := range rules.Sets() {
		row := SetRow{Link: setLink(s.ID), Name: s.Name, About: s.About, Values: len(s.Uses())}
		for _, u := range s.Uses() {
			if u.Value.Known != rules.Read {
				row.Memory++
			}
		}
		p.Sets = append(p.Sets, row)
	}
	for _, f := range fs {
		p.Fleets = append(p.Fleets, FleetRulesRow{fleetRulesLink(f.ID), f.Name, rules.Or(f.RuleSet).Name, f.RuleSet == rules.Unset && picksRules(web.SignedIn(c), f.ID)})
	}
	return d.send(c, http.StatusOK, "rules", p)
}

// RuleSetPage shows the values of one rule set.
type RuleSetPage struct {
	Shell
	Name   string
	About  string
	Groups []ValueGroup
}

// ValueGroup is the values that limit one thing.
type ValueGroup struct {
	Title string
	Rows  []ValueRow
}

// ValueRow is a published value with where it applies.
type ValueRow struct {
	Also     string // the value in the reader's unit; blank where it is published in that
	ID       string
	Where    string
	Quantity string
	Value    string
	Words    string // the comparison, in the table's words
	Source   string
	Section  string
	Known    string // in words; blank where it was read
}

// groupWords are the headings, in their order.
var groupWords = []struct {
	what  rules.What
	title string
}{
	{rules.Thickness, "Thickness of pads and linings"},
	{rules.Efficiency, "Least efficiency"},
	{rules.EfficiencyDanger, "Efficiency: dangerous below this share of the least"},
	{rules.EffortShare, "Force of a wheel against the other of its axle"},
	{rules.EffortDanger, "The same: dangerous"},
	{rules.Imbalance, "Greatest difference across an axle"},
	{rules.PedalForce, "Greatest pedal force"},
	{rules.MeanDeceleration, "Least mean deceleration"},
	{rules.PeakDeceleration, "Least peak deceleration"},
	{rules.StoppingDistance, "Longest stopping distance"},
	{rules.PassesOnLocks, "Passing on locked wheels"},
	{rules.NewVehicleDistance, "Stopping distance of a new vehicle, v in km/h: shown for comparison only"},
	{rules.Words, "In words; the program does not judge by these"},
}

func (d *Dashboard) ruleSet(c *gin.Context) error {
	tell := reader(c)
	id := c.Param("set")
	i := slices.IndexFunc(rules.Sets(), func(s *rules.Set) bool { return s.ID == id })
	if i < 0 {
		return fleet.NotFoundf("rule set %q: there is none of this name", id)
	}
	s := rules.Sets()[i]
	p := RuleSetPage{Shell: Shell{Title: s.Name, Place: "vehicles", Cautions: true}, Name: s.Name, About: s.About}
	for _, g := range groupWords {
		group := ValueGroup{Title: g.title}
		for _, u := range s.Uses() {
			if u.What == g.what {
				group.Rows = append(group.Rows, valueRow(tell, u))
			}
		}
		if len(group.Rows) > 0 {
			p.Groups = append(p.Groups, group)
		}
	}
	return d.send(c, http.StatusOK, "ruleset", p)
}

func valueRow(tell units.Reader, u *rules.Use) ValueRow {
	v := u.Value
	part := partIn(v.Quantity)
	if len(u.Parts) > 0 {
		part = u.Parts[0]
	}
	return ValueRow{
		Also:     alsoIn(tell, string(part), v.Unit, v.Number()),
		ID:       v.ID,
		Where:    whereWords(tell, u),
		Quantity: capital(v.Quantity),
		Value:    strings.TrimSpace(v.Text + " " + v.Unit),
		Words:    v.Comparison,
		Source:   v.Source,
		Section:  v.Section,
		Known:    knownWords(v.Known),
	}
}

func knownWords(k rules.Known) string {
	switch k {
	case rules.Memory:
		return "from memory, not seen in the document"
	case rules.OwnJudgement:
		return "this program's own judgement"
	}
	return ""
}

// whereWords says where a value applies: "M2 M3 · air · steering axle".
func whereWords(tell units.Reader, u *rules.Use) string {
	var ws []string
	add := func(w string) {
		if w != "" {
			ws = append(ws, w)
		}
	}
	list := func(n int, at func(i int) string) string {
		var xs []string
		for i := range n {
			xs = append(xs, at(i))
		}
		return strings.Join(xs, " ")
	}
	add(list(len(u.Categories), func(i int) string { return string(u.Categories[i]) }))
	if len(u.Categories) == 0 {
		add("all categories")
	}
	add(list(len(u.Actuation), func(i int) string { return string(u.Actuation[i]) }))
	add(list(len(u.Parts), func(i int) string { return string(u.Parts[i]) }))
	if u.Axle != "" {
		add(u.Axle + " axle")
	}
	if u.System != "" && u.System != fleet.ServiceBrake {
		add(string(u.System) + " brake")
	}
	if u.Gross.Op != "" {
		add(fmt.Sprintf("gross mass %s %s", signs.Replace(u.Gross.Op), kgWords(u.Gross.X)))
	}
	switch u.FirstUsed.Op {
	case "<":
		add("first used before " + tell.Day(fleet.Date(u.FirstUsed.X)))
	case ">=":
		add("first used on or after " + tell.Day(fleet.Date(u.FirstUsed.X)))
	}
	if u.SpeedKmh > 0 {
		add(fmt.Sprintf("from %.3g km/h", u.SpeedKmh))
	}
	add(u.Note)
	return strings.Join(ws, " · ")
}

var signs = strings.NewReplacer("<=", "≤", ">=", "≥")

// FleetRulesPage picks the rule set of a fleet, and sets its thresholds.
type FleetRulesPage struct {
	Shell
	In         units.Reader // units of its forms
	Fleet      string
	Link       string
	Saved      string // what was done
	Fault      string
	Sets       []Choice
	Why        Field
	Choices    []ChoiceRow
	Thresholds []ThresholdRow
}

// ChoiceRow is a rule set that was picked.
type ChoiceRow struct {
	Set, Who, Why string
	At            string
}

// ThresholdRow is a threshold with the form that changes it.
type ThresholdRow struct {
	Also      string // the value in the reader's unit; blank where it is published in that
	ID        string
	What      string
	For       string
	Published string
	Source    string
	Known     string
	InForce   string
	Changed   bool
	Note      string // who changed it and why
	X         Field
	Why       Field
	Fault     string
}

func (d *Dashboard) fleetRules(c *gin.Context) error { return d.showFleetRules(c, http.StatusOK, nil) }

// showFleetRules sends the page; f has the form that comes back with faults.
func (d *Dashboard) showFleetRules(c *gin.Context, status int, f *fields) error {
	tell := reader(c)
	id, err := web.PathID(c, "fleet")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	fs, err := d.svc.DB.Fleets(ctx, sc)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(fs, func(x fleet.Fleet) bool { return x.ID == id })
	if i < 0 {
		return fleet.NotFoundf("fleet %d: there is none, or none that you may see", id)
	}
	p := FleetRulesPage{
		Shell: Shell{Title: "Rules of " + fs[i].Name, Place: "vehicles", Cautions: true, of: place{fleet: id}},
		Fleet: fs[i].Name,
		Link:  fleetRulesLink(id),
		In:    formReader(f, tell),
		Saved: c.Query("saved"),
		Why:   f.field("why", "Why (may be left blank)", ""),
	}
	if f != nil {
		p.Fault = f.faults[""]
	}
	p.Sets = append(p.Sets, Choice{rules.Unset, "None picked yet", fs[i].RuleSet == rules.Unset})
	for _, s := range rules.Sets() {
		p.Sets = append(p.Sets, Choice{s.ID, s.Name, fs[i].RuleSet == s.ID})
	}
	cs, err := d.svc.DB.RuleChoices(ctx, sc, id)
	if err != nil {
		return err
	}
	for _, x := range cs {
		p.Choices = append(p.Choices, ChoiceRow{rules.Or(x.RuleSet).Name, x.By, x.Why, tell.DayAt(x.At)})
	}
	if p.Thresholds, err = d.thresholdRows(c, id, f); err != nil {
		return err
	}
	return d.send(c, status, "fleetrules", p)
}

func (d *Dashboard) thresholdRows(c *gin.Context, fleetID int64, f *fields) (rows []ThresholdRow, err error) {
	tell := reader(c)
	ctx, sc := c.Request.Context(), d.scope(c)
	in := formReader(f, tell)
	ts, err := d.svc.Thresholds(ctx, sc, fleetID)
	if err != nil {
		return nil, err
	}
	own, err := d.svc.DB.OwnThresholds(ctx, sc, fleetID)
	if err != nil {
		return nil, err
	}
	for i := range ts {
		t := &ts[i]
		v := t.Published
		part := partIn(t.What)
		row := ThresholdRow{
			ID:        v.ID,
			What:      capital(t.What),
			For:       "all vehicles",
			Published: v.Text + " " + v.Unit,
			Also:      alsoIn(tell, string(part), v.Unit, t.X),
			Source:    strings.TrimSuffix(v.Source+", "+v.Section, ", -"),
			Known:     knownWords(v.Known),
			InForce:   rules.Short(t.X) + " " + v.Unit,
			Changed:   t.Changed,
		}
		if len(t.Categories) > 0 {
			row.For = "light vehicles"
			if t.Categories[0].Heavy() {
				row.For = "heavy vehicles"
			}
		}
		for _, o := range own {
			if o.ValueID == v.ID && o.X != nil {
				row.Note = fmt.Sprintf("%s, %s: %s", o.By, tell.DayAt(o.At), o.Why)
			}
		}
		mine := f
		if f != nil && f.text("value") != v.ID {
			mine = nil
		}
		if v.Unit == "mm" {
			row.X = thicknessField(mine, in, part, "x", "New value of "+v.ID, in.MMField(string(part), t.X))
		} else {
			row.X = mine.field("x", "New value of "+v.ID, rules.Short(t.X)).with(v.Unit)
			row.X.Mode = "decimal"
		}
		row.Why = mine.field("why", "Why", "")
		row.Fault = strings.TrimSpace(row.X.Fault + " " + row.Why.Fault)
		rows = append(rows, row)
	}
	return rows, nil
}

// pickRules gives a fleet its rule set.
func (d *Dashboard) pickRules(c *gin.Context) error {
	id, err := web.PathID(c, "fleet")
	if err != nil {
		return err
	}
	f := readFields(c)
	choice := store.RuleChoice{FleetID: id, RuleSet: f.text("rule_set"), Reason: fleet.Reason{Why: f.text("why"), By: d.who(c)}}
	rep, err := d.svc.PickRules(c.Request.Context(), d.scope(c), choice, d.svc.Today())
	if err := f.take("", err); err != nil {
		return err
	}
	if !f.ok() {
		return d.showFleetRules(c, http.StatusBadRequest, f)
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("%s?saved=%d", fleetRulesLink(id), rep.Vehicles))
	return nil
}

// threshold reads a threshold of the workshop's own, in mm where the published
// value is.
func (d *Dashboard) threshold(c *gin.Context, f *fields, fleetID int64, valueID string) (float64, error) {
	ts, err := d.svc.Thresholds(c.Request.Context(), d.scope(c), fleetID)
	if err != nil {
		return 0, err
	}
	for i := range ts {
		if t := &ts[i]; t.Published.ID == valueID && t.Published.Unit == "mm" {
			return f.thickness("x", partIn(t.What), t.X).MM, nil
		}
	}
	return f.number("x"), nil
}

// setThreshold puts a threshold of the workshop's own in the place of a
// published value, or takes it back.
func (d *Dashboard) setThreshold(c *gin.Context) error {
	id, err := web.PathID(c, "fleet")
	if err != nil {
		return err
	}
	f := readFields(c)
	o := store.OwnThreshold{FleetID: id, ValueID: f.text("value"), Reason: fleet.Reason{Why: f.text("why"), By: d.who(c)}}
	if f.text("do") != "back" {
		x, err := d.threshold(c, f, id, o.ValueID)
		if err != nil {
			return err
		}
		o.X = &x
	} else if o.Why == "" {
		o.Why = "back to the published value"
	}
	if f.ok() {
		if err := f.take("why", d.svc.SetThreshold(c.Request.Context(), d.scope(c), o)); err != nil {
			return err
		}
	}
	if !f.ok() {
		return d.showFleetRules(c, http.StatusBadRequest, f)
	}
	c.Redirect(http.StatusSeeOther, fleetRulesLink(id)+"?saved=threshold#thresholds")
	return nil
}
