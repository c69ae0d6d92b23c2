package dashboard

import (
	"cmp"
	"crypto/rand"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// StepsPage is where a workshop keeps the steps of its job cards, and the values of
// its vehicles' makers.
type StepsPage struct {
	Shell
	FleetID  int64
	Fleets   []Choice
	Sections []StepsSection
	Makers   []MakersRow
	Measures []string // that ask for a maker's value
}

// StepsSection is one section's steps as a form.
type StepsSection struct {
	Section, Title string
	Version        int
	Kept           string // by whom and when; blank for the program's own
	Rows           []StepRow
}

// StepRow is one step as a form: its values to note are lines of the form
// "name | unit | least | most | advice".
type StepRow struct {
	N             int
	Key, Text     string
	Items, Source string
	Safety        bool
	Measures      string
	Lines         int // of the values to note
	New           bool
}

// MakersRow is a maker's value in words.
type MakersRow struct{ What, Vehicles, Values, Source string }

func (d *Dashboard) steps(c *gin.Context) error {
	ctx, sc := c.Request.Context(), d.scope(c)
	id, choices, err := d.fleetChoice(c)
	if err != nil {
		return err
	}
	fleets, err := d.svc.DB.Fleets(ctx, sc)
	if err != nil {
		return err
	}
	if len(fleets) == 0 {
		return fleet.NotFoundf("no fleet yet: take a vehicles file in first")
	}
	if id == 0 {
		id = fleets[0].ID
	}
	for i := range choices {
		choices[i].Chosen = choices[i].Value == strconv.FormatInt(id, 10)
	}
	plans, err := d.svc.DB.StepPlans(ctx, sc, id)
	if err != nil {
		return err
	}
	makers, err := d.svc.DB.MakersValues(ctx, sc, id)
	if err != nil {
		return err
	}
	p := StepsPage{Shell: Shell{Title: "Steps of job cards", Place: "plan", Cautions: true, of: place{fleet: id}}, FleetID: id}
	if len(choices) > 0 {
		p.Fleets = choices[1:] // one fleet at a time
	}
	for _, s := range fleet.Sections {
		plan := plans[s]
		v := StepsSection{Section: string(s), Title: s.Words(), Version: plan.Version}
		if plan.Version > 0 {
			v.Kept = fmt.Sprintf("version %d, kept by %s on %s", plan.Version, cmp.Or(plan.By, "somebody"), reader(c).AtShort(plan.At))
		}
		for i := range plan.Steps {
			v.Rows = append(v.Rows, stepRow(i+1, &plan.Steps[i]))
			for _, m := range plan.Steps[i].Measures {
				if m.Makers && !slices.Contains(p.Measures, m.Name) {
					p.Measures = append(p.Measures, m.Name)
				}
			}
		}
		v.Rows = append(v.Rows, StepRow{N: len(plan.Steps) + 1, New: true, Lines: 1})
		p.Sections = append(p.Sections, v)
	}
	for _, m := range makers {
		p.Makers = append(p.Makers, makersRow(m))
	}
	return d.send(c, http.StatusOK, "steps", p)
}

func stepRow(n int, s *fleet.Step) StepRow {
	r := StepRow{N: n, Key: s.Key, Text: s.Text, Source: s.Source, Safety: s.Safety}
	var items, lines []string
	for _, it := range s.Items {
		items = append(items, string(it))
	}
	for _, m := range s.Measures {
		line := []string{m.Name, m.Unit, bound(m.Low), bound(m.High), ""}
		if m.Advice {
			line[4] = "advice"
		}
		if m.Makers {
			line[2], line[3] = "maker", "maker"
		}
		lines = append(lines, strings.TrimRight(strings.Join(line, " | "), " |"))
	}
	r.Items, r.Measures, r.Lines = strings.Join(items, ", "), strings.Join(lines, "\n"), max(1, len(lines))
	return r
}

func bound(x *float64) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'f', -1, 64)
}

func makersRow(m fleet.MakersValue) MakersRow {
	vehicles := strings.TrimSpace(m.Make + " " + m.Model)
	if vehicles == "" {
		vehicles = "any vehicle"
	}
	if m.Axle > 0 {
		vehicles += fmt.Sprintf(", axle %d", m.Axle)
	}
	values := checkValues(units.Reader{}, &fleet.Measure{Low: m.Low, High: m.High, Unit: m.Unit})
	return MakersRow{What: m.Measure, Vehicles: vehicles, Values: values, Source: m.Source}
}

// sentFleet is the fleet that a form is about.
func sentFleet(c *gin.Context) (int64, error) {
	id, err := strconv.ParseInt(c.PostForm("fleet"), 10, 64)
	if err != nil {
		return 0, fleet.Invalidf("fleet %q: want its number", c.PostForm("fleet"))
	}
	return id, nil
}

// keepSteps keeps the next version of a section's steps.
func (d *Dashboard) keepSteps(c *gin.Context) error {
	who, err := by(c)
	if err != nil {
		return err
	}
	fleetID, err := sentFleet(c)
	if err != nil {
		return err
	}
	version, err := strconv.Atoi(c.PostForm("version"))
	if err != nil {
		return fleet.Invalidf("version %q: want the one that was edited", c.PostForm("version"))
	}
	p := fleet.StepPlan{FleetID: fleetID, Section: fleet.Section(c.PostForm("section")), Version: version}
	if p.Steps, err = stepsForm(c); err != nil {
		return err
	}
	if _, err := d.svc.DB.SaveStepPlan(c.Request.Context(), d.scope(c), who, p); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("/steps?fleet=%d#%s", fleetID, p.Section))
	return nil
}

// stepsForm reads the steps in the order of their numbers; one without words is
// left out.
func stepsForm(c *gin.Context) ([]fleet.Step, error) {
	type numbered struct {
		at   float64
		step fleet.Step
	}
	var rows []numbered
	for n := 1; ; n++ {
		name := func(what string) string { return fmt.Sprintf("%s_%d", what, n) }
		if _, ok := c.GetPostForm(name("text")); !ok {
			break
		}
		s := fleet.Step{
			Key:    cmp.Or(c.PostForm(name("key")), strings.ToLower(rand.Text()[:8])),
			Text:   strings.TrimSpace(c.PostForm(name("text"))),
			Source: strings.TrimSpace(c.PostForm(name("source"))),
			Safety: c.PostForm(name("safety")) != "",
		}
		if s.Text == "" {
			continue
		}
		for it := range strings.SplitSeq(c.PostForm(name("items")), ",") {
			if it = strings.TrimSpace(it); it != "" {
				s.Items = append(s.Items, fleet.Item(it))
			}
		}
		var err error
		if s.Measures, err = measuresOf(c.PostForm(name("measures"))); err != nil {
			return nil, fmt.Errorf("step %d: %w", n, err)
		}
		at, err := decimal(c.PostForm(name("at")))
		if err != nil {
			return nil, fleet.Invalidf("step %d: its place in the order: %v", n, err)
		}
		rows = append(rows, numbered{at, s})
	}
	slices.SortStableFunc(rows, func(a, b numbered) int { return cmp.Compare(a.at, b.at) })
	var steps []fleet.Step
	for _, r := range rows {
		steps = append(steps, r.step)
	}
	return steps, nil
}

// measuresOf reads values to note, a line each: name | unit | least | most | advice,
// with "maker" where the maker's value is to be looked up; the last word where a
// value outside is a remark only.
func measuresOf(text string) ([]fleet.Measure, error) {
	var out []fleet.Measure
	for line := range strings.Lines(text) {
		if strings.TrimSpace(line) == "" {
			continue
		}
		f := strings.Split(line, "|")
		for i := range f {
			f[i] = strings.TrimSpace(f[i])
		}
		f = append(f, "", "", "", "")
		m := fleet.Measure{Name: f[0], Unit: f[1], Advice: f[4] == "advice"}
		if f[2] == "maker" || f[3] == "maker" {
			m.Makers = true
			out = append(out, m)
			continue
		}
		for i, to := range []**float64{&m.Low, &m.High} {
			if f[2+i] == "" {
				continue
			}
			x, err := decimal(f[2+i])
			if err != nil {
				return nil, fmt.Errorf("%s: %w", m.Name, err)
			}
			*to = &x
		}
		out = append(out, m)
	}
	return out, nil
}

// keepMakers keeps a maker's value.
func (d *Dashboard) keepMakers(c *gin.Context) error {
	who, err := by(c)
	if err != nil {
		return err
	}
	fleetID, err := sentFleet(c)
	if err != nil {
		return err
	}
	v := fleet.MakersValue{
		FleetID: fleetID, Measure: strings.TrimSpace(c.PostForm("measure")),
		Make: strings.TrimSpace(c.PostForm("make")), Model: strings.TrimSpace(c.PostForm("model")),
		Unit: strings.TrimSpace(c.PostForm("unit")), Source: strings.TrimSpace(c.PostForm("source")),
	}
	if text := strings.TrimSpace(c.PostForm("axle")); text != "" {
		if v.Axle, err = strconv.Atoi(text); err != nil {
			return fleet.Invalidf("axle %q: want 1 (front) to %d, or nothing for any", text, fleet.MaxAxle)
		}
	}
	for name, to := range map[string]**float64{"low": &v.Low, "high": &v.High} {
		if text := strings.TrimSpace(c.PostForm(name)); text != "" {
			x, err := decimal(text)
			if err != nil {
				return fleet.Invalidf("%s: %v", v.Measure, err)
			}
			*to = &x
		}
	}
	if err := d.svc.DB.SaveMakersValue(c.Request.Context(), d.scope(c), who, v); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("/steps?fleet=%d#makers", fleetID))
	return nil
}
