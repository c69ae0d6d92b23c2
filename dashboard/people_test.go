package dashboard

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
)

func TestPeople(t *testing.T) {
	w := small(t)
	check(t, parse(t, w.get("/people").Body.String()), []has{{"h1", "People told"}, {".notice", "BRAKEWEAR_SMTP_HOST"}, {".listed", ""}})
	w.svc.Mail = &mail.Server{Host: "mail.island.example", From: "brakes@island.example", User: "brakes", Password: "very secret"}

	ann := url.Values{"name": {"Ann"}, "address": {"ann@island.example"}, "role": {"planner"}, "fleet": {"1"}}
	with := func(key string, values ...string) url.Values {
		f := url.Values{}
		for k, v := range ann {
			f[k] = v
		}
		f[key] = values
		return f
	}
	if rec := w.submit("/people", ann); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d %s", rec.Code, rec.Body)
	}
	doc := parse(t, w.get("/people").Body.String())
	check(t, doc, []has{
		{".listed li b", "Ann"}, {".listed li", "planner · ann@island.example"}, {".listed li", "told of Ferry Lines · nothing yet"},
		{".soft", "mail.island.example:587"}, {".notice", ""},
	})
	for _, c := range []struct {
		name string
		form url.Values
		want string
	}{
		{"no name", with("name", " "), "Give a name"},
		{"no address", with("address", "ann"), "e-mail address"},
		{"told already", with("address", "Ann@island.example"), "told already"},
		{"of nothing", with("fleet"), "Tick at least one"},
		{"no such role", with("role", "king"), "Role"},
		{"no depot", with("depot", "77"), "depots there are"},
	} {
		rec := w.submit("/people", c.form)
		if rec.Code != http.StatusBadRequest {
			t.Errorf("%s: got status %d", c.name, rec.Code)
		}
		check(t, parse(t, rec.Body.String()), []has{{".wrong", c.want}, {".fault", "Not saved"}, {".listed li b", "Ann"}})
	}

	rs, err := w.svc.DB.Recipients(t.Context(), auth.AllFleets())
	if err != nil || len(rs) != 1 {
		t.Fatalf("got %+v, %v", rs, err)
	}
	path := personPath(rs[0].ID)
	check(t, parse(t, w.get(path).Body.String()), []has{{"h1", "Ann"}, {"input[name=fleet][checked]", "*"}, {"input[name=depot][checked]", ""}, {"option[selected]", "Planner"}})
	if rec := w.submit(path, with("fleet")); rec.Code != http.StatusBadRequest {
		t.Errorf("changed to nothing: got %d", rec.Code)
	}
	if rec := w.submit(path, url.Values{"name": {"Ann B."}, "address": {"ann@island.example"}, "role": {"manager"}, "depot": {"2"}}); rec.Code != http.StatusSeeOther {
		t.Errorf("changed: got %d %s", rec.Code, rec.Body)
	}
	d, claimed, err := w.svc.DB.ClaimDigest(t.Context(), rs[0].ID, fleet.DateOf(now), 1)
	if err != nil || !claimed {
		t.Fatal(claimed, err)
	}
	if err := w.svc.DB.EndDigest(t.Context(), d, store.DigestFailed, "The mail server refused it (452).", nil); err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, w.get("/people").Body.String()), []has{
		{".listed li.ill", "Ann B."}, {".listed li", "told of Hill (Ferry Lines) · not sent 2 Mar 2026: The mail server refused it (452)."},
	})

	if rec := w.submit(path+"/stop", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("stopped: got %d", rec.Code)
	}
	check(t, parse(t, w.get("/people").Body.String()), []has{{".listed", ""}})
	for _, p := range []string{path, "/people/x"} {
		if rec := w.get(p); rec.Code != http.StatusNotFound {
			t.Errorf("%s: got %d, want not found", p, rec.Code)
		}
	}
}

// TestPeopleOfOwnPlaces offers a manager the places that may be told of, and no more.
func TestPeopleOfOwnPlaces(t *testing.T) {
	w := small(t)
	w.svc.Mail = &mail.Server{Host: "mail.island.example", From: "brakes@island.example"}
	for _, c := range []struct {
		grant                   auth.Grant
		everything, fleet, jobs string // blank: not offered
	}{
		{auth.Grant{Role: auth.Admin}, "*", "*", "Scheduled work"},
		{auth.Grant{Role: auth.Manager, FleetID: 1}, "", "*", ""},
		{auth.Grant{Role: auth.Manager, FleetID: 1, DepotID: 2}, "", "", ""},
	} {
		rec := httptest.NewRecorder()
		w.asWho(t, auth.Who{Account: 1, Name: tester, Grants: []auth.Grant{c.grant}, Session: 1}).ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/people", nil))
		check(t, parse(t, rec.Body.String()), []has{
			{"h1", "People told"}, {"input[name=everything]", c.everything}, {"input[name=fleet]", c.fleet}, {"input[name=depot]", "*"}, {"main .soft a", c.jobs},
		})
	}
}
