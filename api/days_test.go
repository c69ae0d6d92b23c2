package api

import (
	"fmt"

	gocmp "github.com/google/go-cmp/cmp"
)

// days says when a vehicle and a workshop cannot take part in the plan, and
// takes that back. Everything in it is invented.
func (c *client) days(home string, vehicleID, depotID int64) {
	self := fmt.Sprintf("/vehicles/%d", vehicleID)
	away := `{"absences":[{"first":"2026-07-01","last":"2026-07-14","reason":"rented out"},{"weekdays":["Monday","Friday"],"reason":"market day"}]}`
	coming := fmt.Sprintf(`{"planned_visits":[{"day":"2026-05-04","depot_id":%d,"what":"service"},{"day":"2026-06-01","what":"statutory test"}]}`, depotID)
	c.run([]call{
		{name: "nothing in the calendar", path: self + "/days", want: []string{`"absences":[],"planned_visits":[],"fluid_changed":null`}},
		{name: "calendar of no vehicle", path: "/vehicles/999/days", status: 404},
		{name: "no absences", path: self + "/absences", body: `{}`, status: 400, want: []string{"none was sent"}},
		{name: "no such day of the week", path: self + "/absences", body: `{"absences":[{"weekdays":["Friday"]},{"weekdays":["Fryday"]}]}`, status: 400, want: []string{`absences[1].weekdays: \"Fryday\" is none; want Monday`}},
		{name: "no day at all", path: self + "/absences", body: `{"absences":[{"first":"2026-07-01"},{"reason":"x"}]}`, status: 400, want: []string{"absences[1]: days: give a first and a last day"}},
		{name: "a year mistyped", path: self + "/absences", body: `{"absences":[{"first":"2026-07-01"},{"first":"2206-07-01"}]}`, status: 400, want: []string{"2 of 2: day 1 Jul 2206", "correct the year"}},
		{name: "away", path: self + "/absences", body: away, want: []string{`"first":"2026-07-01","last":"2026-07-14","weekdays":[],"reason":"rented out"`, `"first":null,"last":null,"weekdays":["Monday","Friday"]`}},
		{name: "no visits", path: self + "/planned_visits", body: `{}`, status: 400},
		{name: "a visit on no day", path: self + "/planned_visits", body: `{"planned_visits":[{"day":"2026-05-04","what":"service"},{"what":"service"}]}`, status: 400, want: []string{"planned_visits[1].day: missing"}},
		{name: "a visit for nothing", path: self + "/planned_visits", body: `{"planned_visits":[{"day":"2026-05-04"}]}`, status: 400, want: []string{"planned_visits[0].what: say what"}},
		{name: "a visit nowhere", path: self + "/planned_visits", body: `{"planned_visits":[{"day":"2026-05-04","what":"service"},{"day":"2026-05-04","depot_id":999,"what":"service"}]}`, status: 404, want: []string{"2 of 2: "}},
		{name: "coming", path: self + "/planned_visits", body: coming, want: []string{fmt.Sprintf(`"day":"2026-05-04","depot_id":%d,"depot":`, depotID), `"day":"2026-06-01","depot_id":null,"depot":"","what":"statutory test"`}},
		{name: "a change of fluid ahead", method: "PUT", path: self + "/fluid_change", body: `{"day":"2026-05-04"}`, status: 400, want: []string{"after today, 2 Mar 2026"}},
		{name: "a change of fluid in no such year", method: "PUT", path: self + "/fluid_change", body: `{"day":"0001-01-01"}`, status: 400, want: []string{"want a day since 1 Jan 1950"}},
		{name: "a change of fluid on no day", method: "PUT", path: self + "/fluid_change", body: `{}`, status: 400, want: []string{"day: missing"}},
		{name: "a change of fluid", method: "PUT", path: self + "/fluid_change", body: `{"day":"2026-02-10"}`, want: []string{`"fluid_changed":"2026-02-10"`}},
		{name: "it was none", method: "PUT", path: self + "/fluid_change", body: `{"day":null}`, want: []string{`"fluid_changed":null`}},
	})
	var was, again Days
	c.get(self+"/days", &was)
	c.do(call{path: self + "/absences", body: away})
	c.do(call{path: self + "/planned_visits", body: coming})
	c.get(self+"/days", &again)
	if diff := gocmp.Diff(was, again); diff != "" || len(was.Absences) != 2 || len(was.Visits) != 2 {
		c.t.Fatalf("sent again (-before +after): %s", diff)
	}
	var w Workshop
	c.get(home, &w)
	c.do(call{path: home + "/closures", body: `{"closures":[{"first":"2026-09-01"},{"first":"2026-09-04","last":"2026-09-01"}]}`, status: 400, want: []string{"closures[1]: last day 1 Sep 2026: it lies before the first"}})
	c.do(call{path: home + "/closures", body: `{"closures":[{"first":"2026-09-01","last":"2026-09-04","reason":"stocktaking"}]}`})
	before := len(w.Closures)
	c.get(home, &w)
	last := w.Closures[len(w.Closures)-1]
	closure := fmt.Sprintf("%s/closures/%d", home, last.ID)
	if len(w.Closures) != before+1 || last.Reason != "stocktaking" {
		c.t.Fatalf("got closures %+v", w.Closures)
	}
	c.run([]call{
		{name: "not away after all", method: "DELETE", path: fmt.Sprintf("%s/absences/%d", self, was.Absences[0].ID), want: []string{`"reason":"market day"`}, not: []string{"rented out"}},
		{name: "nor on market days", method: "DELETE", path: fmt.Sprintf("%s/absences/%d", self, was.Absences[1].ID), want: []string{`"absences":[]`}},
		{name: "which was taken back", method: "DELETE", path: fmt.Sprintf("%s/absences/%d", self, was.Absences[0].ID), status: 404},
		{name: "not coming", method: "DELETE", path: fmt.Sprintf("%s/planned_visits/%d", self, was.Visits[0].ID), not: []string{"service"}},
		{name: "no such visit", method: "DELETE", path: self + "/planned_visits/soon", status: 404},
		{name: "open after all", method: "DELETE", path: closure, not: []string{"stocktaking"}},
		{name: "no such closure", method: "DELETE", path: closure, status: 404},
	})
}
