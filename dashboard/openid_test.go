package dashboard

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/openid/openidtest"
	"brakewear/internal/pipeline"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// elsewhereWorld is a small world with a provider, and the account of Ann, a
// technician.
func elsewhereWorld(t *testing.T) (*world, *openidtest.Server, openidtest.Person) {
	t.Helper()
	w, srv := small(t), openidtest.Start(t)
	w.svc.OpenID = srv.Provider("http://example.com" + pipeline.BackPath)
	if _, err := storetest.SignIn(t.Context(), w.svc.DB, "Ann", auth.Grant{Role: auth.Technician}); err != nil {
		t.Fatal(err)
	}
	as, err := w.svc.DB.Accounts(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range as {
		if a.Name == "Ann" {
			return w, srv, openidtest.Person{Subject: "ann-1", Email: a.Email, Verified: true}
		}
	}
	t.Fatal("no account of Ann")
	return nil, nil, openidtest.Person{}
}

// ask sends a GET with cookies.
func (w *world) ask(path string, cookies ...*http.Cookie) *httptest.ResponseRecorder {
	req := httptest.NewRequest(http.MethodGet, path, nil)
	for _, c := range cookies {
		req.AddCookie(c)
	}
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	return rec
}

func TestSignInElsewhere(t *testing.T) {
	w, srv, ann := elsewhereWorld(t)
	button := find(parse(t, w.ask("/sign-in?next=%2Fplan").Body.String()), ".elsewhere a")
	if len(button) != 1 || text(button[0]) != "Sign in with Island Accounts" {
		t.Fatalf("got %d buttons", len(button))
	}
	// A form would not get there: browsers hold form-action against redirects.
	path := attr(button[0], "href")
	away := func() (*http.Cookie, string) {
		t.Helper()
		rec := w.ask(path)
		cookies := rec.Result().Cookies()
		if rec.Code != http.StatusSeeOther || len(cookies) != 1 {
			t.Fatalf("got %d with %d cookies, want to be sent away with one", rec.Code, len(cookies))
		}
		return cookies[0], rec.Header().Get("Location")
	}
	errand, address := away()
	if !errand.HttpOnly || errand.SameSite != http.SameSiteLaxMode || errand.MaxAge != 600 || errand.Path != "/" {
		t.Errorf("the errand's cookie: got %+v", errand)
	}
	if secret, _, _ := strings.Cut(errand.Value, "."); strings.Contains(address, secret) {
		t.Errorf("the address tells the secret: %s", address)
	}
	back := pipeline.BackPath + "?" + srv.Visit(t, address, ann).Encode()

	refused := func(what string, rec *httptest.ResponseRecorder, status int, says string) {
		t.Helper()
		page := rec.Body.String()
		if got := wordsAt(t, page, ".fault"); rec.Code != status || !strings.Contains(got, says) {
			t.Errorf("%s: got %d, %q; want %d and %q", what, rec.Code, got, status, says)
		}
		if len(find(parse(t, page), "input[type=password]")) != 1 {
			t.Errorf("%s: no way to sign in with a password", what)
		}
		for _, c := range rec.Result().Cookies() {
			if c.Name == web.SessionCookie {
				t.Errorf("%s: got a session", what)
			}
		}
	}
	refused("no errand", w.ask(back), 401, "does not belong to this browser")
	other, _ := away()
	refused("another browser's errand", w.ask(back, other), 401, "does not belong to this browser")

	rec := w.ask(back, errand)
	if rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != "/plan" {
		t.Fatalf("got %d to %q, want to be sent to the plan; %s", rec.Code, rec.Header().Get("Location"), wordsAt(t, rec.Body.String(), ".fault"))
	}
	session := sessionOf(t, rec)
	if got := w.as(session, "GET", "/account", nil).Body.String(); !strings.Contains(got, `value="Ann"`) {
		t.Error("it is not Ann who is signed in")
	}
	forgotten := false
	for _, c := range rec.Result().Cookies() {
		forgotten = forgotten || c.Name == errand.Name && c.MaxAge < 0
	}
	if !forgotten {
		t.Error("the browser keeps the errand")
	}
	refused("the same again", w.ask(back, errand), 401, "does not belong to this browser")

	errand, address = away()
	nobody := openidtest.Person{Subject: "x", Email: "nobody@island.example", Verified: true}
	refused("nobody", w.ask(pipeline.BackPath+"?"+srv.Visit(t, address, nobody).Encode(), errand), 401, "There is no account for nobody@island.example here")
	errand, address = away()
	query := srv.Visit(t, address, ann)
	query.Set("error", "access_denied")
	query.Set("error_description", "<script>")
	refused("declined", w.ask(pipeline.BackPath+"?"+query.Encode(), errand), 401, "You were not signed in at Island Accounts")
	errand, address = away()
	query = srv.Visit(t, address, ann)
	srv.Fail(500, "")
	rec = w.ask(pipeline.BackPath+"?"+query.Encode(), errand)
	refused("broken", rec, 503, "Island Accounts cannot be reached just now")
	if rec.Header().Get("Retry-After") == "" {
		t.Error("broken: no Retry-After")
	}
	srv.Fail(0, "")

	// Signing out ends our session, whatever the provider's.
	w.as(session, "POST", "/sign-out", nil)
	if rec := w.as(session, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("signed out: got %d", rec.Code)
	}
}

// A provider that is down keeps nobody out who has a password, and where none
// is set nothing of it is seen.
func TestSignInElsewhereIsOptional(t *testing.T) {
	w, srv, _ := elsewhereWorld(t)
	srv.End()
	rec := w.ask(elsewherePath + "?next=%2Fplan")
	page := parse(t, rec.Body.String())
	if rec.Code != http.StatusServiceUnavailable || len(find(page, "input[type=password]")) != 1 || attr(find(page, "input[name=next]")[0], "value") != "/plan" {
		t.Errorf("down: got %d, %s", rec.Code, wordsAt(t, rec.Body.String(), ".fault"))
	}
	w.svc.OpenID = nil
	if got := find(parse(t, w.ask("/sign-in").Body.String()), ".elsewhere"); len(got) != 0 {
		t.Error("a button that leads nowhere")
	}
	for _, path := range []string{elsewherePath, pipeline.BackPath} {
		if rec := w.ask(path); rec.Code != http.StatusNotFound {
			t.Errorf("%s: got %d, want 404", path, rec.Code)
		}
	}
}

// An errand leads to a page of ours and nowhere else.
func TestErrandLeadsHome(t *testing.T) {
	w, srv, ann := elsewhereWorld(t)
	for next, want := range map[string]string{
		"/plan?week=2026-03-02":         "/plan?week=2026-03-02",
		"//evil.example":                "/",
		"https://evil.example/":         "/",
		"/" + strings.Repeat("a", 2000): "/",
		"":                              "/",
	} {
		rec := w.ask(elsewherePath + "?next=" + url.QueryEscape(next))
		errand := rec.Result().Cookies()[0]
		rec = w.ask(pipeline.BackPath+"?"+srv.Visit(t, rec.Header().Get("Location"), ann).Encode(), errand)
		if got := rec.Header().Get("Location"); got != want {
			t.Errorf("%.40q: leads to %q, want %q", next, got, want)
		}
		// Nor does one that was tampered with.
		rec = w.ask(elsewherePath)
		errand = rec.Result().Cookies()[0]
		errand.Value = strings.TrimSuffix(errand.Value, "%2F") + url.QueryEscape(next)
		rec = w.ask(pipeline.BackPath+"?"+srv.Visit(t, rec.Header().Get("Location"), ann).Encode(), errand)
		if got := rec.Header().Get("Location"); !strings.HasPrefix(got, "/") || strings.HasPrefix(got, "//") {
			t.Errorf("%.40q, tampered: leads to %q", next, got)
		}
	}
}

// An admin sees who signs in elsewhere, and lets go of it.
func TestFreeAccount(t *testing.T) {
	w, srv, ann := elsewhereWorld(t)
	rec := w.ask(elsewherePath)
	if rec = w.ask(pipeline.BackPath+"?"+srv.Visit(t, rec.Header().Get("Location"), ann).Encode(), rec.Result().Cookies()[0]); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d", rec.Code)
	}
	session := sessionOf(t, rec)
	who, err := w.svc.DB.SessionOf(t.Context(), session)
	if err != nil {
		t.Fatal(err)
	}
	path := accountPath(who.Account)
	page := w.ask(path).Body.String()
	if !strings.Contains(page, "Signs in at "+w.svc.OpenID.Issuer) {
		t.Error("the admin is not told where Ann signs in")
	}
	if rec := w.as(session, "POST", path+"/openid/end", nil); rec.Code != http.StatusForbidden {
		t.Errorf("by a technician: got %d, want 403", rec.Code)
	}
	if rec := w.postForm(path+"/openid/end", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("by an admin: got %d", rec.Code)
	}
	if page := w.ask(path).Body.String(); strings.Contains(page, "Signs in at") || strings.Contains(page, "/openid/end") {
		t.Error("still bound")
	}
}

// TestBrowserSignInElsewhere goes to the provider and back as a person does,
// past the content security policy.
func TestBrowserSignInElsewhere(t *testing.T) {
	ctx := browser(t)
	w, srv, ann := elsewhereWorld(t)
	site := httptest.NewServer(w.handler)
	defer site.Close()
	w.svc.OpenID = srv.Provider(site.URL + pipeline.BackPath)
	for _, width := range []int64{desk, phone} {
		faults := complaints(t, ctx)
		look(t, ctx, width, "light", site.URL+"/sign-in?next=%2Faccount")
		if small := eval[string](t, ctx, tooSmall); small != "" && width == phone {
			t.Errorf("smaller than 44 px: %s", small)
		}
		shoot(t, ctx, "sign-in-elsewhere")
		srv.Next(ann)
		must(t, ctx, chromedp.Click(chromedp.CSS(".elsewhere a")))
		until(t, ctx, `location.pathname === "/account"`)
		if got := eval[string](t, ctx, `document.querySelector("#f-name, input[name=name]").value`); got != "Ann" {
			t.Errorf("signed in is %q, want Ann", got)
		}
		if got := faults(); got != "" {
			t.Errorf("the browser complains: %s", got)
		}
	}
}
