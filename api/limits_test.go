package api

import (
	"fmt"
	"math"
	"strings"

	"brakewear/internal/pipeline"
)

// limits sets limits and thresholds of the workshop's own and withdraws them.
// The limits are invented; WP-15 is in internal/rules.
func (c *client) limits() {
	var found Page[VehicleItem]
	c.get("/vehicles?q=bus+1", &found)
	self := fmt.Sprintf("/vehicles/%d/limits", found.Items[0].ID)
	own := fmt.Sprintf("/fleets/%d/thresholds", found.Items[0].FleetID)
	put := func(path, body string, status int, want ...string) call {
		name, _, _ := strings.Cut(body, "}")
		return call{name: name, method: "PUT", path: path, body: body, status: status, want: want}
	}
	c.run([]call{
		{name: "as the maker says", path: self, want: []string{`{"axle":1,"part":"pad","new_mm":20,"maker_mm":3,`, `"limit_mm":3,"source":"maker","note":"","workshop":false`, `"history":[]`}},
		{name: "of no vehicle", path: "/vehicles/999/limits", status: 404},
		put(self, `{"axle":1,"part":"pad","why":"hills"}`, 400, "limit_mm: missing"),
		put(self, `{"axle":1,"part":"horn","limit_mm":4}`, 400, `part \"horn\"`),
		put(self, `{"axle":9,"part":"pad","limit_mm":4}`, 400, "axle 9"),
		put(self, `{"axle":1,"part":"pad","limit_mm":"thick"}`, 422, `"column":"limit_mm","read":"thick"`),
		put(self, `{"axle":1,"part":"pad","limit_mm":0}`, 422, "null withdraws"),
		put(self, `{"axle":1,"part":"pad","limit_mm":2}`, 400, "leaves more room"),
		put(self, `{"axle":1,"part":"pad","limit_mm":null}`, 400, "no limit of your own to withdraw"),
		put(self, `{"axle":1,"part":"pad","limit_mm":"5/32 in","why":"hills"}`, 200, // 25.4 mm to the inch
			`"limit_mm":3.9688,"source":"workshop","note":"`, `"workshop":true`, `"history":[{"axle":1,"part":"pad","limit_mm":3.9688,"why":"hills","by":"API","at":"2026-03-02T09:00:00Z"}]`),
	})
	var fs List[pipeline.Report]
	c.get(fmt.Sprintf("/vehicles/%d/forecasts", found.Items[0].ID), &fs)
	if len(fs.Items) == 0 || fs.Items[0].LimitMM == nil || math.Abs(*fs.Items[0].LimitMM-3.96875) > .006 {
		c.t.Errorf("the forecast after: got %+v, want the workshop's limit", fs.Items)
	}
	c.run([]call{
		put(self, `{"axle":1,"part":"pad","limit_mm":null,"why":"flat again"}`, 200, `"limit_mm":3,"source":"maker"`, `"history":[{"axle":1,"part":"pad","limit_mm":null,"why":"flat again"`),

		{name: "published", path: own, want: []string{`"value_id":"WP-15"`, `"changed":false,"why":null,"by":null,"at":null`}, not: []string{`"changed":true`}},
		{name: "of no fleet", path: "/fleets/999/thresholds", status: 404},
		put(own, `{"value_id":"WP-15","why":"x"}`, 400, "x: missing"),
		put(own, `{"value_id":"WP-0","x":3,"why":"x"}`, 400, `threshold \"WP-0\"`),
		put(own, `{"value_id":"WP-15","x":-3,"why":"x"}`, 400, "above 0"),
		put(own, `{"value_id":"WP-15","x":3}`, 400, "say why"),
		put("/fleets/999/thresholds", `{"value_id":"WP-15","x":3,"why":"x"}`, 404),
		put(own, `{"value_id":"WP-15","x":3,"why":"own practice"}`, 200, `"x":3,"changed":true,"why":"own practice","by":"API","at":"2026-03-02T09:00:00Z"`),
		put(own, `{"value_id":"WP-15","x":null,"why":"as published"}`, 200, `"changed":false,"why":"as published"`),
	})
}

// wrongRecords corrects what is corrected as a whole: a brake test, the tick of
// an inspection, readings of the wrong axle. It is invented.
func (c *client) wrongRecords() {
	var found Page[VehicleItem]
	c.get("/vehicles?q=bus+1", &found)
	self := fmt.Sprintf("/vehicles/%d", found.Items[0].ID)
	var bs List[BrakeTest]
	c.get(self+"/brake_tests", &bs)
	roller, meter := bs.Items[0], bs.Items[1]
	test := fmt.Sprintf("/brake_tests/%d/corrections", roller.ID)
	aside := fmt.Sprintf("/brake_tests/%d/corrections", meter.ID)
	c.run([]call{
		{name: "no test", path: test, body: `{"why":"x"}`, status: 400, want: []string{"test: missing"}},
		{name: "no reason", path: test, body: `{"test":{"pedal_n":300}}`, status: 400, want: []string{"say why"}},
		{name: "nothing changed", path: test, body: `{"test":{"pedal_n":420},"why":"x"}`, status: 400, want: []string{"nothing is changed"}},
		{name: "no such force", path: test, body: `{"test":{"wheels":[{"axle":1,"side":"left","force_n":1e9}]},"why":"x"}`, status: 400, want: []string{"is the unit right?"}},
		{name: "after today", path: test, body: `{"test":{"date":"2026-05-01"},"why":"x"}`, status: 400, want: []string{"after today"}},
		{name: "no such act", path: test, body: `{"act":"burn","why":"x"}`, status: 400, want: []string{`act \"burn\": want`}},
		{name: "a test to be set aside", path: test, body: `{"act":"set aside","test":{},"why":"x"}`, status: 400, want: []string{"leave out the test"}},
		{name: "no such test", path: "/brake_tests/999/corrections", body: `{"test":{"pedal_n":300},"why":"x"}`, status: 404},
		{name: "corrected", path: test, body: `{"test":{"pedal_n":null,"weight_kg":11000,"note":"weighed again"},"why":"of another bus","by":"N. N."}`, status: 201,
			want: []string{`"record":"brake test"`, `"act":"corrected"`, `"by":"N. N."`}},
		{name: "by another", path: test, body: `{"test":{"pedal_n":300},"why":"x"}`, status: 409, want: []string{"was corrected by N. N."}},
		{name: "set aside", path: aside, body: `{"act":"set aside","why":"not calibrated"}`, status: 201, want: []string{`"act":"set aside","stands_id":null`}},
		{name: "it was", path: aside, body: `{"act":"undone","why":"it was calibrated"}`, status: 201, want: []string{`"act":"undone"`}},
	})
	c.get(self+"/brake_tests", &bs)
	var got *BrakeTest
	for i := range bs.Items {
		if bs.Items[i].Note == "weighed again" {
			got = &bs.Items[i]
		}
	}
	// 62,000 N / (11,000 kg · g) = 57.47 %.
	if got == nil || got.PedalN != nil || *got.WeightKg != 11000 || *got.Efficiency != 57.47 || len(got.Wheels) != 4 || got.Date != roller.Date {
		c.t.Errorf("corrected: got %+v", got)
	}

	c.get("/vehicles?q=bus+2", &found)
	self = fmt.Sprintf("/vehicles/%d", found.Items[0].ID)
	var h History
	c.get(self+"/history", &h)
	if len(h.Conditions) == 0 {
		c.t.Fatal("no conditions")
	}
	was, first := len(h.Conditions), h.Conditions[0].ID // all of one day: what is set aside comes last
	tick := fmt.Sprintf("/conditions/%d/corrections", first)
	c.run([]call{
		{name: "a tick corrected", path: tick, body: `{"act":"corrected","why":"x"}`, status: 400, want: []string{`want \"set aside\" or \"undone\"`}},
		{name: "no such tick", path: "/conditions/999/corrections", body: `{"act":"set aside","why":"x"}`, status: 404},
		{name: "a tick set aside", path: tick, body: `{"act":"set aside","why":"wrong sheet"}`, status: 201, want: []string{`"record":"condition"`}},
	})
	c.get(self+"/history", &h)
	if len(h.Conditions) != was-1 {
		c.t.Errorf("got %+v, want one less", h.Conditions)
	}
	c.get(self+"/history?set_aside=true", &h)
	if x := h.Conditions[len(h.Conditions)-1]; len(h.Conditions) != was || x.ID != first || x.Aside == nil || x.Aside.Why != "wrong sheet" {
		c.t.Errorf("with what was set aside: got %+v", h.Conditions)
	}
	c.do(call{path: tick, body: `{"act":"undone","why":"the right sheet"}`, status: 201})

	// The visit of 1 March read both axles; they were taken for each other.
	axles := func() (front, rear []float64, id int64) {
		c.get(self+"/history", &h)
		for _, r := range h.Readings {
			if r.Date.String() != "2026-03-01" {
				continue
			}
			if r.Axle == 1 {
				front, id = append(front, r.ValueMM), r.ID
			} else {
				rear = append(rear, r.ValueMM)
			}
		}
		return front, rear, id
	}
	front, rear, id := axles()
	move := fmt.Sprintf("/readings/%d/move", id)
	c.run([]call{
		{name: "moved nowhere", path: move, body: `{"axle":1,"why":"x"}`, status: 400, want: []string{"that is where these readings are"}},
		{name: "no axle", path: move, body: `{"why":"x"}`, status: 400, want: []string{"axle 0"}},
		{name: "no reason to move", path: move, body: `{"axle":2,"swap":true}`, status: 400, want: []string{"say why"}},
		{name: "to no vehicle", path: move, body: `{"axle":2,"vehicle_id":999,"why":"x"}`, status: 404},
		{name: "no such reading", path: "/readings/9999/move", body: `{"axle":2,"why":"x"}`, status: 404},
		{name: "swapped", path: move, body: `{"axle":2,"swap":true,"why":"taken for each other"}`, status: 201, want: []string{`"act":"corrected"`, `"by":"API"`}},
		{name: "no longer there", path: move, body: `{"axle":2,"why":"x"}`, status: 409},
	})
	if f, r, _ := axles(); fmt.Sprint(f, r) != fmt.Sprint(rear, front) || len(front) == 0 || len(rear) == 0 {
		c.t.Errorf("swapped: got %v and %v, want %v and %v", f, r, rear, front)
	}
}
