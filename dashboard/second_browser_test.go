package dashboard

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/pquerna/otp/totp"

	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// second is a small world with Ann, who has a password, and a clock that moves.
type second struct {
	*world
	at  time.Time
	ann store.Account
}

const secondPassword = "four plain words here"

func newSecond(t *testing.T) *second {
	t.Helper()
	s := &second{world: small(t), at: now}
	s.svc.Now = func() time.Time { return s.at }
	s.svc.DB.Now = s.svc.Now
	s.ann = store.Account{Name: "Ann", Email: "ann@island.example", Grants: []store.Grant{{Role: auth.Planner}}}
	if err := s.svc.AddAccountWithPassword(t.Context(), auth.AllFleets(), "test", &s.ann, secondPassword); err != nil {
		t.Fatal(err)
	}
	return s
}

// code is what an app shows next, that has a key as a page says it.
func (s *second) code(t *testing.T, key string) string {
	t.Helper()
	s.at = s.at.Add(30 * time.Second)
	code, err := totp.GenerateCode(strings.ReplaceAll(key, " ", ""), s.at)
	if err != nil {
		t.Fatalf("%q: %v", key, err)
	}
	return code
}

// with sends a form by the cookies given, and by no session but theirs.
func (s *second) with(method, path string, cookies []*http.Cookie, form url.Values) *httptest.ResponseRecorder {
	req := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for _, c := range append(cookies, &http.Cookie{Name: web.SessionCookie, Value: "none"}) {
		req.AddCookie(c)
	}
	rec := httptest.NewRecorder()
	s.handler.ServeHTTP(rec, req)
	return rec
}

// From the account's page to a code after the password, and off again by an
// admin, without scripts.
func TestSecondFactorPages(t *testing.T) {
	s := newSecond(t)
	enter := func() *httptest.ResponseRecorder {
		return s.with("POST", web.SignInPath, nil, url.Values{"email": {s.ann.Email}, "password": {secondPassword}, "next": {"/plan?week=2"}})
	}
	session := sessionOf(t, enter())
	page := s.as(session, "GET", "/account", nil).Body.String()
	check(t, parse(t, page), []has{{"#second button", "Set up a second factor"}})
	if rec := s.as(session, "POST", "/account/second", url.Values{"old": {"wrong"}}); rec.Code != http.StatusBadRequest {
		t.Errorf("with a wrong password: got %d, want 400", rec.Code)
	}
	page = s.as(session, "POST", "/account/second", url.Values{"old": {secondPassword}}).Body.String()
	check(t, parse(t, page), []has{{"svg.qr path", "*"}})
	key := wordsAt(t, page, "#key")
	rec := s.as(session, "POST", "/account/second/confirm", url.Values{"code": {"000"}})
	session = sessionOf(t, rec)
	if rec.Code != http.StatusBadRequest || wordsAt(t, rec.Body.String(), "#key") != key {
		t.Errorf("a wrong first code: got %d, want 400 and the same key again", rec.Code)
	}
	// Codes that nobody has seen are not kept either.
	storetest.Exec(t, s.file, `create trigger torn before update of sha256 on sessions begin select raise(abort, 'torn'); end`)
	if rec := s.as(session, "POST", "/account/second/confirm", url.Values{"code": {s.code(t, key)}}); rec.Code != http.StatusInternalServerError {
		t.Errorf("with a fault of the database: got %d, want 500", rec.Code)
	}
	storetest.Exec(t, s.file, `drop trigger torn`)
	if f, err := s.svc.DB.SecondOf(t.Context(), s.ann.ID); err != nil || f.On() || f.Recovery > 0 {
		t.Errorf("after it: got %+v, %v, want a second factor only begun", f, err)
	}
	rec = s.as(session, "POST", "/account/second/confirm", url.Values{"code": {s.code(t, key)}})
	codes := strings.Fields(wordsAt(t, rec.Body.String(), ".codes"))
	if len(codes) != 10 {
		t.Fatalf("got the recovery codes %v, want 10", codes)
	}
	if rec := s.as(session, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("a copy of the session from before: got %d, want to sign in", rec.Code)
	}
	session = sessionOf(t, rec)
	page = s.as(session, "GET", "/account", nil).Body.String()
	if strings.Contains(page, key) || strings.Contains(page, codes[0]) || !strings.Contains(page, "10 recovery codes left") {
		t.Error("the account's page shows a secret, or not what is left of the codes")
	}

	rec = enter()
	if to := rec.Header().Get("Location"); to != codePath {
		t.Fatalf("after the password: got to %q, want %s", to, codePath)
	}
	for _, c := range rec.Result().Cookies() {
		if c.Name == web.SessionCookie {
			t.Error("after the password alone the browser has a session")
		}
	}
	begun := rec.Result().Cookies()
	page = s.with("GET", codePath, begun, nil).Body.String()
	check(t, parse(t, page), []has{{"h1", "Your code"}})
	if fields := find(parse(t, page), "#f-code"); len(fields) != 1 || attr(fields[0], "autocomplete") != "one-time-code" {
		t.Error("the field of the code does not say what it is of")
	}
	if strings.Contains(page, key) || len(find(parse(t, page), "svg.qr")) > 0 {
		t.Error("the key is shown to who has the password alone")
	}
	if rec := s.with("POST", codePath, begun, url.Values{"code": {"12"}}); rec.Code != http.StatusUnauthorized {
		t.Errorf("a wrong code: got %d, want 401", rec.Code)
	}
	rec = s.with("POST", codePath, begun, url.Values{"code": {s.code(t, key)}})
	if to := rec.Header().Get("Location"); to != "/plan?week=2" {
		t.Errorf("signed in: got %d to %q, want where one was going", rec.Code, to)
	}
	session = sessionOf(t, rec)
	if rec := s.with("GET", codePath, begun, nil); rec.Code != http.StatusUnauthorized || !strings.Contains(rec.Body.String(), "sign in again") {
		t.Errorf("the page opened again: got %d, want to begin again", rec.Code)
	}

	path := accountPath(s.ann.ID)
	check(t, parse(t, s.get(path).Body.String()), []has{{"button", "Take its second factor off"}})
	s.follow(t, path+"/second/end", nil)
	if rec := s.as(session, "GET", "/account", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("her session after it was taken off: got %d, want to sign in", rec.Code)
	}
	sessionOf(t, enter())
}

// TestBrowserSecondFactor sets a second factor up where it must be, in the
// browser: every page of it at both widths and in both themes.
func TestBrowserSecondFactor(t *testing.T) {
	ctx := browser(t)
	s := newSecond(t)
	s.svc.Second = pipeline.SecondAll
	srv := httptest.NewServer(s.handler)
	defer srv.Close()
	fits := func(name string) {
		t.Helper()
		for _, v := range axe(t, ctx) {
			t.Errorf("%s: %s", name, v)
		}
		if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("%s runs %g px over the edge: %s", name, over, eval[string](t, ctx, widest))
		}
		if small := eval[string](t, ctx, tooSmall); small != "" && eval[float64](t, ctx, `innerWidth`) < 500 {
			t.Errorf("%s has what is smaller than 44 px: %s", name, small)
		}
		shoot(t, ctx, name)
	}
	send := func(fields map[string]string, form string) {
		t.Helper()
		for id, value := range fields {
			must(t, ctx, chromedp.SetValue(chromedp.CSS("#"+id), value))
		}
		must(t, ctx, chromedp.Click(chromedp.CSS(form+" button")))
	}
	for i, dress := range []struct {
		width int64
		theme string
	}{{desk, "light"}, {phone, "dark"}} {
		name := func(page string) string { return fmt.Sprintf("second-%s-%d-%s", page, dress.width, dress.theme) }
		look(t, ctx, dress.width, dress.theme, srv.URL+"/sign-in")
		send(map[string]string{"f-email": s.ann.Email, "f-password": secondPassword}, `form[action="/sign-in"]`)
		until(t, ctx, `location.pathname === "/sign-in/code" && document.readyState === "complete"`)
		fits(name("must"))
		key := eval[string](t, ctx, `document.querySelector("#key").textContent`)
		// The picture is drawn: dark on light, whatever the theme.
		if got := eval[string](t, ctx, `getComputedStyle(document.querySelector(".qr path")).fill + getComputedStyle(document.querySelector(".qr rect")).fill`); got != "rgb(0, 0, 0)rgb(255, 255, 255)" {
			t.Errorf("the code is drawn in %s", got)
		}
		send(map[string]string{"f-code": s.code(t, key)}, `form[action="/sign-in/code"]`)
		until(t, ctx, `document.querySelectorAll(".codes li").length === 10`)
		fits(name("recovery"))
		must(t, ctx, chromedp.Navigate(srv.URL+"/account"))
		fits(name("on"))
		send(map[string]string{"f-plain": secondPassword}, `form[action="/account/second/end"]`)
		until(t, ctx, `document.querySelector("#f-second") !== null`)
		send(map[string]string{"f-second": secondPassword}, `form[action="/account/second"]`)
		until(t, ctx, `document.querySelector("#key") !== null`)
		fits(name("set-up"))
		send(map[string]string{"f-code": "000000"}, `form[action="/account/second/confirm"]`)
		until(t, ctx, `document.querySelector("#code-fault") !== null`)
		fits(name("wrong"))
		key = eval[string](t, ctx, `document.querySelector("#key").textContent`)
		send(map[string]string{"f-code": s.code(t, key)}, `form[action="/account/second/confirm"]`)
		until(t, ctx, `document.querySelectorAll(".codes li").length === 10`)
		must(t, ctx, chromedp.Click(chromedp.CSS(".sign-out button")))
		until(t, ctx, `location.pathname === "/sign-in" && document.querySelector("#f-email") !== null`)
		send(map[string]string{"f-email": s.ann.Email, "f-password": secondPassword}, `form[action="/sign-in"]`)
		until(t, ctx, `document.querySelector("#f-code") !== null`)
		fits(name("code"))
		send(map[string]string{"f-code": s.code(t, key)}, `form[action="/sign-in/code"]`)
		until(t, ctx, `location.pathname === "/" && document.querySelector(".sign-out button") !== null`)
		if i == 0 {
			if err := s.svc.DB.EndSecond(t.Context(), auth.AllFleets(), "test", s.ann.ID); err != nil {
				t.Fatal(err)
			}
		}
		must(t, ctx, chromedp.Navigate("about:blank"))
	}
}
