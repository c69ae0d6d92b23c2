package dashboard

import (
	"cmp"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// asWho are the pages of w as they are for who.
func (w *world) asWho(t *testing.T, who auth.Who) http.Handler {
	t.Helper()
	d, err := New(w.svc)
	if err != nil {
		t.Fatal(err)
	}
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	web.UseErrorPage(r, d.ErrorPage)
	r.Use(web.Guard(entrant(who)))
	d.Register(r)
	return signedIn(r, "any")
}

// ways are where a page leads without sending anything: its links, its pictures
// and its forms that only ask, as they stand.
func ways(t *testing.T, page *url.URL, doc *html.Node) (to []*url.URL) {
	t.Helper()
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		var at string
		switch {
		case n.Data == "a" && hasAttr(n, "href"):
			at = attr(n, "href")
		case n.Data == "img":
			at = attr(n, "src")
		case n.Data == "form" && strings.EqualFold(cmp.Or(attr(n, "method"), "get"), "get"):
			at = cmp.Or(attr(n, "action"), page.Path)
		}
		u, err := page.Parse(at)
		if err != nil {
			t.Fatalf("%s: leads to %q: %v", page, at, err)
		}
		if at == "" || u.Host != page.Host || u.Scheme != page.Scheme { // mail, telephone, elsewhere
			continue
		}
		u.Fragment = ""
		to = append(to, u)
	}
	return to
}

// Of each kind of page so many are looked through, and so many asked for: more
// alike, such as all vehicles of a list, show nothing else.
const (
	lookedThrough = 5
	askedFor      = 12
)

// walk looks through pages as who, from the ones given on that who may see, and
// complains of each link that leads nowhere or where who may not go. It returns
// how many it asked for.
func (w *world) walk(t *testing.T, name string, who auth.Who, first ...string) int {
	t.Helper()
	h := w.asWho(t, who)
	get := func(u *url.URL) *httptest.ResponseRecorder {
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, u.RequestURI(), nil))
		return rec
	}
	var pages []*url.URL
	for _, path := range append([]string{"/"}, first...) {
		u, err := url.Parse("http://example.com" + path)
		if err != nil {
			t.Fatal(err)
		}
		u.Fragment = ""
		pages = append(pages, u)
	}
	answers := map[string]*httptest.ResponseRecorder{}
	through, asked := map[string]int{}, map[string]int{}
	for i := 0; i < len(pages); i++ {
		page := pages[i]
		rec := answers[page.RequestURI()]
		if rec == nil {
			rec = get(page)
			answers[page.RequestURI()] = rec
		}
		if rec.Code != http.StatusOK || !strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") {
			continue
		}
		for _, u := range ways(t, page, parse(t, rec.Body.String())) {
			rule, _ := ruleAt(http.MethodGet, u.Path)
			if answers[u.RequestURI()] != nil || asked[rule.Path] >= askedFor {
				continue
			}
			asked[rule.Path]++
			rec := get(u)
			answers[u.RequestURI()] = rec
			if rec.Code >= 400 {
				t.Errorf("%s: %s leads to %s: %d", name, page.RequestURI(), u.RequestURI(), rec.Code)
			} else if through[rule.Path] < lookedThrough {
				through[rule.Path]++
				pages = append(pages, u)
			}
		}
	}
	return len(answers)
}

// TestLinksLeadSomewhere walks the pages as people of each role at several
// places: no page has a link that leads nowhere, or where its reader may not go.
func TestLinksLeadSomewhere(t *testing.T) {
	w := island(t)
	var first []string
	for _, p := range everyPage(t) {
		if p.path != "/sign-in" && !strings.HasPrefix(p.path, pipeline.LinkPath) {
			first = append(first, p.path)
		}
	}
	for _, g := range []auth.Grant{
		{Role: auth.Admin}, {Role: auth.Manager, FleetID: 1}, {Role: auth.Planner, FleetID: 1, DepotID: 1}, {Role: auth.Technician, FleetID: 1, DepotID: 2},
	} {
		name := fmt.Sprintf("%s of fleet %d, depot %d", g.Role, g.FleetID, g.DepotID)
		if n := w.walk(t, name, auth.Who{Account: 1, Name: tester, Grants: []auth.Grant{g}, Session: 1}, first...); n < 150 {
			t.Errorf("%s asked for %d pages only", name, n)
		}
	}
}

// TestLinksOfABookingElsewhere is TestLinksLeadSomewhere where a vehicle is booked
// and worked on at a depot that it is not at home at.
func TestLinksOfABookingElsewhere(t *testing.T) {
	w := small(t)
	all := auth.AllFleets()
	history := func(number string) fleet.Vehicle {
		h, err := w.svc.DB.History(t.Context(), all, w.vehicleID(t, number))
		if err != nil {
			t.Fatal(err)
		}
		return h.Vehicle
	}
	bus, there := history("Bus 1"), history("Bus 2").DepotID
	b, err := w.svc.Book(t.Context(), all, "N. N.", pipeline.ByHand{VehicleID: bus.ID, Axles: []int{1}, Slot: fleet.Slot{DepotID: there, Day: w.svc.Today()}})
	if err != nil {
		t.Fatal(err)
	}
	card, err := w.svc.OpenCard(t.Context(), all, "N. N.", b.ID)
	if err != nil {
		t.Fatal(err)
	}
	// Proposed there too, at one time set aside and at another without a place.
	visit := func(n fleet.Date, a store.Advice) store.Visit {
		v := store.Visit{VehicleID: bus.ID, Advice: a, Slot: fleet.Slot{DepotID: there, Bay: 1, Starts: 480, Minutes: 60}, Hours: 1, Work: b.Work, Why: "it is due"}
		if n > 0 {
			v.Day = w.svc.Today() + n
		}
		return v
	}
	p := store.Proposal{FleetID: bus.FleetID, By: "the clock", AsOf: w.svc.Today(), Until: w.svc.Today() + 60,
		Visits: []store.Visit{visit(1, store.AdviseBook), visit(2, store.AdviseBook), visit(0, store.AdviseNothing)}}
	if err := w.svc.DB.SaveProposal(t.Context(), all, &p, []int64{there}); err != nil {
		t.Fatal(err)
	}
	if err := w.svc.DB.DeclineVisits(t.Context(), all, "N. N.", "", []int64{p.Visits[0].ID}); err != nil {
		t.Fatal(err)
	}
	first := []string{
		bookingLink(b.ID), fmt.Sprintf("/cards/%d", card.ID), "/cards", "/plan", "/plan/parts", "/workshops", "/findings", "/record", "/readings",
		fmt.Sprintf("/plan/day?depot=%d&day=%s", there, b.Day), fmt.Sprintf("/vehicles/%d/test?card=%d", bus.ID, card.ID), "/overview", "/calendars", "/people", "/changes", "/accounts",
	}
	for _, role := range []auth.Role{auth.Technician, auth.Admin} {
		for place, depot := range map[string]int64{"where it is at home": bus.DepotID, "where it is booked": there} {
			w.walk(t, string(role)+" "+place, auth.Who{Account: 1, Name: tester, Grants: []auth.Grant{{Role: role, FleetID: bus.FleetID, DepotID: depot}}, Session: 1}, first...)
		}
	}
}

// TestLinks follows every link of every page once, on the page or to another;
// of calendars, which go on without end, some pages only.
func TestLinks(t *testing.T) {
	w := small(t)
	done := map[string]bool{}
	const enough = 5
	calendar := map[string]int{} // pages followed, by path
	todo := []string{"/?within=0"}
	for len(todo) > 0 {
		path := todo[0]
		todo = todo[1:]
		if done[path] {
			continue
		}
		done[path] = true
		if at, query, ok := strings.Cut(path, "?"); ok && (strings.Contains(query, "week=") || strings.Contains(query, "day=")) {
			if calendar[at]++; calendar[at] > enough {
				continue
			}
		}
		rec := w.get(path)
		if rec.Code != http.StatusOK {
			t.Errorf("%s: got status %d", path, rec.Code)
			continue
		}
		if !strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") {
			continue
		}
		doc := parse(t, rec.Body.String())
		for _, n := range find(doc, "[href]") {
			to, err := url.Parse(attr(n, "href"))
			if err != nil {
				t.Errorf("%s: %v", path, err)
				continue
			}
			if to.Path == "" {
				if to.Fragment != "" && len(find(doc, "#"+to.Fragment)) == 0 {
					t.Errorf("%s links to #%s, which is not on it", path, to.Fragment)
				}
				continue
			}
			to.Fragment = ""
			todo = append(todo, to.String())
		}
		for _, n := range find(doc, "script[src]") {
			todo = append(todo, attr(n, "src"))
		}
	}
	if len(done) < 30 {
		t.Errorf("followed %d links only", len(done))
	}
}
