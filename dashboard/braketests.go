package dashboard

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/dashboard/chart"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// TestsView is the brake tests of a vehicle on its page.
type TestsView struct {
	Enter    string // address of the form
	Limits   string // of the limits' page
	Rules    string // of the fleet's rule set; blank: none is picked
	RuleSet  string
	ToJudge  *ToJudge // nil: all are judged, or cannot be
	Rows     []TestRow
	Trends   []string
	Pictures []Picture
}

// TestRow is one brake test in a list.
type TestRow struct {
	Link       string
	Date       fleet.Date
	What       string // "roller, service brake, after a job"
	Efficiency string
	Required   string
	Pedal      string
	Verdict    string
	Bad        bool
}

// registerTests adds the pages of brake tests, rule sets and limits.
func (d *Dashboard) registerTests(r *gin.Engine) {
	r.GET("/vehicles/:id/test", web.Handle(d.testForm))
	r.POST("/vehicles/:id/test", web.Handle(d.addTest))
	r.GET("/vehicles/:id/tests/:test", web.Handle(d.brakeTest))
	r.POST("/vehicles/:id/tests/:test/aside", web.Handle(d.setTestAside))
	r.GET("/vehicles/:id/limits", web.Handle(d.limits))
	r.POST("/vehicles/:id/limits", web.Handle(d.setLimit))
	r.GET("/rules", web.Handle(d.rules))
	r.GET("/rules/sets/:set", web.Handle(d.ruleSet))
	r.GET("/rules/fleets/:id", web.Handle(d.fleetRules))
	r.POST("/rules/fleets/:id", web.Handle(d.pickRules))
	r.POST("/rules/fleets/:id/thresholds", web.Handle(d.setThreshold))
}

var methodWords = map[fleet.Method]string{
	fleet.Roller:        "roller",
	fleet.Plate:         "plate",
	fleet.Decelerometer: "decelerometer",
	fleet.MeasuredStop:  "measured stop",
}

var stageWords = map[fleet.Stage]string{
	fleet.Routine:   "of no job",
	fleet.BeforeJob: "before a job",
	fleet.AfterJob:  "after a job",
}

// testWhat names a test's method, brake and stage.
func testWhat(b *fleet.BrakeTest) string {
	s := methodWords[b.Method] + ", " + string(b.System) + " brake"
	if b.Stage != fleet.Routine {
		s += ", " + stageWords[b.Stage]
	}
	return s
}

func testLink(vehicle, test int64) string { return fmt.Sprintf("/vehicles/%d/tests/%d", vehicle, test) }

// testsView gathers the brake tests of a vehicle, newest first.
func (d *Dashboard) testsView(who auth.Who, tell units.Reader, h *store.History, ts rules.Thresholds) TestsView {
	link := vehicleLink(h.Vehicle.ID)
	set := rules.Or(h.RuleSet)
	v := TestsView{Enter: link + "/test", Limits: link + "/limits", RuleSet: set.Name}
	if set.ID != rules.Unset {
		v.Rules = "/rules/sets/" + set.ID
	} else {
		v.ToJudge = toJudge(who, &h.Vehicle, set)
	}
	for i := len(h.BrakeTests) - 1; i >= 0; i-- {
		b := &h.BrakeTests[i]
		j := pipeline.JudgeBrakeTest(h, b)
		row := TestRow{
			Link:       testLink(h.Vehicle.ID, b.ID),
			Date:       b.Date,
			What:       capital(testWhat(b)),
			Efficiency: "–",
			Required:   "–",
			Pedal:      "–",
			Verdict:    j.Verdict.String(),
			Bad:        j.Verdict >= rules.Fails,
		}
		if j.Verdict == rules.NotJudged && v.ToJudge == nil {
			v.ToJudge = toJudge(who, &h.Vehicle, j.Set)
		}
		if j.Efficiency > 0 {
			row.Efficiency = rules.Efficiency.Of(j.Efficiency)
		}
		if q := requiredOf(j); q != nil {
			row.Required = q.What.Exact(q.Required)
		}
		if b.PedalN > 0 {
			row.Pedal = rules.PedalForce.Of(b.PedalN)
		}
		v.Rows = append(v.Rows, row)
	}
	if len(v.Rows) == 0 {
		return v
	}
	for _, t := range pipeline.BrakeTrends(h, ts) {
		v.Trends = append(v.Trends, tell.Text(t.String(), d.svc.Today()))
	}
	for _, p := range testPictures(tell, h) {
		v.Pictures = append(v.Pictures, *d.picture(h.Vehicle.ID, p.chart, p.file, p.title))
	}
	return v
}

// requiredOf returns what the whole vehicle had to reach, nil where that was
// not judged.
func requiredOf(j *rules.Judgement) *rules.Check {
	for i, q := range j.Checks {
		if q.What == rules.Efficiency || q.What == rules.MeanDeceleration || q.What == rules.StoppingDistance {
			return &j.Checks[i]
		}
	}
	return nil
}

// testPictures draws the service brake's tests over time.
func testPictures(tell units.Reader, h *store.History) []axlePicture {
	efficiency := chart.TestSeries{Name: "efficiency", Label: "efficiency, %", Unit: "%"}
	pedal := chart.TestSeries{Name: "pedal force", Label: "pedal force, N", Unit: "N"}
	series := map[fleet.Method]int{} // present one of each method
	next := 0
	for i := range h.BrakeTests {
		b := &h.BrakeTests[i]
		if b.System != fleet.ServiceBrake {
			continue
		}
		if _, ok := series[b.Method]; !ok || b.Stage == fleet.AfterJob {
			next++
			series[b.Method] = next
		}
		p := chart.TestPoint{Day: b.Date, Stage: b.Stage, Series: series[b.Method]}
		if j := pipeline.JudgeBrakeTest(h, b); j.Efficiency > 0 {
			p.Y = j.Efficiency
			efficiency.Points = append(efficiency.Points, p)
		}
		if b.PedalN > 0 {
			p.Y = b.PedalN
			pedal.Points = append(pedal.Points, p)
		}
	}
	set := rules.Or(h.RuleSet)
	bound := set.Bound(&h.Vehicle, fleet.ServiceBrake, rules.Efficiency)
	if bound != nil {
		efficiency.Limit = bound.Limit
	} else if bound = set.Bound(&h.Vehicle, fleet.ServiceBrake, rules.MeanDeceleration); bound != nil {
		efficiency.Limit = fleet.EfficiencyOf(bound.Limit)
	}
	if bound != nil {
		efficiency.Words = fmt.Sprintf("%.3g %% required (%s)", efficiency.Limit, bound.Use.Value.ID)
	}
	if bound := set.Bound(&h.Vehicle, fleet.ServiceBrake, rules.PedalForce); bound != nil {
		pedal.Limit = bound.Limit
		pedal.Words = fmt.Sprintf("at most %.0f N (%s)", bound.Limit, bound.Use.Value.ID)
	}
	var out []axlePicture
	for _, x := range []struct {
		file, title string
		s           chart.TestSeries
	}{
		{"brake-efficiency", "Brake tests: efficiency over time", efficiency},
		{"pedal-force", "Brake tests: pedal force over time", pedal},
	} {
		if c := chart.BrakeTests(tell, x.s); c != nil {
			out = append(out, axlePicture{x.file, x.title, c, true})
		}
	}
	return out
}

// BrakeTestPage is one brake test with its judgement.
type BrakeTestPage struct {
	Shell
	Vehicle string
	Back    string
	Heading string
	Again   bool // it was there already
	Aside   string
	Stands  string // address of the test that stands instead
	Undo    bool   // it may be made to count again
	Judged  Judged
	Changes []string // against the like test before
	Before  string   // address of that
	Facts   []Fact
	Doubts  []string // on its odometer
	Wheels  []WheelRow
	Correct string
	SetAway string
	Reason  Field
}

// Judged is a judgement in words.
type Judged struct {
	Strong  string
	Bad     bool
	Checks  []string
	Notes   []string
	Set     string // blank: none is picked, which the notes say
	SetLink string
	When    string   // on which day it was judged; blank: it is what is said now
	Why     string   // it was judged anew; blank: it was not
	Before  []string // what was said before, newest first
	Now     string   // what the rule set picked now says, where that is something else
	ToJudge *ToJudge // nil: it is judged, or cannot be
}

// WheelRow is the two wheels of an axle.
type WheelRow struct {
	Axle        int
	Left, Right string
	Difference  string
}

func judged(who auth.Who, of *fleet.Vehicle, j *rules.Judgement) Judged {
	v := Judged{
		Strong: j.Summary(),
		Bad:    j.Verdict >= rules.Fails,
		Notes:  j.Notes,
	}
	if j.Set.ID != rules.Unset {
		v.Set, v.SetLink = j.Set.Name, "/rules/sets/"+j.Set.ID
	}
	for i := range j.Checks {
		v.Checks = append(v.Checks, j.Checks[i].String())
	}
	if j.Verdict == rules.NotJudged {
		v.ToJudge = toJudge(who, of, j.Set)
	}
	return v
}

// saidOf is what was said of a test when it was judged, beside what would be
// said now.
func saidOf(who auth.Who, tell units.Reader, h *store.History, b *fleet.BrakeTest) Judged {
	j, now := pipeline.JudgeBrakeTest(h, b), pipeline.JudgeAnew(h, b)
	v := judged(who, &h.Vehicle, j)
	if b.Said == nil {
		return v
	}
	v.When, v.Why = tell.DayAt(b.Said.At), b.Said.Why
	if now.Set.ID != j.Set.ID || now.Verdict != j.Verdict {
		v.Now = "By the rule set picked now, " + now.Set.Name + ": " + now.Summary()
	}
	return v
}

// saidBefore puts what was said of a test before it was judged anew into words,
// newest first.
func saidBefore(tell units.Reader, said []fleet.Said) (words []string) {
	for i := len(said) - 2; i >= 0; i-- {
		s := &said[i]
		what, by := capital(s.Verdict)+".", s.RuleSet
		if j, err := rules.Kept(s.Judgement); err == nil {
			what, by = j.Summary(), j.Set.Name
		}
		words = append(words, fmt.Sprintf("On %s, by %s: %s", tell.DayAt(s.At), by, what))
	}
	return words
}

// tested returns a vehicle's history and the test in the path, whether it
// counts or not.
func (d *Dashboard) tested(c *gin.Context) (h store.History, b fleet.BrakeTest, err error) {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return h, b, err
	}
	test, err := web.PathNumber(c, "test", "brake test")
	if err != nil {
		return h, b, err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	if h, err = d.svc.DB.History(ctx, sc, id); err != nil {
		return h, b, err
	}
	all, err := d.svc.DB.BrakeTests(ctx, sc, id)
	if err != nil {
		return h, b, err
	}
	for i := range all {
		if all[i].ID == test {
			return h, all[i], nil
		}
	}
	return h, b, fleet.NotFoundf("brake test %d: vehicle %s has none of this number", test, h.Vehicle.Number)
}

func (d *Dashboard) brakeTest(c *gin.Context) error { return d.showTest(c, http.StatusOK, nil) }

// showTest sends the page; f has the form of setting it aside where that comes
// back with faults.
func (d *Dashboard) showTest(c *gin.Context, status int, f *fields) error {
	tell := reader(c)
	h, b, err := d.tested(c)
	if err != nil {
		return err
	}
	link := vehicleLink(h.Vehicle.ID)
	p := BrakeTestPage{
		Shell:   Shell{Title: h.Vehicle.Number + ": brake test", Place: "vehicles", Cautions: true, of: ofVehicle(&h.Vehicle)},
		Vehicle: h.Vehicle.Number,
		Back:    link + "#brake-tests",
		Heading: "Brake test of " + tell.Day(b.Date),
		Again:   c.Query("again") != "",
		Judged:  saidOf(web.SignedIn(c), tell, &h, &b),
		Facts:   testFacts(tell, &h, &b),
		Doubts:  odometerDoubts(tell, &h, b.Date, b.OdometerKm),
		Wheels:  wheelRows(&b),
		Correct: fmt.Sprintf("%s/test?correct=%d", link, b.ID),
		SetAway: testLink(h.Vehicle.ID, b.ID) + "/aside",
		Reason:  f.field("why", "Why it should not count", ""),
	}
	if b.Said != nil && b.Said.Number > 0 {
		said, err := d.svc.DB.Verdicts(c.Request.Context(), d.scope(c), h.Vehicle.ID)
		if err != nil {
			return err
		}
		p.Judged.Before = saidBefore(tell, said[b.ID])
	}
	if a := b.Aside; a != nil {
		p.Doubts = nil
		p.Aside = fmt.Sprintf("Set aside by %s on %s: %s.", a.By, tell.DayAt(a.At), strings.TrimSuffix(a.Why, "."))
		p.Undo = a.StandsID == 0
		if a.StandsID != 0 {
			p.Aside = fmt.Sprintf("Corrected by %s on %s: %s.", a.By, tell.DayAt(a.At), strings.TrimSuffix(a.Why, "."))
			p.Stands = testLink(h.Vehicle.ID, a.StandsID)
		}
		p.Reason.Label = "Why it should count again"
	} else if before := pipeline.Earlier(&h, &b); before != nil {
		if ch, ok := rules.Compare(before, &b); ok {
			p.Changes, p.Before = ch.Says(), testLink(h.Vehicle.ID, before.ID)
		}
	}
	return d.send(c, status, "braketest", p)
}

func testFacts(tell units.Reader, h *store.History, b *fleet.BrakeTest) (fs []Fact) {
	add := func(name, value string) {
		if value != "" {
			fs = append(fs, Fact{name, value})
		}
	}
	num := func(name string, x float64, decimals int, unit string) {
		if x != 0 {
			add(name, strconv.FormatFloat(x, 'f', decimals, 64)+"\u00a0"+unit)
		}
	}
	add("How", capital(testWhat(b)))
	if b.OdometerKm != nil {
		add("Odometer", tell.Distance(*b.OdometerKm))
	}
	j := pipeline.JudgeBrakeTest(h, b)
	num("Efficiency", j.Efficiency, 1, "%")
	if a, by := b.Deceleration(); j.Efficiency > 0 && !b.Method.ByForce() {
		add("Deceleration", fmt.Sprintf("%.2f\u00a0m/s² (%s)", a, by))
	}
	if j.Efficiency > 0 {
		num("For each 100 N on the pedal", b.PerHundredN(), 1, "%")
	}
	num("Pedal force", b.PedalN, 0, "N")
	if b.WeightKg > 0 {
		add("Weight", kgWords(b.WeightKg))
	}
	num("Mean deceleration", b.Mean, 2, "m/s²")
	num("Peak deceleration", b.Peak, 2, "m/s²")
	if b.SpeedKmh != 0 {
		add("Speed", tell.Speed(b.SpeedKmh))
	}
	num("Distance", b.DistanceM, 1, "m")
	if b.EndM > 0 {
		add("From 0.8 to 0.1 of the speed", fmt.Sprintf("%.1f to %.1f\u00a0m", b.BeginM, b.EndM))
	}
	add("Technician", b.Technician)
	add("Note", b.Note)
	return fs
}

// wheelRows shows the forces in the unit in which they were written.
func wheelRows(b *fleet.BrakeTest) (rows []WheelRow) {
	u := forceUnit(b.ForceUnit)
	for _, w := range b.Wheels { // which come by axle
		if n := len(rows); n == 0 || rows[n-1].Axle != w.Axle {
			rows = append(rows, WheelRow{Axle: w.Axle, Left: "–", Right: "–", Difference: "–"})
		}
		r := &rows[len(rows)-1]
		s := grouped(math.Round(w.N/u.factor*100)/100) + "\u00a0" + u.name
		if w.Locked {
			s += " (locked)"
		}
		if w.Side == fleet.Left {
			r.Left = s
		} else {
			r.Right = s
		}
	}
	for _, a := range b.Imbalances() {
		for i := range rows {
			if rows[i].Axle == a.Axle {
				rows[i].Difference = rules.Imbalance.Of(a.Percent)
			}
		}
	}
	return rows
}

// setTestAside takes a test out of what counts, or lets it count again.
func (d *Dashboard) setTestAside(c *gin.Context) error {
	h, b, err := d.tested(c)
	if err != nil {
		return err
	}
	f := readFields(c)
	rec := fleet.Record{Kind: fleet.BrakeTestRecord, ID: b.ID}
	do := d.svc.SetAside
	if b.Aside != nil {
		do = d.svc.UndoSetAside
	}
	_, err = do(c.Request.Context(), d.scope(c), rec, fleet.Reason{Why: f.text("why"), By: d.who(c)}, d.svc.Today())
	if err := f.take("why", err); err != nil {
		return err
	}
	if !f.ok() {
		return d.showTest(c, http.StatusBadRequest, f)
	}
	c.Redirect(http.StatusSeeOther, testLink(h.Vehicle.ID, b.ID))
	return nil
}
