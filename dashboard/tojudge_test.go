package dashboard

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"golang.org/x/net/html"

	"brakewear/internal/auth"
)

// A brake test that is not judged says what it lacks: a link for who may see to it,
// words for who may not.
func TestToJudge(t *testing.T) {
	w := small(t)
	w.takeIn(t, "unknown.csv", "vehicle,fleet,depot\nBus 7,Ferry Lines,Harbour\n")
	tests := map[string]string{}
	for _, number := range []string{"Bus 1", "Bus 7"} {
		at := w.vehiclePath(t, number)
		form := url.Values{"method": {"decelerometer"}, "day": {"2026-03-01"}, "brake": {"service"}, "mean": {"5.4"}, "decel_unit": {"m/s²"}, "do": {"keep"}}
		tests[number], _ = w.follow(t, at+"/test", form)
	}
	technician, depots, manager := []auth.Grant{{Role: auth.Technician}}, []auth.Grant{{Role: auth.Manager, FleetID: 1, DepotID: 1}}, []auth.Grant{{Role: auth.Manager, FleetID: 1}}
	const link, upload = ".to-judge a[href=/rules/fleets/1]", ".to-judge a[href=/readings]"
	for _, c := range []struct {
		set, number string
		grants      []auth.Grant
		why, how    string // on the vehicle's page; the test's has the how
		has         []has
	}{
		{"", "Bus 1", technician, "No rule set is picked for this fleet, so its tests are kept but not judged.", "Tests are judged once a manager of the whole fleet picks a rule set.", []has{{link, ""}}},
		{"", "Bus 1", depots, "No rule set is picked", "once a manager of the whole fleet picks a rule set.", []has{{link, ""}}},
		{"", "Bus 1", manager, "No rule set is picked", "Tests are judged once a rule set is picked: pick one .", []has{{link, "pick one"}, {".judged .soft", ""}}},
		{"maker", "Bus 1", technician, "which asks nothing of brake tests.", "once a manager of the whole fleet picks another rule set.", []has{{link, ""}}},
		{"maker", "Bus 1", manager, "This fleet goes by “Maker's values only”", "once another rule set is picked: pick one", []has{{link, "pick one"}}},
		{"eu", "Bus 7", technician, "The vehicle’s category is not known, so its tests are not judged.", "Tests are judged once a vehicles file says the category: hand one in", []has{{upload, "hand one in"}}},
		{"eu", "Bus 1", technician, "", "", []has{{".to-judge", ""}}},
	} {
		if c.set != "" {
			w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {c.set}})
		}
		h := w.asWho(t, auth.Who{Account: 1, Name: tester, Grants: c.grants, Session: 1})
		look := func(path string) *html.Node {
			rec := httptest.NewRecorder()
			h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
			return parse(t, rec.Body.String())
		}
		for _, page := range []*html.Node{look(w.vehiclePath(t, c.number)), look(tests[c.number])} {
			check(t, page, c.has)
			if c.how != "" {
				check(t, page, []has{{".to-judge", c.how}})
			}
		}
		if c.why != "" {
			check(t, look(w.vehiclePath(t, c.number)), []has{{"#brake-tests .to-judge", c.why}})
		}
		if c.set == "" {
			picks := len(c.grants) == 1 && c.grants[0].Role == auth.Manager && c.grants[0].DepotID == 0
			limits, sets := "Ask a manager of the whole fleet to pick one", "None picked yet"
			if picks {
				limits, sets = "Pick one, so that its limits count", "None picked yet: pick one"
			}
			check(t, look(w.vehiclePath(t, c.number)+"/limits"), []has{{".head", limits}})
			if got := text(find(look("/rules"), ".ruled a[href=/rules/fleets/1]")[0]); got != "Ferry Lines "+sets {
				t.Errorf("%v: the list of fleets says %q, want %q", c.grants, got, sets)
			}
		}
	}
}

// A test that was judged goes by the set of then, even where that asks nothing of it any
// more: that another is picked is not said to judge it. EU-02 asks 50 % of M3, and
// nothing is asked of a light trailer.
func TestToJudgeAnew(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"eu"}})
	at, page := w.follow(t, bus+"/test", url.Values{"method": {"decelerometer"}, "day": {"2026-03-01"}, "brake": {"service"}, "mean": {"5.4"}, "decel_unit": {"m/s²"}, "do": {"keep"}})
	check(t, parse(t, page), []has{{".judged .strong", "Meets what is required"}})
	w.takeIn(t, "corrected.csv", "vehicle,fleet,depot,category\nBus 1,Ferry Lines,Harbour,O1\n")
	check(t, parse(t, w.get(at).Body.String()), []has{{".judged .strong", "Not judged"}})
	w.follow(t, "/rules/fleets/1", url.Values{"rule_set": {"maker"}})
	for _, path := range []string{at, bus} {
		check(t, parse(t, w.get(path).Body.String()), []has{{".to-judge", ""}})
	}
}
