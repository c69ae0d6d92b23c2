package api

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// plan books by hand and from a proposal, and sets what the plan keeps to.
// Everything in it is invented.
func (c *client) plan(db *store.DB) {
	t := c.t
	var vs Page[VehicleItem]
	c.get("/vehicles?q=bus+1", &vs)
	bus := vs.Items[0]
	c.get("/vehicles?q=bus+2", &vs)
	other := vs.Items[0]
	home := fmt.Sprintf("/workshops/%d", bus.DepotID)

	c.run([]call{
		{name: "nothing booked", path: "/bookings", want: []string{`{"items":[],"next":null}`}},
		{name: "nothing proposed", path: "/proposals", want: []string{`{"items":[],"next":null}`}},
		{name: "no visits", path: "/visits", want: []string{`{"items":[],"next":null}`}},
		{name: "accept nothing", path: "/visits/accept", body: `{}`, status: 404},
		{name: "defaults", path: home, want: []string{`"set":false`, `"bays":1`, `"opens":"08:00"`, `{"opens":null,"closes":null,"technician_hours":0}`, `"pads":{"light":0.7,"heavy":1.5}`}},
		{name: "all workshops", path: "/workshops", want: []string{`"depot":"Barn"`}},
		{name: "no such workshop", path: "/workshops/999", status: 404},
		{name: "half a week", method: "PUT", path: home, body: `{"week":[]}`, status: 400, want: []string{"want seven"}},
		{name: "no bays", method: "PUT", path: home, body: c.workshopBody(0), status: 400, want: []string{"bays: want 1 to 99"}},
		{name: "two bays", method: "PUT", path: home, body: c.workshopBody(2), want: []string{`"set":true`, `"bays":2`, `"opens":"07:30"`, `"time_zone":"Atlantic/Azores"`, `"bleed":{"light":0.5,"heavy":0.8}`}},
		{name: "a holiday", path: home + "/closures", body: `{"closures":[{"first":"2026-03-10","reason":"fair"}]}`, want: []string{`"first":"2026-03-10","last":"2026-03-10","technician_hours":0,"reason":"fair"`}},
		{name: "its days", path: home + "/days?from=2026-03-06&to=2026-03-10", want: []string{ // a Friday to the holiday
			`{"items":[{"day":"2026-03-06","opens":"07:30","closes":"16:00","technician_hours":8,"booked_hours":0,"reasons":[]},{"day":"2026-03-07","opens":null,"closes":null,"technician_hours":0,`,
			`{"day":"2026-03-10","opens":null,"closes":null,"technician_hours":0,"booked_hours":0,"reasons":["fair"]}]}`}},
		{name: "days for years", path: home + "/days?from=2026-03-06&to=2027-03-07", status: 400, want: []string{`"parameter":"to"`, "at most 366 days"}},
		{name: "days backwards", path: home + "/days?to=2026-03-01", status: 400, want: []string{"from 2 Mar 2026 on"}},
		{name: "the last days", path: home + "/days?from=9999-12-31", want: []string{`{"items":[{"day":"9999-12-31",`}, not: []string{"0000-"}},
		{name: "days of no workshop", path: "/workshops/999/days", status: 404},
		{name: "no closures", path: home + "/closures", body: `{}`, status: 400},
		{name: "parts as rows", path: "/parts", status: 201, want: []string{`"kind":"parts"`, `"accepted":1,"refused":1`, "the fleet has no depot of this name"}, body: fmt.Sprintf(`[
			{"part_number":"P 1","fleet":%q,"item":"pads","price":120.5,"lead_days":9,"vehicle":"Bus 1","depot":%q,"stock":4},
			{"part_number":"P 1","fleet":%q,"depot":"Moon","stock":4}]`, bus.Fleet, bus.Depot, bus.Fleet)},
		{name: "parts", path: "/parts", want: []string{`"part_number":"P 1"`, `"price":120.5`, `"fits":[{"make":"","model":"","vehicle":"Bus 1","axle":null}]`, `"quantity":4`}},
		{name: "parts needed", path: "/parts_needed?to=2026-04-30", want: []string{`"items":[`, `"low":`}},
		{name: "parts needed backwards", path: "/parts_needed?from=2026-04-30&to=2026-04-01", status: 400},
		{name: "book nothing", path: "/bookings", body: fmt.Sprintf(`{"vehicle_id":%d,"depot_id":%d,"day":"2026-03-09","axles":[]}`, bus.ID, bus.DepotID), status: 400},
		{name: "book no day", path: "/bookings", body: `{"axles":[1]}`, status: 400, want: []string{"day: missing"}},
		{name: "book a holiday", path: "/bookings", body: fmt.Sprintf(`{"vehicle_id":%d,"depot_id":%d,"day":"2026-03-10","axles":[1]}`, bus.ID, bus.DepotID), status: 409, want: []string{"closed on 10 Mar 2026"}},
		{name: "book", path: "/bookings", body: fmt.Sprintf(`{"vehicle_id":%d,"depot_id":%d,"day":"2026-03-09","starts":"09:00","axles":[1,2],"note":"key"}`, bus.ID, bus.DepotID), status: 201,
			want: []string{`"starts":"09:00"`, `"bay":1`, `"state":"booked","kept":true`, `"part_number":"P 1"`, `"what":"booked"`, `"from":null`}},
	})
	c.days(home, bus.ID, bus.DepotID)
	c.run([]call{
		{name: "absences as rows", path: "/absences", status: 201, want: []string{`"kind":"absences"`, `"accepted":2,"refused":1`, "no depot has this name"}, body: fmt.Sprintf(`[
			{"vehicle":"Bus 1","fleet":%q,"first_day":"2026-05-04","weekdays":"Mon, Tue","reason":"fair"},
			{"depot":%q,"first_day":"2026-05-04","technician_hours":4.5},
			{"depot":"Moon","first_day":"2026-05-04"}]`, bus.Fleet, bus.Depot)},
		{name: "planned visits as rows", path: "/planned_visits", status: 201, want: []string{`"kind":"planned_visits"`, `"accepted":2,"refused":1`, "fleet has no depot of this name"}, body: fmt.Sprintf(`[
			{"vehicle":"Bus 1","fleet":%q,"day":"2026-05-05","what":"statutory test"},
			{"vehicle":"Bus 1","fleet":%q,"day":"2026-05-06","what":"service","depot":%q},
			{"vehicle":"Bus 1","fleet":%q,"day":"2026-05-06","what":"service","depot":"Moon"}]`, bus.Fleet, bus.Fleet, bus.Depot, bus.Fleet)},
		{name: "visits of the rows", path: fmt.Sprintf("/vehicles/%d/days", bus.ID), want: []string{`"day":"2026-05-05","depot_id":null,"depot":"","what":"statutory test"`, `"day":"2026-05-06","depot_id":` + fmt.Sprint(bus.DepotID)}},
		{name: "days of the rows", path: fmt.Sprintf("/vehicles/%d/days", bus.ID), want: []string{`"first":"2026-05-04","last":null,"weekdays":["Monday","Tuesday"],"reason":"fair"`}},
		{name: "closures of the rows", path: home, want: []string{`"first":"2026-05-04","last":"2026-05-04","technician_hours":4.5`}},
	})
	var list List[Booking]
	c.get("/bookings", &list)
	if len(list.Items) != 1 {
		t.Fatalf("got %+v", list)
	}
	self := fmt.Sprintf("/bookings/%d", list.Items[0].ID)
	c.run([]call{
		{name: "due, booked", path: "/due?booked=true", want: []string{`"total":2`}},
		{name: "due, not booked", path: "/due?booked=false", want: []string{`"vehicle":"Van 3"`}, not: []string{`"total":6`}},
		{name: "due, booked or what", path: "/due?booked=perhaps", status: 400, want: []string{"want true or false"}},
		{name: "a day that is booked", path: home + "/days?from=2026-03-09&to=2026-03-09", want: []string{fmt.Sprintf(`"booked_hours":%g,`, list.Items[0].Hours)}},
		{name: "one booking", path: self, want: []string{`"vehicle":"Bus 1"`}},
		{name: "no such booking", path: "/bookings/999", status: 404},
		{name: "bookings of a state", path: "/bookings?state=done", want: []string{`{"items":[],"next":null}`}},
		{name: "bookings of none", path: "/bookings?state=eaten", status: 400},
		{name: "move", path: self + "/move", body: `{"day":"2026-03-11","why":"the driver asked"}`, want: []string{`"day":"2026-03-11"`, `"starts":"07:30"`, `"what":"moved","why":"the driver asked"`}},
		{name: "done too soon", path: self + "/done", body: `{}`, status: 400},
		{name: "missed", path: self + "/missed", body: `{"why":"snow"}`, want: []string{`"state":"missed"`}},
		{name: "missed again", path: self + "/withdrawn", body: `{}`, status: 409},
		{name: "another", path: "/bookings", body: fmt.Sprintf(`{"vehicle_id":%d,"depot_id":%d,"day":"2026-03-02","axles":[1]}`, other.ID, other.DepotID), status: 201},
	})
	c.get("/bookings", &list)
	c.run([]call{
		{name: "done", path: fmt.Sprintf("/bookings/%d/done", list.Items[0].ID), body: `{"odometer_km":90500}`, want: []string{`"state":"done"`}},
		{name: "a third", path: "/bookings", body: fmt.Sprintf(`{"vehicle_id":%d,"depot_id":%d,"day":"2026-03-12","axles":[1]}`, other.ID, other.DepotID), status: 201},
	})
	// Job cards, one of the booking that was done and one of none.
	work := []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads, Reason: "its set"}, {Axle: 1, Item: fleet.ItemRotors}}
	card, err := db.OpenCard(t.Context(), auth.AllFleets(), "M. M.", fleet.Card{VehicleID: bus.ID, DepotID: bus.DepotID, Day: fleet.DateOf(now), Work: work})
	if err != nil {
		t.Fatal(err)
	}
	var noted fleet.CardStep
	for _, s := range card.Steps {
		if len(s.Measures) > 0 && s.Measures[0].High != nil {
			noted = s
			break
		}
	}
	values := make([]float64, len(noted.Measures))
	for i := range values {
		values[i] = math.NaN()
	}
	values[0] = *noted.Measures[0].High + 1 // invented, and beyond what it is checked by
	if _, err := db.EnterStep(t.Context(), auth.AllFleets(), card.ID, noted.Seq, fleet.StepEntry{State: fleet.StepDone, Values: values, Note: "to be looked at", By: "K. K.", At: now, Key: "1"}); err != nil {
		t.Fatal(err)
	}
	for key, state := range []fleet.EntryState{fleet.StepTakenBack, fleet.StepDone} { // of another step
		if _, err := db.EnterStep(t.Context(), auth.AllFleets(), card.ID, 1, fleet.StepEntry{State: fleet.StepFailed, By: "K. K.", At: now, Key: fmt.Sprint("2 ", key)}); err != nil {
			t.Fatal(err)
		}
		if _, err := db.EnterStep(t.Context(), auth.AllFleets(), card.ID, 1, fleet.StepEntry{State: state, By: "L. L.", At: now, Key: fmt.Sprint("3 ", key)}); err != nil {
			t.Fatal(err)
		}
	}
	dropped, err := db.OpenCard(t.Context(), auth.AllFleets(), "M. M.", fleet.Card{VehicleID: other.ID, DepotID: other.DepotID, Day: fleet.DateOf(now), Work: work})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.CloseCard(t.Context(), auth.AllFleets(), "M. M.", dropped.ID, fleet.CardDropped, "it did not come"); err != nil {
		t.Fatal(err)
	}
	c.run([]call{
		{name: "cards", path: "/cards", want: []string{fmt.Sprintf(`{"items":[{"id":%d,`, dropped.ID), `"booking_id":null`, `"state":"dropped"`, `"note":"it did not come"`, `"next":null`}},
		{name: "cards a page at a time", path: "/cards?limit=1", want: []string{fmt.Sprintf(`"next":"%d"`, dropped.ID)}, not: []string{`"state":"open"`}},
		{name: "its second page", path: fmt.Sprintf("/cards?limit=1&cursor=%d", dropped.ID), want: []string{fmt.Sprintf(`{"items":[{"id":%d,`, card.ID)}},
		{name: "no such page", path: "/cards?cursor=last", status: 400},
		{name: "open cards of a vehicle", path: fmt.Sprintf("/cards?vehicle=%d&state=open", bus.ID), want: []string{`"opened_by":"M. M."`, `"closed_by":"","closed_at":null`}, not: []string{`"dropped"`}},
		{name: "cards of a depot that is none", path: "/cards?depot=999", want: []string{`{"items":[],"next":null}`}},
		{name: "cards of no state", path: "/cards?state=lost", status: 400, want: []string{"open, passed, not passed, dropped"}},
		{name: "a card", path: fmt.Sprintf("/cards/%d", card.ID), want: []string{
			`"steps":[{"seq":1,"section":"start","axle":null`, `"by":"L. L."`, `"earlier":2`, `"section":"disc","axle":1`, `"state":"done","note":"to be looked at","by":"K. K."`, `"faults":["` + noted.Measures[0].Name, `"open":["`, `"parts":[]`}},
		{name: "no such card", path: "/cards/999", status: 404},
		{name: "entries of no card", path: "/cards/999/entries", status: 404},
	})
	var entries List[CardEntry]
	c.get(fmt.Sprintf("/cards/%d/entries", card.ID), &entries)
	var said []string
	for _, e := range entries.Items {
		said = append(said, fmt.Sprintf("%d %s %s %v", e.Seq, e.State, e.By, e.Stands))
	}
	want := []string{fmt.Sprintf("%d done K. K. true", noted.Seq), "1 failed K. K. false", "1  L. L. false", "1 failed K. K. false", "1 done L. L. true"}
	if !slices.Equal(said, want) || *entries.Items[0].Values[0].Value != values[0] || entries.Items[0].Note != "to be looked at" {
		t.Errorf("got %q, %+v, want %q", said, entries.Items[0], want)
	}
	c.get("/bookings?from=2026-03-12", &list)
	c.do(call{path: fmt.Sprintf("/bookings/%d/withdrawn", list.Items[0].ID), body: `{"why":"sold"}`, want: []string{`"state":"withdrawn"`}})

	// A proposal, as the planner keeps it.
	visit := func(day fleet.Date) store.Visit {
		return store.Visit{VehicleID: bus.ID, Advice: store.AdviseBook, Slot: fleet.Slot{DepotID: bus.DepotID, Day: day, Bay: 1, Starts: 480, Minutes: 90}, Hours: 1.5,
			Work: []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads, Reason: "its set"}}}
	}
	p := store.Proposal{FleetID: bus.FleetID, By: "the clock", AsOf: fleet.DateOf(now), Until: fleet.DateOf(now) + 60, Risk: .05, Cost: 3, Bound: 2.9, Figures: store.Figures{Placed: 2},
		Visits: []store.Visit{visit(fleet.DateOf(now) + 16), visit(fleet.DateOf(now) + 17), {VehicleID: bus.ID, Advice: store.AdviseNothing, Slot: fleet.Slot{DepotID: bus.DepotID}, Work: []fleet.WorkItem{{Axle: 2, Item: fleet.ItemPads}}}}}
	if err := db.SaveProposal(t.Context(), auth.AllFleets(), &p, []int64{bus.DepotID}); err != nil {
		t.Fatal(err)
	}
	c.run([]call{
		{name: "proposals", path: "/proposals", want: []string{`"cost":3,"bound":2.9`, `"placed":2`}},
		{name: "visits", path: "/visits", want: []string{`"advice":"book"`, `"starts":"08:00"`, `"advice":"unplaced","booking_id":null,"day":null,"bay":null,"starts":null`}},
		{name: "decline nothing", path: "/visits/decline", body: `{"why":"no"}`, status: 400, want: []string{"ids: none was sent"}},
		{name: "decline for long", path: "/visits/decline", body: fmt.Sprintf(`{"ids":[%d],"why":%q}`, p.Visits[1].ID, strings.Repeat("x", fleet.MaxWords+1)), status: 400, want: []string{"longer than 200"}},
		{name: "decline one", path: "/visits/decline", body: fmt.Sprintf(`{"ids":[%d],"why":"hired out"}`, p.Visits[1].ID), status: http.StatusNoContent},
		{name: "and again", path: "/visits/decline", body: fmt.Sprintf(`{"ids":[%d],"why":"again"}`, p.Visits[1].ID), status: http.StatusNoContent},
		{name: "declined", path: "/visits?state=declined", want: []string{`"state":"declined","decided_by":"API","decided_why":"hired out"`}},
		{name: "reopen nothing", path: "/visits/reopen", body: `{}`, status: 400, want: []string{"ids: none was sent"}},
		{name: "reopen none of ours", path: "/visits/reopen", body: `{"ids":[999]}`, status: 404},
		{name: "reopen it", path: "/visits/reopen", body: fmt.Sprintf(`{"ids":[%d]}`, p.Visits[1].ID), status: http.StatusNoContent},
		{name: "it is open", path: "/visits", want: []string{fmt.Sprintf(`{"id":%d,`, p.Visits[1].ID)}},
		{name: "decline it after all", path: "/visits/decline", body: fmt.Sprintf(`{"ids":[%d]}`, p.Visits[1].ID), status: http.StatusNoContent},
		{name: "accept all that is left", path: "/visits/accept", body: `{}`, want: []string{`"vehicle":"Bus 1","booking_id":`, `"problem":""`}},
		{name: "accept it again", path: "/visits/accept", body: fmt.Sprintf(`{"ids":[%d]}`, p.Visits[0].ID), want: []string{`"booking_id":null,"problem":"API accepted the visit`}},
		{name: "propose", path: "/proposals", body: `{"days":30}`, status: 201, want: []string{`"fleet":"Ferry Lines","by":"API"`, `"until":"2026-04-01"`}},
		{name: "propose too far", path: "/proposals", body: `{"days":1000}`, status: 400, want: []string{"want 1 to 366"}},
		{name: "accepted visits", path: "/visits?state=accepted", want: []string{`"state":"accepted"`}},
	})
}

// workshopBody is a workshop with so many bays.
func (c *client) workshopBody(bays int) string {
	day := `{"opens":"07:30","closes":"16:00","technician_hours":8},`
	return fmt.Sprintf(`{"time_zone":"Atlantic/Azores","bays":%d,"week":[%s{"opens":null,"closes":null,"technician_hours":0},{"opens":null,"closes":null,"technician_hours":0}],
		"overtime_hours":0,"task_hours":{"pads":{"light":1,"heavy":2}},"currency":"KR","labour_rate":80,"overtime_rate":100,"visit_cost":100,
		"set_price":{"light":60,"heavy":200},"past_limit_cost":{"light":400,"heavy":800},"fluid_months":24}`, bays, day+day+day+day+day)
}

// TestWorkshopRoundTrip: what the API gives can be sent back.
func TestWorkshopRoundTrip(t *testing.T) {
	w := store.DepotWorkshop{Workshop: fleet.DefaultWorkshop()}
	out := workshopOf(&w)
	got := fleet.DefaultWorkshop()
	got.Bays, got.Week[0] = 9, fleet.WorkDay{}
	if err := out.WorkshopData.workshop(&got); err != nil || got.Bays != 1 || got.Week[0] != w.Workshop.Week[0] {
		t.Errorf("got %+v, %v", got, err)
	}
}
