package dashboard

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/store/storetest"
	"brakewear/internal/units"
)

// follow submits a form and returns the page it leads to.
func (w *world) follow(t *testing.T, path string, form url.Values) (to, body string) {
	t.Helper()
	rec := w.submit(path, form)
	if rec.Code != http.StatusSeeOther {
		t.Fatalf("%s: got status %d: %s", path, rec.Code, text(parse(t, rec.Body.String())))
	}
	to = rec.Header().Get("Location")
	got := w.get(to)
	if got.Code != http.StatusOK {
		t.Fatalf("%s: got status %d", to, got.Code)
	}
	return to, got.Body.String()
}

func with(form url.Values, pairs ...string) url.Values {
	out := url.Values{}
	for k, v := range form {
		out[k] = v
	}
	for i := 0; i < len(pairs); i += 2 {
		out.Set(pairs[i], pairs[i+1])
	}
	return out
}

// A technician's way: form, only judged, kept, kept again, after the job,
// corrected, set aside and back. The expected figures are 100 · sum of forces /
// (weight · g); what is required are EU-02, EU-14 and UN-02F of the rules.
func TestEnterBrakeTest(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	form := formAt(t, parse(t, w.get(bus+"/test").Body.String()), bus+"/test")
	if form.Get("method") != "roller" || form.Get("day") != "2026-03-02" || form.Get("force_unit") != "kN" || form.Get("do") != "" {
		t.Errorf("got the form %v", form)
	}
	form = with(form, "weight", "12,4", "weight_unit", "t", "stage", "before", "pedal", "610", "odometer", "158000",
		"force_1_left", "14.1", "force_1_right", "13.2", "force_2_left", "16", "force_2_right", "15,4")

	rec := w.submit(bus+"/test", with(form, "do", "judge"))
	check(t, parse(t, rec.Body.String()), []has{
		{"h2", "Judged, not kept"},
		{".judged .strong", "Not judged"},
		{".notes", "No rule set is picked"},
		{"input[name=force_2_right][value=15,4]", "*"},
		{"select[name=weight_unit] option[selected]", "t"},
	})
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"eu"}})
	rec = w.submit(bus+"/test", with(form, "do", "judge"))
	check(t, parse(t, rec.Body.String()), []has{
		{".judged.bad .strong", "Fails: efficiency."},
		// 58.7 kN of 12.4 t
		{".checks-list", "Efficiency: 48.3 %, 50 % required (EU-02): short by 3.5 % of that."},
		{".checks-list", "Axle 1, difference across the axle: 6.4 %, at most 30 % (EU-14): within it."},
		{".checks-list", "Pedal force: 610 N, at most 700 N (UN-02F): within it."},
		{"footer.cautions", "*"},
	})
	if got := text(parse(t, w.get(bus).Body.String())); strings.Contains(got, "48.3") {
		t.Error("a judgement alone was kept")
	}

	before, page := w.follow(t, bus+"/test", with(form, "do", "keep"))
	check(t, parse(t, page), []has{
		{"h1", "Brake test of 2 Mar 2026"},
		{".judged.bad .strong", "Fails: efficiency."},
		{".facts-list", "12,400"},
		{".wheel-table", "13.2 kN"},
		{".wheel-table", "6.4 %"},
	})
	// A script that has asked for a judgement before asks for it to be kept now.
	if rec := w.postForm(bus+"/test", with(form, "do", "judge"), "Accept", "application/json"); !strings.Contains(rec.Body.String(), `"to":"`+before) {
		t.Errorf("to a script: got %s, want where the test is", rec.Body)
	}
	again, page := w.follow(t, bus+"/test", with(form, "do", "keep"))
	if again != before+"?again=1" {
		t.Errorf("the same again led to %s, want %s", again, before)
	}
	check(t, parse(t, page), []has{{".notice", "there already"}})
	// Under other rules what was said stays, and what they say stands beside it.
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"maker"}})
	check(t, parse(t, w.get(before).Body.String()), []has{
		{".judged.bad .strong", "Fails: efficiency."},
		{".judged .soft", "EU roadworthiness , judged on 2 Mar 2026"},
		{".judged .now", "By the rule set picked now, Maker's values only: Not judged"},
	})
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"eu"}})

	after, page := w.follow(t, bus+"/test", with(form, "stage", "after", "pedal", "430", "force_1_left", "18.9", "force_1_right", "18.6", "force_2_left", "17.2", "force_2_right", "17", "force_2_right_locked", "1"))
	check(t, parse(t, page), []has{
		{".judged .strong", "Meets what is required"},
		{".basis", "Pedal force 430 N after, 610 N before: 29.5 % less, but not for a like stop"},
		{".basis", "Each 100 N on the pedal gave 13.7 % after, 7.9 % before."}, // 58.96·100/430, 48.27·100/610
		{".wheel-table", "17 kN (locked)"},
	})
	check(t, parse(t, w.get(bus).Body.String()), []has{
		{"#brake-tests .tests-table .is-bad", "fails"},
		{"#brake-tests .tests-table", "59.0 %"},
		{"#brake-tests .picture svg[role=img]", "*"},
	})
	for _, file := range []string{"/charts/brake-efficiency.svg", "/charts/pedal-force.png"} {
		if rec := w.get(bus + file); rec.Code != http.StatusOK {
			t.Errorf("%s: got status %d", file, rec.Code)
		}
	}

	id := after[strings.LastIndex(after, "/")+1:]
	fix := formAt(t, parse(t, w.get(bus+"/test?correct="+id).Body.String()), bus+"/test")
	if fix.Get("force_1_left") != "18.9" || fix.Get("weight") != "12400" || fix.Get("correct") != id || fix.Get("force_2_right_locked") != "1" {
		t.Errorf("the form to correct has %v", fix)
	}
	rec = w.submit(bus+"/test", with(fix, "weight", "12800", "do", "keep"))
	check(t, parse(t, rec.Body.String()), []has{{".fault", "say why"}, {"input[name=weight][value=12800]", "*"}})
	stands, page := w.follow(t, bus+"/test", with(fix, "weight", "12800", "why", "weighed again", "do", "keep"))
	check(t, parse(t, page), []has{{".facts-list", "12,800"}})
	check(t, parse(t, w.get(after).Body.String()), []has{{".fault", "Corrected by"}, {".fault", "weighed again"}, {".fault a", "What stands instead"}, {"details form", ""}})

	rec = w.submit(stands+"/aside", url.Values{"why": {""}})
	check(t, parse(t, rec.Body.String()), []has{{"#w-why", "say why"}})
	_, page = w.follow(t, stands+"/aside", url.Values{"why": {"wrong vehicle"}})
	check(t, parse(t, page), []has{{".fault", "Set aside by"}, {"summary", "Let it count again"}})
	_, page = w.follow(t, stands+"/aside", url.Values{"why": {"it was the right one"}})
	check(t, parse(t, page), []has{{".fault", ""}})
}

// The odometer of a test is held against the readings before it, as on a job card: a
// doubt is said, and the test kept.
func TestBrakeTestOdometer(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	page := parse(t, w.get(bus+"/test").Body.String())
	check(t, page, []has{{"label", "Odometer, km (last, 1 Feb: 155,000 km)"}})
	form := with(formAt(t, page, bus+"/test"), "weight", "12400", "force_1_left", "14.1", "force_1_right", "13.2", "odometer", "15900")
	rec := w.submit(bus+"/test", with(form, "do", "judge"))
	check(t, parse(t, rec.Body.String()), []has{{".notice", "Odometer 15,900 km. Below the 155,000 km of 1 Feb 2026"}, {".notice", "Read it again"}})
	at, kept := w.follow(t, bus+"/test", with(form, "do", "keep"))
	check(t, parse(t, kept), []has{{".notice", "Odometer 15,900 km. Below the 155,000 km of 1 Feb 2026"}, {".notice", "correct the test"}})
	id := at[strings.LastIndex(at, "/")+1:]
	fix := with(formAt(t, parse(t, w.get(bus+"/test?correct="+id).Body.String()), bus+"/test"), "odometer", "159000", "why", "a digit short")
	rec = w.submit(bus+"/test", with(fix, "do", "judge"))
	check(t, parse(t, rec.Body.String()), []has{{"h2", "Judged, not kept"}, {".notice", ""}})
	_, kept = w.follow(t, bus+"/test", with(fix, "do", "keep"))
	check(t, parse(t, kept), []has{{".facts-list", "159,000 km"}, {".notice", ""}})
}

// Where no unit can be chosen, who may have read miles is told what to enter; who enters
// miles is not told that they may be miles.
func TestBrakeTestOdometerInMiles(t *testing.T) {
	for _, c := range []struct {
		in    units.Distance
		typed string
		want  string
	}{
		// 97,500 mi are 156,911 km, and 155,000 km are 96,313 mi (1 mi = 1.609344 km exactly).
		{units.Kilometres, "97500", "Odometer 97,500 km. Below the 155,000 km of 1 Feb 2026, but read as miles it would fit, as 156,911 km. If the instrument shows miles, enter 156,911 km."},
		{units.Miles, "60300", "Odometer 60,300 mi. Below the 96,313 mi of 1 Feb 2026: a digit missing, run back, or another instrument?"},
	} {
		t.Run(string(c.in), func(t *testing.T) {
			w := small(t)
			seen := w.seenBy(t, "tester", units.Reader{DistanceIn: c.in})
			bus := w.vehiclePath(t, "Bus 1")
			form := with(formAt(t, parse(t, seen.get(bus+"/test").Body.String()), bus+"/test"), "weight", "12400", "force_1_left", "14.1", "force_1_right", "13.2", "odometer", c.typed)
			rec := seen.submit(bus+"/test", with(form, "do", "judge"))
			check(t, parse(t, rec.Body.String()), []has{{".notice", c.want}})
			_, kept := seen.follow(t, bus+"/test", with(form, "do", "keep"))
			check(t, parse(t, kept), []has{{".notice", c.want}})
		})
	}
}

// Every fault comes back with what was typed.
func TestBrakeTestFaults(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	roller := formAt(t, parse(t, w.get(bus+"/test").Body.String()), bus+"/test")
	stop := formAt(t, parse(t, w.get(bus+"/test?method=stop").Body.String()), bus+"/test")
	for _, c := range []struct {
		name string
		form url.Values
		has  has
	}{
		{"nothing", roller, has{".fault", "A roller test needs the braking force of each wheel"}},
		{"words", with(roller, "force_1_left", "strong"), has{".wrong", "“strong” is no number"}},
		{"thousands or decimals", with(roller, "weight", "9,000"), has{".wrong", "“9,000” may be 9000 or 9.000"}},
		{"below 0", with(roller, "force_1_left", "-3"), has{".wrong", "Below 0"}},
		{"no day", with(roller, "day", "", "force_1_left", "3"), has{".wrong", "Give a day"}},
		{"tomorrow", with(roller, "day", "2026-03-03", "force_1_left", "3"), has{".fault", "after today"}},
		{"kN as N", with(roller, "force_1_left", "15000", "weight", "12000"), has{".fault", "is the unit right?"}},
		{"no speed", with(stop, "distance", "30"), has{".fault", "needs the speed"}},
	} {
		rec := w.submit(bus+"/test", c.form)
		if rec.Code != http.StatusBadRequest {
			t.Errorf("%s: got status %d", c.name, rec.Code)
		}
		check(t, parse(t, rec.Body.String()), []has{c.has})
	}
	for path, status := range map[string]int{
		bus + "/tests/999": 404, bus + "/tests/x": 404, bus + "/test?correct=999": 404, "/vehicles/999/test": 404,
		"/rules/sets/mars": 404, "/rules/fleets/999": 404, "/vehicles/999/limits": 404,
	} {
		if rec := w.get(path); rec.Code != status {
			t.Errorf("%s: got status %d, want %d", path, rec.Code, status)
		}
	}
	if rec := w.submit(bus+"/test", with(roller, "method", "magic")); rec.Code != http.StatusBadRequest {
		t.Errorf("an unknown method: got status %d", rec.Code)
	}
}

// A workshop in the United States gets its own units, and they are reckoned
// with: 20 mph in 30.73 ft is CV-07 of the check vectors, within the 35 ft of
// US-22c.
func TestUnitsOfTheForm(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"us-393"}})
	form := formAt(t, parse(t, w.get(bus+"/test?method=stop").Body.String()), bus+"/test")
	if form.Get("speed_unit") != "mph" || form.Get("distance_unit") != "ft" || form.Get("pedal_unit") != "lbf" {
		t.Errorf("got the units %v", form)
	}
	_, page := w.follow(t, bus+"/test", with(form, "speed", "20", "distance", "30.73", "pedal", "100", "do", "keep"))
	check(t, parse(t, page), []has{
		{".checks-list", "Stopping distance: 9.4 m, at most 10.668 m (US-22c): within it."},
		{".facts-list", "445 N"}, // 100 lbf
	})
}

// The limits' page says what holds and why, and takes a limit that leaves more
// room only with a reason. 3.2 mm: US-03.
func TestLimits(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	check(t, parse(t, w.get(bus+"/limits").Body.String()), []has{{".force", "3.0 mm the maker"}, {".facts-list", "the year 2019 stands in"}, {"footer.cautions", "*"}})
	_, page := w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"us-393"}, "why": {"moved"}})
	check(t, parse(t, page), []has{{".notice", "2 of the vehicles"}, {".entries-list", "moved"}, {"select[name=rule_set] option[selected]", "US, light and commercial: linings by 49 CFR 393.47"}})
	check(t, parse(t, w.get(bus+"/limits").Body.String()), []has{
		{".force", "3.2 mm the rule set, US-03"},
		{".soft", "Not known of the vehicle: how its brakes are worked"},
	})
	rec := w.submit(bus+"/limits", url.Values{"axle": {"1"}, "part": {"pad"}, "mm": {"2"}})
	check(t, parse(t, rec.Body.String()), []has{{".wrong", "2 mm leaves more room than the 3.2 mm that hold (US-03)"}, {"details[open] input[name=mm][value=2]", "*"}})
	_, page = w.follow(t, bus+"/limits", url.Values{"axle": {"1"}, "part": {"pad"}, "mm": {"2"}, "why": {"hydraulic brakes"}})
	check(t, parse(t, page), []has{{".force", "2.0 mm the workshop"}, {".history", "hydraulic brakes"}})
	_, page = w.follow(t, bus+"/limits", url.Values{"axle": {"1"}, "part": {"pad"}, "do": {"withdraw"}})
	check(t, parse(t, page), []has{{".force", "3.2 mm the rule set"}})
	if rec := w.submit(bus+"/limits", url.Values{"axle": {"1"}, "part": {"horn"}, "mm": {"2"}}); rec.Code != http.StatusBadRequest {
		t.Errorf("a part that is none: got status %d", rec.Code)
	}
}

func TestRulesPages(t *testing.T) {
	w := small(t)
	check(t, parse(t, w.get("/rules").Body.String()), []has{
		{".ruled", "Ferry Lines None picked yet: pick one"}, {".ruled", "EU roadworthiness"}, {".ruled", "from memory only"},
	})
	check(t, parse(t, w.get("/rules/sets/us-396").Body.String()), []has{
		{"td b", "0.0625 in"}, {"td small", "or below fails"}, {"td", "49 CFR Part 396 Appendix A, 1.a.(6)(c)"},
		{".unseen .known", "from memory, not seen in the document"}, {"footer.cautions", "*"},
	})
	check(t, parse(t, w.get("/rules/sets/maker").Body.String()), []has{{"main", "no values of its own"}})

	rec := w.submit("/rules/fleets/1/thresholds", url.Values{"value": {"WP-16"}, "x": {"1.5"}, "why": {""}})
	check(t, parse(t, rec.Body.String()), []has{{".wrong", "say why"}, {"details[open] input[name=x][value=1.5]", "*"}})
	_, page := w.follow(t, "/rules/fleets/1/thresholds", url.Values{"value": {"WP-16"}, "x": {"1.5"}, "why": {"our pads taper"}})
	check(t, parse(t, page), []has{{".notice", "Saved"}, {".thresholds .force", "1.5 mm your own"}, {".thresholds small", "our pads taper"}})
	_, page = w.follow(t, "/rules/fleets/1/thresholds", url.Values{"value": {"WP-16"}, "do": {"back"}})
	check(t, parse(t, page), []has{{".thresholds .force", "2 mm"}})
	if rec := w.submit("/rules/fleets/1", url.Values{"rule_set": {"mars"}}); rec.Code != http.StatusBadRequest {
		t.Errorf("a set that is none: got status %d", rec.Code)
	}
}

// A depot's people see the rules that they go by, and cannot change them.
func TestRulesOfADepot(t *testing.T) {
	w := small(t)
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"eu"}, "why": {"registered there"}})
	session, err := storetest.SignIn(t.Context(), w.svc.DB, "of a depot", auth.Grant{Role: auth.Admin, FleetID: 1, DepotID: 1})
	if err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, w.as(session, "GET", "/rules", nil).Body.String()), []has{{".ruled a[href=/rules/fleets/1]", "EU roadworthiness"}})
	page := parse(t, w.as(session, "GET", "/rules/fleets/1", nil).Body.String())
	check(t, page, []has{{"h1", "Rules of Ferry Lines"}, {"b", "EU roadworthiness"}, {".history", "registered there"}, {".thresholds", "*"}, {"main form", ""}})
	if rec := w.as(session, "POST", "/rules/fleets/1", url.Values{"rule_set": {"maker"}}); rec.Code < 400 {
		t.Errorf("picked another: got %d, want it refused", rec.Code)
	}
}

// A test whose vehicle was corrected is judged anew, and the page says why and what
// was said before. 4 · 14.5 kN of 12 t are 49.3 %: of a bus 50 % are required
// (EU-02), of a goods vehicle of before 2012 43 % (EU-09).
func TestJudgedAnew(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"eu"}})
	form := formAt(t, parse(t, w.get(bus+"/test").Body.String()), bus+"/test")
	at, page := w.follow(t, bus+"/test", with(form, "do", "keep", "weight", "12", "weight_unit", "t",
		"force_1_left", "14.5", "force_1_right", "14.5", "force_2_left", "14.5", "force_2_right", "14.5"))
	check(t, parse(t, page), []has{{".judged.bad .strong", "Fails: efficiency."}})
	if strings.Contains(page, "anew") {
		t.Error("judged anew before anything was corrected")
	}
	w.takeIn(t, "corrected.csv", "vehicle,fleet,depot,category,year\nBus 1,Ferry Lines,Harbour,N3,2005\n")
	check(t, parse(t, w.get(at).Body.String()), []has{
		{".judged .strong", "Meets what is required"},
		{".judged .soft", "judged anew on 2 Mar 2026"},
		{".judged .anew", "corrected since: category N3, before M3; year 2005, before 2019."},
		{".judged .said-before", "On 2 Mar 2026, by EU roadworthiness: Fails: efficiency."},
	})
}
