package api

import (
	"strconv"

	"brakewear/internal/fleet"
)

// renewed is Bus 7 whose pads were renewed twice with no fitment recorded, and
// whose left inner pad then wore faster than the outer. Invented.
const renewed = `[
	{"vehicle":"Bus 7","date":"2024-09-01","odometer_km":80000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":6.0},
	{"vehicle":"Bus 7","date":"2024-09-01","odometer_km":80000,"axle":1,"part":"pad","side":"left","face":"outer","value_mm":6.2},
	{"vehicle":"Bus 7","date":"2024-12-01","odometer_km":90000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":18.0},
	{"vehicle":"Bus 7","date":"2024-12-01","odometer_km":90000,"axle":1,"part":"pad","side":"left","face":"outer","value_mm":18.2},
	{"vehicle":"Bus 7","date":"2025-04-01","odometer_km":105000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":15.1},
	{"vehicle":"Bus 7","date":"2025-04-01","odometer_km":105000,"axle":1,"part":"pad","side":"left","face":"outer","value_mm":15.3},
	{"vehicle":"Bus 7","date":"2025-06-01","odometer_km":115000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":13.1},
	{"vehicle":"Bus 7","date":"2025-06-01","odometer_km":115000,"axle":1,"part":"pad","side":"left","face":"outer","value_mm":13.3},
	{"vehicle":"Bus 7","date":"2025-09-01","odometer_km":125000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":17.9},
	{"vehicle":"Bus 7","date":"2025-09-01","odometer_km":125000,"axle":1,"part":"pad","side":"left","face":"outer","value_mm":18.8},
	{"vehicle":"Bus 7","date":"2025-12-01","odometer_km":135000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":14.9},
	{"vehicle":"Bus 7","date":"2025-12-01","odometer_km":135000,"axle":1,"part":"pad","side":"left","face":"outer","value_mm":17.1},
	{"vehicle":"Bus 7","date":"2026-02-20","odometer_km":144000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":11.6},
	{"vehicle":"Bus 7","date":"2026-02-20","odometer_km":144000,"axle":1,"part":"pad","side":"left","face":"outer","value_mm":15.4}
]`

// findings looks at what Bus 7 shows, answers it and corrects its records.
func (c *client) findings() {
	c.run([]call{
		{name: "vehicle", path: "/vehicles", body: `[{"vehicle":"Bus 7","fleet":"Ferry Lines","depot":"Hill","category":"M3"}]`, status: 201},
		{name: "axle", path: "/axles", body: `[{"vehicle":"Bus 7","axle":1,"brake":"disc","pad_new_mm":20,"pad_limit_mm":3}]`, status: 201},
		{name: "odometer", path: "/odometer", body: `[{"vehicle":"Bus 7","date":"2026-01-05","odometer_km":139000}]`, status: 201},
		{name: "fitment", path: "/fitments", body: `[{"vehicle":"Bus 7","date":"2023-06-01","odometer_km":20000,"axle":1,"part":"pad","value_mm":null}]`, status: 201},
		{name: "readings", path: "/readings", body: renewed, status: 201},
	})
	var found Page[VehicleItem]
	c.get("/vehicles?q=bus+7", &found)
	id := strconv.FormatInt(found.Items[0].ID, 10)

	var fs Page[Finding]
	c.get("/findings?state=open&vehicle="+id, &fs)
	of := map[fleet.FindingKind][]Finding{}
	for _, f := range fs.Items {
		of[f.Kind] = append(of[f.Kind], f)
	}
	if len(of[fleet.UnevenPads]) != 1 || len(of[fleet.PartChange]) != 2 || *fs.Total != len(fs.Items) {
		c.t.Fatalf("got %+v, want uneven pads and two changes of parts", fs.Items)
	}
	uneven := "/findings/" + strconv.FormatInt(of[fleet.UnevenPads][0].ID, 10)
	change := "/findings/" + strconv.FormatInt(of[fleet.PartChange][0].ID, 10)
	other := "/findings/" + strconv.FormatInt(of[fleet.PartChange][1].ID, 10)
	c.run([]call{
		{name: "one", path: uneven, want: []string{`"kind":"uneven_pads","urgency":2,"axle":1`, `3.8 mm apart`, `"source":"WP-15"`, `"state":"open"`, `"note":null`}},
		{name: "none such", path: "/findings/999", status: 404},
		{name: "of a kind", path: "/findings?kind=uneven_pads&limit=1", want: []string{`"kind":"uneven_pads"`}},
		{name: "faults", path: "/findings?kind=rust&state=new&color=1", status: 400, want: []string{`{"parameter":"color","detail":"no such parameter`, `{"parameter":"kind","read":"rust","detail":"want one of past_stamped_limit`, `{"parameter":"state","read":"new"`}},
		{name: "a cursor that is none", path: "/findings?cursor=x", status: 400},
		{name: "no words", path: uneven + "/notes", body: `{"by":"N. N."}`, status: 400, want: []string{"say why"}},
		{name: "a word it does not know", path: uneven + "/notes", body: `{"note":"x"}`, status: 400},
		{name: "noted", path: uneven + "/notes", body: `{"why":"pins freed","by":"N. N."}`, status: 201, want: []string{`"state":"looked at"`, `"note":{"why":"pins freed","by":"N. N.","at":"2026-03-02T09:00:00Z"}`}},
		{name: "noted by another", path: uneven + "/notes", body: `{"why":"me too"}`, status: 409, want: []string{"was looked at by N. N."}},
		{name: "a suggestion", path: change, want: []string{`"suggested":{"after":"2024-09-01","before":"2024-12-01","date":"2024-`, `"answer":""`}},
		{name: "a day outside", path: change + "/fitment", body: `{"date":"2026-01-01"}`, status: 400, want: []string{"from 1 Sep 2024 to 1 Dec 2024"}},
		{name: "confirmed", path: change + "/fitment", body: `{"date":"2024-09-03","odometer_km":80200,"why":"job sheet 12"}`, status: 201, want: []string{`"answer":"confirmed"`, `"state":"no longer seen"`, `"by":"API"`}},
		{name: "no suggestion", path: uneven + "/refusal", body: `{}`, status: 409},
		{name: "refused", path: other + "/refusal", body: `{}`, status: 201, want: []string{`"answer":"refused"`, `"why":"nothing was fitted"`}},
		{name: "and not again", path: "/findings?kind=part_change&state=open&vehicle=" + id, want: []string{`"items":[]`}},
	})

	var h History
	c.get("/vehicles/"+id+"/history", &h)
	if len(h.Fitments) != 2 {
		c.t.Fatalf("got fitments %+v, want the one confirmed too", h.Fitments)
	}
	last := "/readings/" + strconv.FormatInt(h.Readings[len(h.Readings)-1].ID, 10) + "/corrections"
	odo := "/odometer/" + strconv.FormatInt(h.Odometer[0].ID, 10) + "/corrections"
	fit := "/fitments/" + strconv.FormatInt(h.Fitments[0].ID, 10) + "/corrections"
	c.run([]call{
		{name: "no reason", path: last, body: `{"value_mm":13.9}`, status: 400, want: []string{"say why"}},
		{name: "no value", path: last, body: `{"value_mm":"thick","why":"misread"}`, status: 422, want: []string{`{"column":"value_mm","read":"thick"`}},
		{name: "no such act", path: last, body: `{"act":"burn","why":"misread"}`, status: 400, want: []string{`act \"burn\": want`}},
		{name: "a value of what is set aside", path: last, body: `{"act":"set aside","value_mm":3,"why":"misread"}`, status: 400, want: []string{"only for a correction"}},
		{name: "no such place", path: last, body: `{"part":"lining","face":"","why":"misread"}`, status: 400, want: []string{"disc brake, which has no lining"}},
		{name: "no such reading", path: "/readings/9999/corrections", body: `{"value_mm":3,"why":"misread"}`, status: 404},
		{name: "unlikely", path: last, body: `{"value_mm":29.5,"odometer_km":1441000,"why":"misread"}`, status: 422,
			want: []string{"nothing was changed", `{"column":"odometer_km","detail":"`, `further than this vehicle drives`, `{"column":"value_mm","read":"29.5","detail":"29.5 mm is more than a new one has`, `set \"confirmed\"`}},
		{name: "a likely day of what is set aside", path: last, body: `{"act":"set aside","confirmed":true,"why":"misread"}`, status: 400, want: []string{"only for a correction"}},
		{name: "corrected", path: last, body: `{"value_mm":"9/16 in","odometer_km":144100,"whole_visit":true,"why":"misread","by":"N. N."}`, status: 201,
			want: []string{`"record":"reading"`, `"act":"corrected"`, `"why":"misread","by":"N. N."`}},
		{name: "by another", path: last, body: `{"value_mm":13.9,"why":"misread"}`, status: 409, want: []string{"was corrected by N. N. on 2026-03-02 (misread)"}},
		{name: "an odometer that was none", path: odo, body: `{"act":"set aside","why":"another bus"}`, status: 201, want: []string{`"record":"odometer"`, `"act":"set aside","stands_id":null`}},
		{name: "it was", path: odo, body: `{"act":"undone","why":"it was this one"}`, status: 201, want: []string{`"act":"undone"`}},
		{name: "an unlikely odometer", path: odo, body: `{"odometer_km":1390000,"why":"a digit more"}`, status: 422, want: []string{`{"column":"odometer_km"`}, not: []string{"value_mm"}},
		{name: "its fitment", path: fit, body: `{"odometer_km":null,"side":"left","why":"not read"}`, status: 201, want: []string{`"record":"fitment"`}},
		{name: "what was done", path: "/vehicles/" + id + "/corrections", want: []string{`"act":"undone"`, `"why":"misread"`}},
		{name: "of no vehicle", path: "/vehicles/9999/corrections", status: 404},
		{name: "history", path: "/vehicles/" + id + "/history", want: []string{`"value_mm":14.2875`, `"given":"9/16","unit":"in"`, `"aside":null`}, not: []string{`"value_mm":15.4,`, `"aside":{`}}, // 25.4 mm to the inch
		{name: "history with all", path: "/vehicles/" + id + "/history?set_aside=true", want: []string{`"value_mm":15.4,`, `"aside":{"why":"misread","by":"N. N.","at":"2026-03-02T09:00:00Z","stands_id":`}},
		{name: "history with what", path: "/vehicles/" + id + "/history?set_aside=maybe", status: 400},
	})
	var after History
	c.get("/vehicles/"+id+"/history", &after)
	moved := 0
	for _, r := range after.Readings {
		if r.OdometerKm != nil && *r.OdometerKm == 144100 {
			moved++
		}
	}
	if moved != 2 || len(after.Readings) != len(h.Readings) {
		c.t.Errorf("got %d of %d readings at the corrected odometer, want the 2 of the visit", moved, len(after.Readings))
	}
}
