package dashboard

import (
	"encoding/csv"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// renewedReadings is Bus 2 whose pads were renewed with no fitment recorded,
// and whose left inner pad then wore faster than the outer. Invented.
const renewedReadings = `vehicle,date,odometer_km,axle,part,side,face,value_mm
Bus 2,2025-03-01,100000,1,pad,left,inner,8.1
Bus 2,2025-03-01,100000,1,pad,left,outer,8.3
Bus 2,2025-06-01,110000,1,pad,left,inner,6.1
Bus 2,2025-06-01,110000,1,pad,left,outer,6.3
Bus 2,2025-09-01,120000,1,pad,left,inner,17.9
Bus 2,2025-09-01,120000,1,pad,left,outer,18.8
Bus 2,2025-12-01,130000,1,pad,left,inner,14.9
Bus 2,2025-12-01,130000,1,pad,left,outer,17.1
Bus 2,2026-02-20,139000,1,pad,left,inner,11.6
Bus 2,2026-02-20,139000,1,pad,left,outer,15.4
`

// told is the small world with something to look at on Bus 2.
func told(t *testing.T) *world {
	t.Helper()
	w := small(t)
	w.takeIn(t, "more.csv", renewedReadings)
	return w
}

// findingOf returns the first finding of a kind, whatever its state.
func (w *world) findingOf(t *testing.T, k fleet.FindingKind) store.FindingRow {
	t.Helper()
	page, err := w.svc.DB.Findings(t.Context(), auth.AllFleets(), store.FindingQuery{Kind: k})
	if err != nil {
		t.Fatal(err)
	}
	if len(page.Rows) == 0 {
		t.Fatalf("no finding of kind %s", k)
	}
	return page.Rows[0]
}

func (w *world) findingPath(t *testing.T, k fleet.FindingKind) string {
	t.Helper()
	return fmt.Sprintf("/findings/%d", w.findingOf(t, k).ID)
}

// readingPath is the page that corrects the last reading of a vehicle.
func (w *world) readingPath(t *testing.T, vehiclePath string) string {
	t.Helper()
	var id int64
	if _, err := fmt.Sscanf(vehiclePath, "/vehicles/%d", &id); err != nil {
		t.Fatal(err)
	}
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), id)
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("/corrections/reading/%d", h.Readings[len(h.Readings)-1].ID)
}

func TestFindingPages(t *testing.T) {
	w := told(t)
	bus := w.vehiclePath(t, "Bus 2")
	uneven := w.findingPath(t, fleet.UnevenPads)
	for _, c := range []struct {
		name   string
		path   string
		status int
		has    []has
	}{
		{"list", "/findings", 200, []has{
			{"h1", "things to look at, the most pressing first"},
			{".finding h2", "Uneven pads"},
			{".finding", "Axle 1 left: inner pad 11.6 mm, outer pad 15.4 mm on 20 Feb 2026, 3.8 mm apart"},
			{".finding .advice", "slide pins"},
			{".finding .when", "WP-15"},
			{"footer.cautions", "licensed technician"},
		}},
		{"of a kind", "/findings?kind=part_change", 200, []has{{"h1", "1 thing to look at"}, {".finding .to-do a", "Confirm or refuse"}}},
		{"of a depot without any", "/findings?depot=1&kind=uneven_pads", 200, []has{{"h1", "Nothing to look at"}, {".empty", "does not mean that a brake is in order"}}},
		{"looked at", "/findings?state=looked-at", 200, []has{{"h1", "0 findings looked at"}}},
		{"no such kind", "/findings?kind=colour", 400, []has{{"main", "want one of"}}},
		{"no such state", "/findings?state=new", 400, []has{{"main", "looked-at, gone or all"}}},
		{"bad cursor", "/findings?after=x", 400, []has{{"main", "not one of ours"}}},
		{"vehicle", bus, 200, []has{{"#findings h2", "things to look at"}, {"#findings .finding", "3.8 mm apart"}, {"#axle-1 td a[href]", "11.6"}}},
		{"due", "/", 200, []has{{".head a[href=/findings]", "to look at"}}},
		{"readings", "/readings", 200, []has{{".head a[href=/findings]", "to look at"}}},
		{"one", uneven, 200, []has{{"h1", "Uneven pads"}, {"form button[value=note]", "*"}, {"form button[value=confirm]", ""}}},
		{"a suggestion", w.findingPath(t, fleet.PartChange), 200, []has{
			{"form h2", "New left pads, axle 1?"}, {"form button[value=confirm]", "*"}, {"form button[value=refuse]", "*"}, {"input[name=date]", "*"},
		}},
		{"none such", "/findings/999", 404, []has{{"h1", "Not found"}}},
		{"a reading", w.readingPath(t, bus), 200, []has{
			{"h1", "Reading: axle 1 left outer pad"}, {".facts-list", "15.4 mm"}, {"input[name=value_mm]", "*"},
			{"form", "change them for its 1 other reading too"}, {"button[value=set-aside]", "*"},
		}},
		{"no such reading", "/corrections/reading/999", 404, []has{{"h1", "Not found"}}},
		{"no such kind of record", "/corrections/plan/1", 400, []has{{"main", "want one of"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := w.get(c.path)
			if rec.Code != c.status {
				t.Fatalf("got status %d, want %d: %s", rec.Code, c.status, rec.Body)
			}
			check(t, parse(t, rec.Body.String()), c.has)
		})
	}
}

// TestFindingsWithoutReadings: the list of a fleet of brake tests only can still be
// narrowed, and narrowed again when nothing fits.
func TestFindingsWithoutReadings(t *testing.T) {
	w := empty(t)
	w.takeIn(t, "vehicles.csv", smallVehicles)
	check(t, parse(t, w.get("/findings").Body.String()), []has{{".empty", "No readings yet"}, {"form.filter", ""}})
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"eu"}})
	// 4 m/s² is 40.8 % of g; a bus has to reach 50 % (EU-04 of the rule set).
	w.takeIn(t, "tests.csv", "vehicle,date,method,mean_m_s2,peak_m_s2\nBus 1,2026-02-27,decelerometer,4,5\n")
	for path, h1 := range map[string]string{"/findings": "to look at", "/findings?state=looked-at": "0 findings looked at", "/findings?kind=uneven_pads": "Nothing to look at"} {
		check(t, parse(t, w.get(path).Body.String()), []has{{"h1", h1}, {"form.filter a[download]", "CSV"}})
	}
	check(t, parse(t, w.get("/findings?state=looked-at").Body.String()), []has{{".empty", "Nothing of what was chosen"}})
}

// The record in doubt is corrected by who may do so where its vehicle belongs.
func TestFindingOffersToCorrect(t *testing.T) {
	w := told(t)
	bus := w.vehicleID(t, "Bus 2") // of Hill
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), bus)
	if err != nil {
		t.Fatal(err)
	}
	last := h.Readings[len(h.Readings)-1]
	err = w.svc.DB.TakeIn(t.Context(), auth.AllFleets(), &fleet.Upload{Kind: "readings", By: "N. N."}, func(w *store.Writer) error {
		_, err := w.Odometers([]fleet.Odometer{{VehicleID: bus, Date: last.Date - 5, Km: 12_000}}) // ran back, invented
		return err
	})
	if err == nil {
		_, err = w.svc.Refit(t.Context(), auth.AllFleets(), []int64{bus}, fleet.DateOf(now))
	}
	if err != nil {
		t.Fatal(err)
	}
	r := w.findingOf(t, fleet.OdometerBack)
	if r.FleetID != h.Vehicle.FleetID || r.DepotID != h.Vehicle.DepotID || r.Record.ID == 0 {
		t.Fatalf("got %+v", r)
	}
	other, err := w.svc.DB.History(t.Context(), auth.AllFleets(), w.vehicleID(t, "Bus 1"))
	if err != nil {
		t.Fatal(err)
	}
	see := auth.Grant{Role: auth.Planner, FleetID: r.FleetID} // sees all of it, and corrects nothing
	for _, c := range []struct {
		name  string
		depot int64
		want  string
	}{{"its-depots", r.DepotID, "*"}, {"anothers", other.Vehicle.DepotID, ""}} {
		session, err := storetest.SignIn(t.Context(), w.svc.DB, c.name+"-technician", see, auth.Grant{Role: auth.Technician, FleetID: r.FleetID, DepotID: c.depot})
		if err != nil {
			t.Fatal(err)
		}
		rec := w.as(session, "GET", fmt.Sprintf("/findings/%d", r.ID), nil)
		if rec.Code != 200 {
			t.Fatalf("%s: got %d: %s", c.name, rec.Code, rec.Body)
		}
		check(t, parse(t, rec.Body.String()), []has{{"a[href=" + correctionPath(r.Record) + "]", c.want}})
	}
}

// Every kind has words for people.
func TestFindingWords(t *testing.T) {
	for _, k := range fleet.FindingKinds() {
		if findingTitle(k) == string(k) || urgencyWords[k.Urgency()] == "" {
			t.Errorf("%s has no words", k)
		}
	}
}

func TestAnswerFindings(t *testing.T) {
	w := told(t)
	bus := w.vehiclePath(t, "Bus 2")
	uneven := w.findingPath(t, fleet.UnevenPads)

	rec := w.submit(uneven, url.Values{"act": {"note"}, "by": {"N. <b>N.</b>"}})
	if doc := parse(t, rec.Body.String()); rec.Code != 400 {
		t.Errorf("without words: got %d", rec.Code)
	} else {
		check(t, doc, []has{{".fault", "say why"}})
		if in := find(doc, "input[name=by]"); len(in) != 1 || attr(in[0], "value") != "N. <b>N.</b>" {
			t.Error("what was typed is gone")
		}
	}
	if rec := w.submit(uneven, url.Values{"act": {"burn"}, "by": {"N."}, "why": {"x"}}); rec.Code != 400 {
		t.Errorf("unknown act: got %d", rec.Code)
	}
	rec = w.submit(uneven, url.Values{"act": {"note"}, "by": {"N. N."}, "why": {"pins freed"}})
	if to := rec.Header().Get("Location"); rec.Code != 303 || to != bus+"?done=note#findings" {
		t.Fatalf("got %d to %q: %s", rec.Code, to, rec.Body)
	}
	check(t, parse(t, w.get(bus+"?done=note").Body.String()), []has{
		{".notice", "Kept that it was looked at"}, {"#findings details .finding", "Looked at by N. N. on 2 Mar 2026: pins freed"},
	})
	// Somebody else had the page open, and is told.
	rec = w.submit(uneven, url.Values{"act": {"note"}, "by": {"O. O."}, "why": {"me too"}})
	if rec.Code != 409 {
		t.Errorf("a second note: got %d, want 409", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{{".fault", "was looked at by N. N."}, {".notice", "pins freed"}, {"main form", ""}})

	change := w.findingPath(t, fleet.PartChange)
	rec = w.submit(change, url.Values{"act": {"confirm"}, "by": {"N. N."}, "date": {"2025-12-24"}, "odometer_km": {"115000"}})
	if rec.Code != 400 {
		t.Errorf("a day outside: got %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{{".fault", "from 1 Jun 2025 to 1 Sep 2025"}})
	rec = w.submit(change, url.Values{"act": {"confirm"}, "by": {"N. N."}, "date": {"2025-06-02"}, "odometer_km": {"110100"}})
	if rec.Code != 303 {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get(bus).Body.String()), []has{
		{"#axle-1 tr.fitted td", "new left pad"}, {"#findings details .finding", "Fitment confirmed by N. N."},
	})
}

func TestRefuseFitmentOnPage(t *testing.T) {
	w := told(t)
	change := w.findingPath(t, fleet.PartChange)
	rec := w.submit(change, url.Values{"act": {"refuse"}, "by": {"N. N."}})
	if rec.Code != 303 {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get(w.vehiclePath(t, "Bus 2")).Body.String()), []has{
		{"#findings details .finding", "Refused: nothing was fitted by N. N."},
	})
}

func TestCorrectOnPage(t *testing.T) {
	w := told(t)
	bus := w.vehiclePath(t, "Bus 2")
	page := w.readingPath(t, bus) // left outer, 15.4 mm on 20 Feb 2026 at 139,000 km
	form := func(more ...string) url.Values {
		v := url.Values{"act": {"correct"}, "value_mm": {"15.4"}, "date": {"2026-02-20"}, "odometer_km": {"139000"}, "side": {"left"}, "face": {"outer"}, "by": {"N. N."}, "why": {"misread"}}
		for i := 0; i < len(more); i += 2 {
			v.Set(more[i], more[i+1])
		}
		return v
	}
	for _, c := range []struct {
		name  string
		form  url.Values
		fault string
	}{
		{"nothing changed", form(), "nothing is changed"},
		{"no reason", form("value_mm", "13,9", "why", ""), "say why"},
		{"no number", form("value_mm", "thick"), "cannot be read: write mm in digits"},
		{"no value", form("value_mm", ""), "set the reading aside"},
		{"a day to come", form("date", "2027-01-01"), "lies after today"},
		{"below nothing", form("value_mm", "-1"), "no brake part measures that"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := w.submit(page, c.form)
			if rec.Code != 400 {
				t.Fatalf("got %d: %s", rec.Code, rec.Body)
			}
			doc := parse(t, rec.Body.String())
			if !strings.Contains(text(find(doc, "main")[0]), c.fault) {
				t.Errorf("got %q, want %q in it", text(find(doc, "main")[0]), c.fault)
			}
			if in := find(doc, "input[name=value_mm]"); len(in) != 1 || attr(in[0], "value") != c.form.Get("value_mm") {
				t.Error("what was typed is gone")
			}
		})
	}
	// What is unlikely is asked about once, and being sure of it is of that value.
	rec := w.submit(page, form("value_mm", "12,4"))
	doc := parse(t, rec.Body.String())
	check(t, doc, []has{{".fault", "0.4 mm below what is likely here"}, {"input[name=sure]", "*"}})
	if got := attr(find(doc, "input[name=value_mm]")[0], "value"); rec.Code != 409 || got != "12,4" {
		t.Fatalf("an unlikely value: got %d and %q in the form", rec.Code, got)
	}
	sure := attr(find(doc, "input[name=sure]")[0], "value")
	for _, f := range []url.Values{form("value_mm", "12,3", "sure", sure), form("value_mm", "12,4", "odometer_km", "39000", "sure", sure)} {
		if rec := w.submit(page, f); rec.Code != 409 {
			t.Errorf("sure of another value than %q at %q: got %d, want 409", f.Get("value_mm"), f.Get("odometer_km"), rec.Code)
		}
	}
	rec = w.submit(page, form("value_mm", "12,4", "sure", sure))
	if to := rec.Header().Get("Location"); rec.Code != 303 || to != bus+"?done=correct#corrections" {
		t.Fatalf("got %d to %q: %s", rec.Code, to, rec.Body)
	}
	check(t, parse(t, w.get(bus+"?done=correct").Body.String()), []has{
		{".notice", "Corrected. The old value stays"},
		{"#axle-1 td del a", "15.4"},
		{"#axle-1 td a", "12.4"},
		{"#corrections li", "Axle 1 left outer pad, 15.4 mm on 20 Feb 2026 at 139,000 km; corrected to axle 1 left outer pad, 12.4 mm"},
		{"#findings .finding", "No longer seen"}, // the pads are not uneven any more
	})
	check(t, parse(t, w.get(page).Body.String()), []has{{".notice", "Corrected by N. N. on 2 Mar 2026: misread"}, {".notice a", "What stands instead"}, {"main form", ""}})
	rec = w.submit(page, form("value_mm", "11"))
	if rec.Code != 409 {
		t.Errorf("once more: got %d, want 409", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{{".fault", "was corrected by N. N."}})

	stands := w.readingPath(t, bus)
	up := find(parse(t, w.get(stands).Body.String()), "main .soft a")
	check(t, parse(t, w.get(attr(up[0], "href")).Body.String()), []has{{"h1", "Correction of reading"}, {"p.soft", "A correction from N. N."}})
	if rec := w.submit(stands, url.Values{"act": {"set-aside"}, "by": {"N. N."}, "why": {"another bus"}}); rec.Code != 303 {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get(stands).Body.String()), []has{{".notice", "Set aside by N. N."}, {"button[value=undo]", "*"}, {"button[value=correct]", ""}, {"main", "Stands instead of reading"}})
	if rec := w.submit(stands, url.Values{"act": {"undo"}, "by": {"N. N."}, "why": {"it was this one"}}); rec.Code != 303 {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get(bus).Body.String()), []has{{"#corrections li", "counts again by N. N.: it was this one"}, {"#axle-1 td a", "12.4"}})
}

// No cell of the export is taken for a formula.
func TestFindingsCSV(t *testing.T) {
	w := told(t)
	w.takeIn(t, "van.csv", `vehicle,date,odometer_km,axle,part,side,face,value_mm
=Van <b>3</b>,2026-02-10,40500,1,pad,right,inner,8.2
=Van <b>3</b>,2026-02-10,40500,1,pad,right,outer,1.9
`)
	rec := w.get("/findings.csv?kind=uneven_pads")
	if rec.Code != 200 || !strings.HasPrefix(rec.Header().Get("Content-Type"), "text/csv") {
		t.Fatalf("got %d %s", rec.Code, rec.Header())
	}
	rows, err := csv.NewReader(rec.Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 3 {
		t.Fatalf("got %d rows, want the head and two: %q", len(rows), rows)
	}
	seen := false
	for _, row := range rows[1:] {
		for _, cell := range row {
			if cell != "" && strings.ContainsRune("=+-@", rune(cell[0])) {
				t.Errorf("a formula: %q", cell)
			}
			seen = seen || strings.Contains(cell, "=Van <b>3</b>")
		}
	}
	if !seen {
		t.Errorf("the van is not there: %q", rows)
	}
}

// A wrong tick of an inspection is set aside on its page: its finding goes, the
// vehicle's page shows it struck, and it may count again.
func TestTickSetAside(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	var id int64
	if _, err := fmt.Sscanf(bus, "/vehicles/%d", &id); err != nil {
		t.Fatal(err)
	}
	at := fleet.Condition{VehicleID: id, Axle: 1, Side: fleet.Left, Kind: fleet.Cracked, Date: fleet.DateOf(now)}
	err := w.svc.DB.TakeIn(t.Context(), auth.AllFleets(), &fleet.Upload{Kind: "readings", By: "N. N."}, func(w *store.Writer) error {
		_, err := w.Conditions([]fleet.Condition{at, {VehicleID: id, Kind: fleet.Noted, Note: "a pin is stiff", Date: at.Date}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.svc.Refit(t.Context(), auth.AllFleets(), []int64{id}, fleet.DateOf(now)); err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, w.get(bus).Body.String()), []has{
		{"#findings .finding", "cracked"}, {"#axle-1 td a[href^='/corrections/condition/']", "left: cracked"},
		{"ul.basis a[href^='/corrections/condition/']", "a pin is stiff"},
	})
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), id)
	if err != nil {
		t.Fatal(err)
	}
	tick := h.Conditions[slices.IndexFunc(h.Conditions, func(c fleet.Condition) bool { return c.Kind == fleet.Cracked })]
	page := fmt.Sprintf("/corrections/condition/%d", tick.ID)
	check(t, parse(t, w.get(page).Body.String()), []has{
		{"h1", "Seen: axle 1"}, {".facts-list", "left: cracked"}, {"button[value=set-aside]", "*"}, {"button[value=correct]", ""},
		{"footer.cautions", "*"},
	})
	if rec := w.submit(page, url.Values{"act": {"set-aside"}, "by": {"N. N."}}); rec.Code != 400 {
		t.Errorf("without a reason: got %d", rec.Code)
	}
	if rec := w.submit(page, url.Values{"act": {"correct"}, "why": {"x"}, "by": {"N. N."}}); rec.Code != 400 {
		t.Errorf("corrected: got %d", rec.Code)
	}
	_, body := w.follow(t, page, url.Values{"act": {"set-aside"}, "why": {"it was dirt"}, "by": {"N. N."}})
	check(t, parse(t, body), []has{
		{"#axle-1 del.was", "left: cracked"}, {"#corrections", "Axle 1, left: cracked"}, {"#corrections", "it was dirt"},
	})
	if strings.Contains(text(parse(t, body)), "crack through or to the edge") {
		t.Error("the finding stands without its tick")
	}
	_, body = w.follow(t, page, url.Values{"act": {"undo"}, "why": {"no dirt"}, "by": {"N. N."}})
	check(t, parse(t, body), []has{{"#axle-1 td a[href^='/corrections/condition/']", "left: cracked"}, {"#axle-1 del.was", ""}})
}

// Readings entered for the wrong axle are moved from the page of one of them, or two
// axles swapped; what cannot be leads back to the form as it was typed.
func TestWrongAxle(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	reading := w.readingPath(t, bus)
	page := reading + "/axle"
	check(t, parse(t, w.get(reading).Body.String()), []has{{"a[href=" + page + "]", "wrong axle or vehicle"}})
	check(t, parse(t, w.get(page).Body.String()), []has{
		{"h1", "Recorded for axle"}, {"form button[value=swap]", "*"}, {"input[name=axle]", "*"}, {"footer.cautions", "*"},
	})
	for _, c := range []struct {
		name   string
		form   url.Values
		status int
		has    has
	}{
		{"no axle", url.Values{"act": {"move"}, "why": {"typed \"wrong\""}, "by": {"N. N."}}, 400, has{".wrong", "number of the axle"}},
		{"no reason", url.Values{"act": {"move"}, "axle": {"2"}, "by": {"N. N."}}, 400, has{".fault", "say why"}},
		{"no such axle", url.Values{"act": {"move"}, "axle": {"9"}, "why": {"x"}, "by": {"N. N."}}, 400, has{".fault", "none known"}},
		{"no such vehicle", url.Values{"act": {"move"}, "axle": {"1"}, "vehicle": {"Bus 99"}, "why": {"x"}, "by": {"N. N."}}, 400, has{".wrong", "none of this number"}},
		{"swapped with another vehicle", url.Values{"act": {"swap"}, "axle": {"1"}, "vehicle": {"Bus 2"}, "why": {"x"}, "by": {"N. N."}}, 400, has{".fault", "one vehicle"}},
		{"neither", url.Values{"act": {"drop"}, "axle": {"1"}}, 400, has{"main", "want move or swap"}},
	} {
		rec := w.submit(page, c.form)
		if rec.Code != c.status {
			t.Errorf("%s: got status %d, want %d", c.name, rec.Code, c.status)
		}
		check(t, parse(t, rec.Body.String()), []has{c.has})
	}
	to, _ := w.follow(t, page, url.Values{"act": {"move"}, "axle": {"1"}, "why": {"sheet upside down"}, "by": {"N. N."}})
	to, _, _ = strings.Cut(to, "#") // as a browser asks for it
	check(t, parse(t, w.get(to).Body.String()), []has{{".notice", "Moved."}, {"#corrections", "corrected to axle 1"}, {"#corrections", "sheet upside down"}})
	if rec := w.get(page); rec.Code != 409 {
		t.Errorf("once moved: got status %d, want 409", rec.Code)
	}
	for path, status := range map[string]int{"/corrections/reading/999/axle": 404, "/corrections/fitment/1/axle": 404} {
		if rec := w.get(path); rec.Code != status {
			t.Errorf("%s: got status %d, want %d", path, rec.Code, status)
		}
	}
}
