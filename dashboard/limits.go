package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// LimitsPage is the limits that hold for a vehicle's axles, and why.
type LimitsPage struct {
	Shell
	In      units.Reader // units of its forms
	Vehicle string
	Back    string
	Link    string
	RuleSet string
	SetLink string
	Picked  bool
	Picks   bool   // whoever looks may pick one
	Facts   []Fact // what rules depend on
	Rows    []LimitRow
	History []string
	Empty   *Empty
}

// LimitRow is the limit of a part of an axle.
type LimitRow struct {
	Axle    int
	Part    string
	New     string
	Maker   string // specification
	Rule    string // of the rule set
	Doubt   string // which other values may apply
	InForce string
	From    string
	Note    string
	Own     bool
	MM      Field
	Why     Field
	Fault   string
}

func (d *Dashboard) limits(c *gin.Context) error { return d.showLimits(c, http.StatusOK, nil) }

// showLimits sends the page; f has the form that comes back with faults.
func (d *Dashboard) showLimits(c *gin.Context, status int, f *fields) error {
	tell := reader(c)
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	h, err := d.svc.DB.History(ctx, sc, id)
	if err != nil {
		return err
	}
	set := rules.Or(h.RuleSet)
	link := vehicleLink(id)
	p := LimitsPage{
		Shell:   Shell{Title: h.Vehicle.Number + ": limits", Place: "vehicles", Cautions: true, of: ofVehicle(&h.Vehicle)},
		Vehicle: h.Vehicle.Number,
		Back:    link,
		Link:    link + "/limits",
		RuleSet: set.Name,
		Picked:  set.ID != rules.Unset,
		Picks:   picksRules(web.SignedIn(c), h.Vehicle.FleetID),
		Facts:   ruleFacts(tell, &h.Vehicle),
		In:      formReader(f, tell),
	}
	if sc.Sees(h.Vehicle.FleetID, 0) {
		p.SetLink = fleetRulesLink(h.Vehicle.FleetID)
	}
	for i := range h.Axles {
		for _, part := range fleet.Parts {
			if l, ok := pipeline.LimitOf(&h, &h.Axles[i], part); ok {
				p.Rows = append(p.Rows, limitRow(tell, &h, &h.Axles[i], part, &l, f))
			}
		}
	}
	if len(p.Rows) == 0 {
		p.Empty = &Empty{
			Title: "No part of this vehicle has a specification",
			Text:  "Hand in an axles file with new and limit values, or readings of it: what stands in then is shown here.",
			Link:  "/readings",
			Label: "Take files in",
		}
	}
	ls, err := d.svc.DB.AxleLimits(ctx, sc, id)
	if err != nil {
		return err
	}
	for _, l := range ls {
		what := fmt.Sprintf("axle %d, %s: %s", l.Axle, l.Part, tell.Exactly(string(l.Part), l.MM))
		if l.MM == 0 {
			what = fmt.Sprintf("axle %d, %s: withdrawn", l.Axle, l.Part)
		}
		line := fmt.Sprintf("%s · %s · %s", tell.DayAt(l.At), l.By, what)
		if l.Why != "" {
			line += " · " + l.Why
		}
		p.History = append(p.History, line)
	}
	return d.send(c, status, "limits", p)
}

// ruleFacts are what a rule set looks at, with what is not known said so.
func ruleFacts(tell units.Reader, v *fleet.Vehicle) []Fact {
	known := func(s string) string {
		if s == "" {
			return "not known"
		}
		return s
	}
	first, gross := "", ""
	switch {
	case v.FirstUsed != 0:
		first = tell.Day(v.FirstUsed)
	case v.Year != 0:
		first = fmt.Sprintf("not known; the year %d stands in", v.Year)
	}
	if v.GrossKg > 0 {
		gross = kgWords(v.GrossKg)
	}
	return []Fact{
		{"Category", known(string(v.Category))},
		{"First used", known(first)},
		{"Brakes worked by", known(string(v.Actuation))},
		{"Gross mass", known(gross)},
	}
}

func limitRow(tell units.Reader, h *store.History, a *fleet.Axle, part fleet.Part, l *rules.Limit, f *fields) LimitRow {
	spec := a.Specs[part]
	row := LimitRow{
		Axle:    a.Number,
		Part:    string(part),
		New:     tell.Exactly(string(part), spec.New),
		Maker:   tell.Exactly(string(part), spec.Limit),
		Rule:    "–",
		InForce: tell.Exactly(string(part), l.MM),
		From:    originWords(l),
		Note:    l.Note,
		Own:     l.Origin == rules.FromWorkshop,
	}
	if spec.Source != rules.MakerSource {
		row.Maker = "not known"
		row.New += " stands in"
	}
	if l.Rule != nil {
		v := l.Rule.Use.Value
		row.Rule = fmt.Sprintf("%s %s (%s)", v.Text, v.Unit, v.ID)
		if also := alsoIn(tell, string(part), v.Unit, v.Number()); also != "" {
			row.Rule += ", " + also
		}
		row.Doubt = l.Rule.Doubt()
	}
	in := formReader(f, tell)
	mine := f
	if f != nil && (f.text("axle") != strconv.Itoa(a.Number) || f.text("part") != string(part)) {
		mine = nil
	}
	own := ""
	if row.Own {
		own = in.MMField(string(part), l.MM)
	}
	row.MM = thicknessField(mine, in, part, "mm", fmt.Sprintf("Own limit of the %s of axle %d", part, a.Number), own)
	row.Why = mine.field("why", "Why", "")
	row.Fault = row.MM.Fault
	return row
}

func originWords(l *rules.Limit) string {
	switch l.Origin {
	case rules.FromRules:
		return "the rule set, " + l.Rule.Use.Value.ID
	case rules.FromWorkshop:
		return "the workshop's own"
	case rules.FromStandIn:
		return "a published value that stands in, for nothing else is known"
	}
	return "the maker"
}

// setLimit keeps a workshop's own limit, or withdraws it.
func (d *Dashboard) setLimit(c *gin.Context) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	f := readFields(c)
	l := fleet.AxleLimit{
		VehicleID: id,
		Axle:      f.whole("axle"),
		Part:      fleet.Part(f.text("part")),
		MM:        f.thickness("mm", fleet.Part(f.text("part")), 0).MM,
		Reason:    fleet.Reason{Why: f.text("why"), By: d.who(c)},
	}
	if !slices.Contains(fleet.Parts, l.Part) {
		return fleet.Invalidf("part %q: want one of %s", l.Part, fleet.OneOf(fleet.Parts))
	}
	if f.text("do") == "withdraw" {
		l.MM = 0
	} else if l.MM <= 0 {
		f.fault("mm", "Write the limit in %s, or withdraw your own", f.in.GaugeUnit(string(l.Part)))
	}
	if f.ok() {
		if err := f.take("mm", d.svc.SetAxleLimit(c.Request.Context(), d.scope(c), l, d.svc.Today())); err != nil {
			return err
		}
	}
	if !f.ok() {
		return d.showLimits(c, http.StatusBadRequest, f)
	}
	c.Redirect(http.StatusSeeOther, vehicleLink(id)+"/limits")
	return nil
}
