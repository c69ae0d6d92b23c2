package dashboard

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

// entrant is one person whom every session is of.
type entrant auth.Who

func (e entrant) SessionOf(context.Context, string) (auth.Who, error) { return auth.Who(e), nil }
func (e entrant) TokenOf(context.Context, string) (auth.Who, error)   { return auth.Who(e), nil }

// asked are the island's pages as they are for who.
func asked(t *testing.T, who auth.Who) http.Handler {
	t.Helper()
	return island(t).asWho(t, who)
}

// offer is something on a page that leads to a route.
type offer struct {
	rule web.Rule
	what string // as it stands on the page
}

// offers returns what a page offers to open or send.
func offers(t *testing.T, page *url.URL, doc *html.Node) (all []offer) {
	t.Helper()
	add := func(method, to string, n *html.Node) {
		u, err := page.Parse(to)
		if err != nil {
			t.Fatalf("%s: leads to %q: %v", page, to, err)
		}
		if u.Host != page.Host || u.Scheme != page.Scheme { // mail, telephone, elsewhere
			return
		}
		method = strings.ToUpper(cmp.Or(method, http.MethodGet))
		rule, ok := ruleAt(method, u.Path)
		if !ok {
			t.Errorf("%s: offers %s %s, which leads nowhere", page, method, u.Path)
			return
		}
		all = append(all, offer{rule, method + " " + u.Path + " “" + text(n) + "”"})
	}
	for n := range doc.Descendants() {
		switch {
		case n.Type != html.ElementNode:
		case n.Data == "a" && hasAttr(n, "href") && !strings.HasPrefix(attr(n, "href"), "#"):
			add("", attr(n, "href"), n)
		case n.Data == "form":
			add(attr(n, "method"), attr(n, "action"), n)
		case hasAttr(n, "formaction"):
			add(cmp.Or(attr(n, "formmethod"), http.MethodPost), attr(n, "formaction"), n)
		}
	}
	return all
}

// ruleAt returns the rule of the route that a path leads to: of several, the
// one with the most said word for word, as the router has it.
func ruleAt(method, path string) (best web.Rule, ok bool) {
	most := -1
	for _, r := range web.Routes {
		if words := literally(r.Path, path); r.Method == method && words > most {
			best, ok, most = r, true, words
		}
	}
	return best, ok
}

// literally counts the parts of a path that a pattern has word for word; -1
// when it does not fit.
func literally(pattern, path string) (words int) {
	want, got := strings.Split(pattern, "/"), strings.Split(path, "/")
	for i, w := range want {
		switch {
		case strings.HasPrefix(w, "*"):
			return words
		case i >= len(got) || strings.HasPrefix(w, ":") && got[i] == "" || !strings.HasPrefix(w, ":") && w != got[i]:
			return -1
		case !strings.HasPrefix(w, ":"):
			words++
		}
	}
	if len(want) != len(got) {
		return -1
	}
	return words
}

// TestPagesOfferWhatMayBeDone walks every page as every role: nothing on it
// leads where the role may not go, and whatever an admin is offered to send is
// offered to everybody who may send it.
func TestPagesOfferWhatMayBeDone(t *testing.T) {
	pages := everyPage(t)
	pages = append(pages, shown{"reading-file", "/readings/1"}, shown{"changes", "/changes"})
	everything := map[string][]auth.Grant{"no role": {}, "admin of a fleet": {{Role: auth.Admin, FleetID: 1}}}
	for _, r := range auth.Roles {
		everything[string(r)] = []auth.Grant{{Role: r}}
	}
	sent := map[string][]string{} // routes that a role is offered to send to
	for name, grants := range everything {
		who := auth.Who{Account: 1, Name: tester, Grants: grants, Session: 1}
		h := asked(t, who)
		seen := 0
		for _, p := range pages {
			rec := httptest.NewRecorder()
			h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, p.path, nil))
			if rec.Code == http.StatusOK {
				seen++
			}
			at, err := url.Parse("http://example.com" + p.path)
			if err != nil {
				t.Fatal(err)
			}
			rule, _ := ruleAt(http.MethodGet, at.Path)
			public := rule.Right == auth.Public // shown as to strangers
			for _, o := range offers(t, at, parse(t, rec.Body.String())) {
				if !o.rule.Lets(who) && !(public && o.rule.Path == "/") {
					t.Errorf("%s is offered on %s: %.120s", name, p.path, o.what)
				}
				if o.rule.Method != http.MethodGet {
					sent[name] = append(sent[name], o.rule.Method+" "+o.rule.Path)
				}
			}
		}
		if name != "no role" && seen < 40 {
			t.Errorf("%s saw %d pages only", name, seen)
		}
	}
	if len(sent["admin"]) < 40 {
		t.Errorf("the admin is offered %d forms only", len(sent["admin"]))
	}
	for name, grants := range everything {
		if name == "admin of a fleet" { // the pages are not all of that fleet
			continue
		}
		for _, route := range sent["admin"] {
			method, path, _ := strings.Cut(route, " ")
			rule, _ := web.RuleOf(method, path)
			if rule.Lets(auth.Who{Account: 1, Grants: grants}) && !slices.Contains(sent[name], route) {
				t.Errorf("%s may %s, and is offered it nowhere", name, route)
			}
		}
	}
}

// Kinds of file whose every line would be refused are not offered: those of the
// plan are for who plans, wherever that is.
func TestFilesOffered(t *testing.T) {
	everybodys := []string{"vehicles", "axles", "odometer", "fitments", "readings", "brake_tests"}
	all := append(slices.Clone(everybodys), "parts", "absences", "planned_visits")
	for name, c := range map[string]struct {
		grants []auth.Grant
		want   []string
		has    []has // on the page of readings
		parts  []has // on the page of parts
	}{
		"technician": {[]auth.Grant{{Role: auth.Technician}}, everybodys,
			[]has{{"main", "for planners and managers to hand in"}}, []has{{".row-of-links", ""}}},
		"planner": {[]auth.Grant{{Role: auth.Planner}}, all, []has{{"main", "Check it"}}, []has{{".row-of-links", "Hand a parts file in"}}},
		"technician who plans for a depot": {[]auth.Grant{{Role: auth.Technician}, {Role: auth.Planner, FleetID: 1, DepotID: 1}}, all,
			[]has{{"main", "Check it"}}, []has{{".row-of-links", "Hand a parts file in"}}},
	} {
		h := asked(t, auth.Who{Account: 1, Name: tester, Grants: c.grants, Session: 1})
		look := func(path string) *html.Node {
			rec := httptest.NewRecorder()
			h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
			return parse(t, rec.Body.String())
		}
		page := look("/readings")
		var asKinds, described []string
		for n := range page.Descendants() {
			switch {
			case n.Type != html.ElementNode:
			case n.Data == "select" && attr(n, "name") == "kind":
				for o := range n.ChildNodes() {
					if v := attr(o, "value"); v != "" {
						asKinds = append(asKinds, v)
					}
				}
			case n.Data == "a" && strings.HasPrefix(attr(n, "href"), "/templates/") && strings.HasSuffix(attr(n, "href"), ".csv"):
				described = append(described, strings.TrimSuffix(path.Base(attr(n, "href")), ".csv"))
			}
		}
		if !slices.Equal(asKinds, c.want) || !slices.Equal(described, c.want) {
			t.Errorf("%s: offered %v, described %v, want %v", name, asKinds, described, c.want)
		}
		check(t, page, c.has)
		check(t, look("/parts"), c.parts)
	}
}

// Whoever is not signed in is offered no more than to sign in.
func TestPagesOfStrangers(t *testing.T) {
	d, err := New(island(t).svc)
	if err != nil {
		t.Fatal(err)
	}
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	web.UseErrorPage(r, d.ErrorPage)
	r.Use(web.Guard(island(t).svc.DB))
	d.Register(r)
	for _, path := range []string{"/sign-in", "/sign-in/link", "/link/none", "/calendar/none.ics", "/nowhere"} {
		rec := httptest.NewRecorder()
		r.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
		if want := path == "/sign-in" || path == "/sign-in/link"; (rec.Code == http.StatusOK) != want {
			t.Errorf("%s: got %d", path, rec.Code)
		}
		at, err := url.Parse("http://example.com" + path)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range offers(t, at, parse(t, rec.Body.String())) {
			if !o.rule.Lets(auth.Who{}) && o.rule.Path != "/" { // which leads to sign in
				t.Errorf("a stranger is offered on %s: %.120s", path, o.what)
			}
		}
	}
}

func TestRuleAt(t *testing.T) {
	for path, want := range map[string]string{
		"GET /":                       "/",
		"GET /vehicles/7":             "/vehicles/:id",
		"GET /bookings/new":           "/bookings/new",
		"GET /bookings/7":             "/bookings/:id",
		"GET /static/app.css":         "/static/*name",
		"POST /bookings/7/move":       "/bookings/:id/move",
		"POST /bookings/7/done":       "/bookings/:id/:end",
		"GET /readings/files/7":       "/readings/files/:id",
		"GET /vehicles/":              "",
		"GET /vehicles/7/nothing":     "",
		"POST /vehicles/7/limits/now": "",
	} {
		method, at, _ := strings.Cut(path, " ")
		if got, ok := ruleAt(method, at); got.Path != want || ok != (want != "") {
			t.Errorf("%s: got %q, want %q", path, got.Path, want)
		}
	}
}

// A planner enters brake tests, and corrects none: the form has a right of its
// own for that.
func TestPlannerCorrectsNoBrakeTest(t *testing.T) {
	path := island(t).testPath(t, "Bus 112") // /vehicles/ID/tests/TEST
	vehicle, test, _ := strings.Cut(path, "/tests/")
	for role, want := range map[auth.Role]int{auth.Planner: http.StatusForbidden, auth.Technician: http.StatusOK} {
		h := asked(t, auth.Who{Account: 1, Name: tester, Grants: []auth.Grant{{Role: role}}, Session: 1})
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, vehicle+"/test?correct="+test, nil))
		if rec.Code != want {
			t.Errorf("%s opens the form to correct: got %d, want %d", role, rec.Code, want)
		}
		if role != auth.Planner { // who would change what other tests look at
			continue
		}
		form := url.Values{"method": {"roller"}, "correct": {test}, "why": {"mistyped"}}
		req := httptest.NewRequest(http.MethodPost, vehicle+"/test", strings.NewReader(form.Encode()))
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		rec = httptest.NewRecorder()
		if h.ServeHTTP(rec, req); rec.Code != want {
			t.Errorf("%s corrects: got %d, want %d", role, rec.Code, want)
		}
	}
}

// TestBrowserReadOnly looks at the pages of what a technician may read and not
// change: the values are there, and nothing to send.
func TestBrowserReadOnly(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(asked(t, auth.Who{Account: 1, Name: tester, Grants: []auth.Grant{{Role: auth.Technician}}, Session: 1}))
	defer srv.Close()
	faults := complaints(t, ctx)
	vehicle := island(t).vehiclePath(t, "Bus 112")
	for _, p := range []shown{
		{"workshop", "/workshops/1"}, {"part", "/parts/1"}, {"steps", "/steps"}, {"days", vehicle + "/days"},
		{"limits", vehicle + "/limits"}, {"fleet-rules", "/rules/fleets/1"}, {"booking", "/bookings/1"},
	} {
		for _, width := range []int64{desk, phone} {
			look(t, ctx, width, "light", srv.URL+p.path)
			eval[bool](t, ctx, `document.querySelectorAll("details").forEach(d => d.open = true), true`)
			if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
				t.Errorf("%s at %d runs %g px over the edge: %s", p.name, width, over, eval[string](t, ctx, widest))
			}
			if sends := eval[string](t, ctx, `[...document.querySelectorAll("main form:not([method=get]), main :is(input, select, textarea):enabled")].filter(e => !e.closest("form[method=get]") && !(e.form || e).action?.endsWith("/cards")).map(e => e.outerHTML.slice(0, 80)).join("; ")`); sends != "" {
				t.Errorf("%s can be changed: %s", p.name, sends)
			}
			if got := faults(); got != "" {
				t.Errorf("%s: the browser complains: %s", p.name, got)
			}
			shoot(t, ctx, fmt.Sprintf("technician-%s-%d", p.name, width))
		}
	}
}

// TestPagesOfferOfTheirRecord looks at the pages of one depot's records as a
// planner of that depot who is a technician at another, and the other way round:
// what is offered is what may be done to that record, not to others.
func TestPagesOfferOfTheirRecord(t *testing.T) {
	w := island(t)
	vehicle := w.vehiclePath(t, "Bus 112")
	test := w.testPath(t, "Bus 112")
	id, err := strconv.ParseInt(strings.TrimPrefix(vehicle, "/vehicles/"), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), id)
	if err != nil {
		t.Fatal(err)
	}
	depots, err := w.svc.DB.Depots(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	home := h.Vehicle.DepotID
	i := slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.ID != home && d.FleetID == h.Vehicle.FleetID })
	if i < 0 || len(h.Readings) == 0 {
		t.Fatal("the island has one depot, or its bus no readings")
	}
	shop := fmt.Sprintf("/workshops/%d", home)
	reading := fmt.Sprintf("/corrections/reading/%d", h.Readings[0].ID)
	offered := func(planner, technician int64) map[string]bool {
		h := asked(t, auth.Who{Account: 1, Name: tester, Session: 1, Grants: []auth.Grant{
			{Role: auth.Planner, FleetID: h.Vehicle.FleetID, DepotID: planner},
			{Role: auth.Technician, FleetID: h.Vehicle.FleetID, DepotID: technician},
		}})
		got := map[string]bool{}
		for _, page := range []string{vehicle, vehicle + "/days", vehicle + "/limits", shop, reading, test, vehicle + "/test?correct=" + path.Base(test)} {
			at, err := url.Parse("http://example.com" + page)
			if err != nil {
				t.Fatal(err)
			}
			rec := httptest.NewRecorder()
			h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, at.RequestURI(), nil))
			if strings.Contains(page, "?correct=") {
				got["opens the form to correct"] = rec.Code == http.StatusOK
				continue
			}
			if rec.Code != http.StatusOK {
				t.Fatalf("%s: got status %d", page, rec.Code)
			}
			for _, o := range offers(t, at, parse(t, rec.Body.String())) {
				got[o.rule.Method+" "+o.rule.Path] = true
			}
		}
		return got
	}
	plans := []string{"GET /bookings/new", "POST /vehicles/:id/days", "POST /workshops/:id", "POST /workshops/:id/closures"}
	corrects := []string{"POST /corrections/:kind/:id", "GET /corrections/:kind/:id/axle", "POST /vehicles/:id/tests/:test/aside", "opens the form to correct"}
	both := []string{"GET /calendars", "GET /vehicles/:id/measure", "GET /vehicles/:id/card"} // the first is of no record
	plannerHere, technicianHere := offered(home, depots[i].ID), offered(depots[i].ID, home)
	for _, c := range []struct {
		routes                      []string
		asPlanner, asTechnicianHere bool
	}{{plans, true, false}, {corrects, false, true}, {both, true, true}} {
		for _, route := range c.routes {
			if got := plannerHere[route]; got != c.asPlanner {
				t.Errorf("planner here, technician elsewhere: %s: got %v, want %v", route, got, c.asPlanner)
			}
			if got := technicianHere[route]; got != c.asTechnicianHere {
				t.Errorf("technician here, planner elsewhere: %s: got %v, want %v", route, got, c.asTechnicianHere)
			}
		}
	}
}
