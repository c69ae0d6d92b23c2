package dashboard

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// as sends requests by a session of its own.
func (w *world) as(session, method, path string, form url.Values) *httptest.ResponseRecorder {
	req := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.AddCookie(&http.Cookie{Name: web.SessionCookie, Value: session})
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	return rec
}

// sessionOf is the session that an answer gives the browser.
func sessionOf(t *testing.T, rec *httptest.ResponseRecorder) string {
	t.Helper()
	for _, c := range rec.Result().Cookies() {
		if c.Name == web.SessionCookie {
			return c.Value
		}
	}
	t.Fatalf("got %d and no session", rec.Code)
	return ""
}

// linkPath is the path of the link that a page shows this once.
func linkPath(t *testing.T, page string) string {
	t.Helper()
	u, err := url.Parse(wordsAt(t, page, ".made .address"))
	if err != nil || !strings.HasPrefix(u.Path, "/link/") {
		t.Fatalf("got the link %v, %v", u, err)
	}
	return u.Path
}

// endPath is where the first button to end something leads.
func endPath(t *testing.T, page string) string {
	t.Helper()
	forms := find(parse(t, page), ".listed form")
	if len(forms) == 0 {
		t.Fatal("there is nothing to end")
	}
	return attr(forms[0], "action")
}

// wordsAt is what a person reads of the elements that a selector finds.
func wordsAt(t *testing.T, page, selector string) string {
	t.Helper()
	var words []string
	for _, n := range find(parse(t, page), selector) {
		words = append(words, text(n))
	}
	return strings.Join(words, " ")
}

// From an admin's form to somebody who is signed in, and out again.
func TestAccounts(t *testing.T) {
	w := small(t)
	const password, other = "four plain words here", "four other words here"
	ann := url.Values{"name": {"Ann"}, "email": {"ann@island.example"}, "role": {"technician"}, "place": {"1/0"}}
	for _, c := range []struct{ key, value, want string }{
		{"name", " ", "name: want one"},
		{"email", "ann", "e-mail"},
		{"role", "king", "there is no such role"},
		{"place", "0/7", "choose where the role is to hold"},
		{"place", "99/0", "99"},
		{"email", strings.ToUpper(tester) + "@example.org", "there is an account with it"},
	} {
		form := url.Values{}
		for k, v := range ann {
			form[k] = v
		}
		form.Set(c.key, c.value)
		rec := w.submit("/accounts", form)
		if rec.Code != http.StatusBadRequest && rec.Code != http.StatusNotFound {
			t.Errorf("%s %q: got status %d", c.key, c.value, rec.Code)
		}
		if got := rec.Body.String(); !strings.Contains(strings.ToLower(got), strings.ToLower(c.want)) {
			t.Errorf("%s %q: the page does not say %q", c.key, c.value, c.want)
		}
		if rec.Code != http.StatusBadRequest {
			continue
		}
		// What was chosen stays.
		back := formAt(t, parse(t, rec.Body.String()), "/accounts")
		for _, name := range []string{"role", "place"} {
			if got := back.Get(name); name != c.key && got != ann.Get(name) {
				t.Errorf("%s %q: the form comes back with the %s %q, want %q", c.key, c.value, name, got, ann.Get(name))
			}
		}
	}
	// It begins with the least right, and asks where.
	fresh := formAt(t, parse(t, w.get("/accounts").Body.String()), "/accounts")
	if role, place := fresh.Get("role"), fresh.Get("place"); role != "technician" || place != "" {
		t.Errorf("a new account begins as %q of %q", role, place)
	}
	fresh.Set("name", "Ann")
	fresh.Set("email", "ann@island.example")
	if rec := w.submit("/accounts", fresh); rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), "choose where the role is to hold") {
		t.Errorf("an account of nowhere: got %d", rec.Code)
	}
	rec := w.submit("/accounts", ann)
	link := linkPath(t, rec.Body.String())
	check(t, parse(t, rec.Body.String()), []has{{".made h2", "A link for Ann"}, {".listed li", "technician of Ferry Lines"}, {".listed li", "has not signed in yet"}})

	check(t, parse(t, w.get(link).Body.String()), []has{{"h1", "Choose a password"}, {"form", "*"}})
	for _, c := range []struct{ name, password, again, want string }{
		{"not the same", password, other, "not the same"},
		{"too short", "short", "short", "at least 15 characters"},
	} {
		rec := w.submit(link, url.Values{"password": {c.password}, "again": {c.again}})
		if rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), c.want) {
			t.Errorf("%s: got %d, want 400 and %q", c.name, rec.Code, c.want)
		}
	}
	rec = w.submit(link, url.Values{"password": {password}, "again": {password}})
	first := sessionOf(t, rec)
	if rec.Code != http.StatusSeeOther {
		t.Errorf("a password chosen: got %d", rec.Code)
	}
	if rec := w.get(link); rec.Code != http.StatusNotFound {
		t.Errorf("a link that was used: got %d, want 404", rec.Code)
	}

	signIn := func(email, password, next string) *httptest.ResponseRecorder {
		return w.submit(web.SignInPath, url.Values{"email": {email}, "password": {password}, "next": {next}})
	}
	wrong := signIn("ann@island.example", other, "/")
	unknown := signIn("nobody@island.example", other, "/")
	if wrong.Code != http.StatusUnauthorized || wordsAt(t, wrong.Body.String(), ".fault") != wordsAt(t, unknown.Body.String(), ".fault") {
		t.Errorf("a wrong password: got %d %q; without an account: %q", wrong.Code,
			wordsAt(t, wrong.Body.String(), ".fault"), wordsAt(t, unknown.Body.String(), ".fault"))
	}
	rec = signIn(" Ann@Island.example ", password, "/plan?week=2")
	second := sessionOf(t, rec)
	if to := rec.Header().Get("Location"); to != "/plan?week=2" || second == first {
		t.Errorf("signed in: got to %q with a new session %t; want where one was going", to, second != first)
	}
	if to := signIn("ann@island.example", password, "//elsewhere.example/").Header().Get("Location"); to != "/" {
		t.Errorf("signed in, to elsewhere: got %q, want /", to)
	}

	// Her own account.
	page := w.as(second, "GET", "/account", nil).Body.String()
	check(t, parse(t, page), []has{{".listed li", "This browser"}, {".listed li", "Another browser"}})
	if may := wordsAt(t, page, "fieldset.ticks"); strings.Contains(may, "Plan") {
		t.Errorf("a technician's token may: %q", may)
	}
	for _, c := range []struct {
		name, path string
		form       url.Values
		want       string
	}{
		{"a name that is blank", "/account", url.Values{"name": {""}, "email": {"ann@island.example"}}, "Name: want one"},
		{"an address that is none", "/account", url.Values{"name": {"Ann"}, "email": {"ann"}}, "mail"},
		{"another address without the password", "/account", url.Values{"name": {"Ann"}, "email": {"quay@island.example"}}, "that is not it"},
		{"not the present password", "/account/password", url.Values{"old": {other}, "password": {other}, "again": {other}}, "that is not it"},
		{"two new passwords", "/account/password", url.Values{"old": {password}, "password": {other}, "again": {password}}, "not the same"},
		{"a token without a day", "/account/tokens", url.Values{"name": {"scan tool"}, "right": {"see"}}, "Works until"},
		{"a token without a right", "/account/tokens", url.Values{"name": {"scan tool"}, "until": {"2026-06-01"}}, "say what the token may do"},
		{"a token with a right she has not", "/account/tokens", url.Values{"name": {"scan tool"}, "until": {"2026-06-01"}, "right": {"plan"}}, "not got it yourself"},
		{"a token for ever", "/account/tokens", url.Values{"name": {"scan tool"}, "until": {"2036-06-01"}, "right": {"see"}}, "within a year"},
	} {
		rec := w.as(second, "POST", c.path, c.form)
		if got := wordsAt(t, rec.Body.String(), ".fault"); rec.Code != http.StatusBadRequest || !strings.Contains(got, c.want) {
			t.Errorf("%s: got %d %q, want %q", c.name, rec.Code, got, c.want)
		}
	}
	page = w.as(second, "POST", "/account/tokens", url.Values{"name": {"scan tool"}, "until": {"2026-06-01"}, "right": {"measure"}}).Body.String()
	secret := wordsAt(t, page, ".made .address")
	if by, err := w.svc.DB.TokenOf(t.Context(), secret); err != nil || !by.May(auth.Measure) || by.May(auth.See) {
		t.Errorf("the token on the page: got %+v, %v", by, err)
	}
	if page := w.as(second, "GET", "/account", nil).Body.String(); strings.Contains(page, secret) {
		t.Error("a token is shown twice")
	}
	if rec := w.as(second, "POST", endPath(t, page), nil); rec.Code != http.StatusOK {
		t.Errorf("a token ended: got %d", rec.Code)
	}
	if _, err := w.svc.DB.TokenOf(t.Context(), secret); err == nil {
		t.Error("a token that was ended lets in")
	}

	rec = w.as(second, "POST", "/account", url.Values{"name": {"Ann of the Quay"}, "email": {"ANN@island.example"}})
	if rec.Code != http.StatusSeeOther {
		t.Errorf("another name: got %d %s", rec.Code, wordsAt(t, rec.Body.String(), ".fault"))
	}
	rec = w.as(second, "POST", "/account", url.Values{"name": {"Ann"}, "email": {"quay@island.example"}, "old": {password}})
	if rec.Code != http.StatusSeeOther {
		t.Errorf("another address: got %d %s", rec.Code, wordsAt(t, rec.Body.String(), ".fault"))
	}

	// A new password ends the other browser, and a copy of this one's session;
	// signing out ends this one.
	rec = w.as(second, "POST", "/account/password", url.Values{"old": {password}, "password": {other}, "again": {other}})
	if rec.Code != http.StatusOK {
		t.Fatalf("a new password: got %d %s", rec.Code, wordsAt(t, rec.Body.String(), ".fault"))
	}
	second, copied := sessionOf(t, rec), second
	if rec := w.as(copied, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("a copy of the session after a new password: got %d, want to sign in", rec.Code)
	}
	if rec := w.as(first, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("the other browser after a new password: got %d, want to sign in", rec.Code)
	}
	if rec := w.as(second, "GET", "/account", nil); rec.Code != http.StatusOK {
		t.Errorf("this browser after a new password: got %d", rec.Code)
	}
	second, copied = sessionOf(t, w.as(second, "POST", "/account/sessions", nil)), second
	if rec := w.as(copied, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("a copy of the session after all others were ended: got %d, want to sign in", rec.Code)
	}
	w.as(second, "POST", "/sign-out", nil)
	if rec := w.as(second, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("after signing out: got %d, want to sign in", rec.Code)
	}
}

// What an admin does with another's account.
func TestOtherAccount(t *testing.T) {
	w := small(t)
	a := store.Account{Name: "Bo", Email: "bo@island.example", Grants: []store.Grant{{Role: auth.Technician, Place: store.Place{FleetID: 1}}}}
	if err := w.svc.DB.AddAccount(t.Context(), auth.AllFleets(), "test", &a); err != nil {
		t.Fatal(err)
	}
	path := accountPath(a.ID)
	page := w.submit(path+"/link", nil).Body.String()
	linkPath(t, page)
	if to, _ := w.follow(t, path+"/roles", url.Values{"role": {"planner"}, "place": {"1/0"}}); to != path {
		t.Errorf("a role given: got to %q", to)
	}
	if rec := w.submit(path+"/roles", url.Values{"role": {"planner"}, "place": {"1/0"}}); rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), "has it there already") {
		t.Errorf("the same role twice: got %d", rec.Code)
	}
	page = w.get(path).Body.String()
	check(t, parse(t, page), []has{{".listed li", "Technician of Ferry Lines"}, {".listed li", "Planner of Ferry Lines"}})
	w.follow(t, endPath(t, page), nil)
	if got := wordsAt(t, w.get(path).Body.String(), ".listed"); strings.Contains(got, "Technician") {
		t.Errorf("a role ended: got %q", got)
	}

	// Signed out by an admin, such as when a phone was lost.
	bo := auth.NewSecret()
	if err := w.svc.DB.StartSession(t.Context(), a.ID, bo, "a lost phone"); err != nil {
		t.Fatal(err)
	}
	if rec := w.as(bo, "GET", "/account", nil); rec.Code != http.StatusOK {
		t.Fatalf("signed in: got %d", rec.Code)
	}
	w.follow(t, path+"/sessions", nil)
	if rec := w.as(bo, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("signed out by an admin: got %d, want to sign in", rec.Code)
	}

	// An admin of one depot sees neither what Bo may elsewhere nor how to stop him.
	depot := store.Grant{Role: auth.Technician, Place: store.Place{FleetID: 1, DepotID: 1}}
	if err := w.svc.DB.GiveGrant(t.Context(), auth.AllFleets(), "test", a.ID, &depot); err != nil {
		t.Fatal(err)
	}
	session, err := storetest.SignIn(t.Context(), w.svc.DB, "of a depot", auth.Grant{Role: auth.Admin, FleetID: 1, DepotID: 1})
	if err != nil {
		t.Fatal(err)
	}
	page = w.as(session, "GET", path, nil).Body.String()
	if strings.Contains(page, "Planner of") || strings.Contains(page, "Stop this account") || !strings.Contains(page, "others elsewhere") && !strings.Contains(page, "an admin of everything") {
		t.Errorf("an admin of a depot sees: %s", wordsAt(t, page, "main"))
	}

	w.follow(t, path+"/stop", nil)
	if rec := w.get(path); rec.Code != http.StatusNotFound {
		t.Errorf("a stopped account: got %d, want 404", rec.Code)
	}
}
