package api

import (
	"net/http"
	"strconv"
	"strings"
	"testing"
)

// brakeTests picks a rule set, takes brake tests in and reads them back with
// their judgement. The values are invented; what is required are EU-02 and
// EU-14 (see internal/rules).
func (c *client) brakeTests() {
	var found Page[VehicleItem]
	c.get("/vehicles?q=bus+1", &found)
	self := "/vehicles/" + strconv.FormatInt(found.Items[0].ID, 10)
	fleet := "/fleets/" + strconv.FormatInt(found.Items[0].FleetID, 10) + "/rule_set"

	c.do(call{method: "POST", path: "/brake_tests", status: 201, want: []string{`"kind":"brake_tests"`, `"accepted":5,"refused":1`}, body: `[
		{"vehicle":"Bus 1","date":"2026-02-10","method":"roller","weight_kg":12000,"axle":1,"side":"left","force_n":17000,"pedal_n":420},
		{"vehicle":"Bus 1","date":"2026-02-10","method":"roller","axle":1,"side":"right","force_n":11000},
		{"vehicle":"Bus 1","date":"2026-02-10","method":"roller","axle":2,"side":"left","force_n":17000},
		{"vehicle":"Bus 1","date":"2026-02-10","method":"roller","axle":2,"side":"right","force_n":17000,"locked":true},
		{"vehicle":"Bus 1","date":"2026-02-11","method":"decelerometer","mean_m_s2":5.5},
		{"vehicle":"Bus 9","date":"2026-02-11","method":"decelerometer","mean_m_s2":5.5}]`})

	var bs List[BrakeTest]
	c.get(self+"/brake_tests", &bs)
	if len(bs.Items) != 2 || bs.Items[0].Judgement.Verdict != "not judged" {
		c.t.Fatalf("got %+v, want two tests that nothing is required of", bs.Items)
	}
	c.do(call{method: "PUT", path: fleet, status: 400, want: []string{"rule_set: missing"}, body: `{}`})
	c.do(call{method: "PUT", path: fleet, status: 400, want: []string{"something follows the object"}, body: `{"rule_set":"eu","why":"registered there"} {}`})
	c.do(call{method: "PUT", path: fleet, status: 413, want: []string{"larger than the 16 kB"}, body: `{"rule_set":"eu","why":"` + strings.Repeat("x", 17<<10) + `"}`})
	c.do(call{method: "PUT", path: fleet, status: 400, want: []string{"unknown field"}, body: `{"rules":"eu"}`})
	c.do(call{method: "PUT", path: fleet, status: 400, want: []string{"want one of eu"}, body: `{"rule_set":"mars"}`})
	c.do(call{method: "PUT", path: "/fleets/999/rule_set", status: 404, body: `{"rule_set":"eu"}`})
	c.do(call{method: "PUT", path: fleet, want: []string{`"rule_set":"eu","refitted":0`}, body: `{"rule_set":"eu","why":"registered there"}`})
	c.do(call{path: "/fleets", want: []string{`"rule_set":"eu"`, `"rule_set":""`}})
	c.do(call{path: "/rule_sets", want: []string{`"id":"us-396"`, `"known":"memory"`, `"source":"49 CFR 393.47"`}})

	c.get(self+"/brake_tests", &bs)
	roller, meter := bs.Items[0], bs.Items[1]
	// 62,000 N / (12,000 kg · g) = 52.69 %; (17,000 − 11,000)/17,000 = 35.29 %;
	// 52.69 · 100/420 = 12.54 % for 100 N.
	if roller.Judgement.Verdict != "fails" || *roller.Efficiency != 52.69 || roller.Imbalance[0].Percent != 35.29 || *roller.Per100N != 12.54 || !roller.Wheels[3].Locked {
		c.t.Errorf("got %+v", roller)
	}
	if meter.Judgement.Verdict != "meets what is required" || meter.WeightKg != nil || meter.Judgement.RuleSet != "eu" {
		c.t.Errorf("got %+v", meter)
	}
	// What was said of a test stays, whatever the rules are later. 3.0 m/s² is
	// 30.6 % of g, below the 50 % of EU-02; the maker's values say nothing of it.
	c.do(call{method: "POST", path: "/brake_tests", status: 201, body: `[{"vehicle":"Bus 1","date":"2026-02-12","method":"decelerometer","mean_m_s2":3}]`})
	c.do(call{method: "PUT", path: fleet, want: []string{`"rule_set":"maker"`}, body: `{"rule_set":"maker","why":"to see"}`})
	c.get(self+"/brake_tests", &bs)
	if j := bs.Items[2].Judgement; j.RuleSet != "eu" || j.JudgedAt == nil || j.Verdict != "fails" || j.VerdictNow != "not judged" || j.Checks[0].Source != "EU-02" || j.Checks[0].Document == "" || j.Checks[0].Section == "" {
		c.t.Errorf("under other rules: %+v", j)
	}
	c.do(call{method: "PUT", path: fleet, want: []string{`"rule_set":"eu"`}, body: `{"rule_set":"eu","why":"registered there"}`})
	// Judged anew when what is known of the vehicle is corrected: of a car used first
	// in 2012 or later 58 % are required (EU-01), and of a bus 50 % (EU-02).
	for _, category := range []string{"M1", "M3"} {
		c.do(call{method: "POST", path: "/vehicles", status: 201, body: `[{"vehicle":"Bus 1","fleet":"Ferry Lines","depot":"Harbour","category":"` + category + `"}]`})
	}
	c.get(self+"/brake_tests", &bs)
	if j := bs.Items[1].Judgement; j.Verdict != "meets what is required" || j.Why != "category M3, before M1" || len(j.Before) != 2 ||
		j.Before[0].Verdict != "fails" || j.Before[0].Why != "category M1, before M3" || j.Before[1].Verdict != "meets what is required" || j.Before[1].Why != "" {
		c.t.Errorf("judged anew: %+v", j)
	}
	c.do(call{path: self + "/brake_tests?x=1", status: http.StatusBadRequest})
	c.do(call{path: "/vehicles/999/brake_tests", status: http.StatusNotFound})
}

// TestSome: what was not measured is null.
func TestSome(t *testing.T) {
	if some(0, 2) != nil || *some(1.239, 2) != 1.24 {
		t.Error("0 must be null, and 1.239 be 1.24")
	}
}
