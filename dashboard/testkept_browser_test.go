package dashboard

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// TestBrowserTestOffline opens a job card, goes where there is no network, opens the form
// of the test after the job for the first time, and fills it in: it is kept, and sent once.
func TestBrowserTestOffline(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	s := &switched{t: t, addr: "127.0.0.1:0", h: w.handler}
	s.start()
	defer func() { s.stop() }()
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	look(t, ctx, phone, "light", fmt.Sprintf("http://%s/cards/%d", s.addr, card.ID))
	until(t, ctx, `navigator.serviceWorker.controller !== null`)
	until(t, ctx, `(Promise.all([...document.querySelectorAll("#test .next a")].map(a => caches.match(a.href)).concat(caches.open("brakewear-files").then(c => c.keys()))).then(([before, after, files]) => {
		window.kept = Boolean(before && after && ["kept.", "card.", "reach.", "braketest.", "outbox."].every(name => files.some(f => f.url.includes(name))))
	}), window.kept === true)`)

	s.stop()
	must(t, ctx, press(`#test .next a:last-child`))
	until(t, ctx, loaded+` && document.querySelector(".test-form") !== null`)
	// The page is of the world's day, the phone's clock is of a later one.
	until(t, ctx, `document.querySelector("[name=day]").value === new Date().toLocaleDateString("sv")`)
	eval[bool](t, ctx, fmt.Sprintf(`document.querySelector("[name=day]").value = %q, true`, w.svc.Today()))
	must(t, ctx, typeIn(`[name=force_1_left]`, "14,1"), typeIn(`[name=force_1_right]`, "13.2"), press(`[name=force_1_right_locked]`), typeIn(`[name=weight]`, "about 6"))
	until(t, ctx, `document.querySelector(".state").textContent === "Kept on this phone as you type."`)
	must(t, ctx, press(`[value=judge]`))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("There is no connection to judge it by.")`)
	must(t, ctx, press(`[value=keep]`))
	kept := `document.querySelector(".test-form .state")?.textContent.startsWith("Kept on this phone, not sent yet")`
	until(t, ctx, kept)
	fits390(t, ctx)
	shoot(t, ctx, "test-kept-390-light")
	must(t, ctx, chromedp.Reload())
	until(t, ctx, kept)
	if got := eval[string](t, ctx, `["force_1_left", "force_1_right", "weight", "stage"].map(n => document.querySelector("[name=" + n + "]").value).join(" ") + document.querySelector("[name=force_1_right_locked]").checked`); got != "14,1 13.2 about 6 aftertrue" {
		t.Errorf("entries: got %q", got)
	}

	// What cannot be read comes back to its field, and is sent again.
	s.start()
	until(t, ctx, `document.activeElement.name === "weight"`)
	if got := textOf(t, ctx, "#w-weight"); got != "“about 6” is no number: write digits, such as 12.5" {
		t.Errorf("at the field: got %q", got)
	}
	eval[bool](t, ctx, `document.activeElement.value = "", true`)
	must(t, ctx, typeIn(`[name=weight]`, "6100"), press(`[value=keep]`))
	until(t, ctx, fmt.Sprintf(`location.pathname === "/cards/%d"`, card.ID))
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), card.VehicleID)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(h.BrakeTests); n != 1 {
		t.Fatalf("%d tests, want one", n)
	}
	if b := h.BrakeTests[0]; b.Stage != fleet.AfterJob || b.WeightKg != 6100 || len(b.Wheels) != 2 || b.Wheels[0].N != 14100 || !b.Wheels[1].Locked {
		t.Errorf("got %+v", b)
	}
	if got := eval[int](t, ctx, `Object.keys(localStorage).filter(k => k.startsWith("brakewear:form:")).length`); got != 0 {
		t.Errorf("%d forms are still kept", got)
	}
}

// TestBrowserTestJudged asks what would be said of a test while it is typed: what was
// typed is still kept on the page that says so, and on going back to it later.
func TestBrowserTestJudged(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	form := srv.URL + w.vehiclePath(t, "Bus 1") + "/test?method=decelerometer&stage=before"
	look(t, ctx, phone, "light", form)
	until(t, ctx, loaded)
	// Back on the page that asked, as it was, the button to keep it means what it says.
	eval[bool](t, ctx, `document.querySelector(".test-form").submit = function () { window.asked = new FormData(this).get("do"); }, true`)
	must(t, ctx, typeIn(`[name=mean]`, "5.4"), press(`[value=judge]`))
	until(t, ctx, `window.asked === "judge" && new FormData(document.querySelector(".test-form")).get("do") === null`)
	eval[bool](t, ctx, `delete document.querySelector(".test-form").submit`)
	must(t, ctx, press(`[value=judge]`))
	until(t, ctx, loaded+` && document.querySelector(".judged") !== null`)
	must(t, ctx, typeIn(`[name=pedal]`, "300"))
	// What is cleared stays so as well.
	eval[bool](t, ctx, `document.querySelector("[name=day]").value = "", document.querySelector("[name=day]").dispatchEvent(new Event("input", { bubbles: true }))`)
	must(t, ctx, chromedp.Navigate(form))
	until(t, ctx, `document.querySelector(".state")?.textContent.includes("are still here, not sent.")`)
	if got := eval[string](t, ctx, `["mean", "pedal", "stage", "day"].map(n => document.querySelector("[name=" + n + "]").value).join(" ")`); got != "5.4 300 before " {
		t.Errorf("entries: got %q", got)
	}
	must(t, ctx, press(`.state button`)) // Start afresh
	until(t, ctx, loaded+` && document.querySelector("[name=mean]").value === "" && document.querySelector(".state").textContent === ""`)
}

// TestBrowserFormDenied sends a form of somebody who may not any more: it comes back with
// the reason, and does not wait for a sign-in that would change nothing.
func TestBrowserFormDenied(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	const why = "your account may not do this: ask whoever looks after the accounts"
	srv := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost {
			rw.Header().Set("Content-Type", "application/problem+json")
			rw.WriteHeader(http.StatusForbidden)
			fmt.Fprintf(rw, `{"title": "Forbidden", "status": 403, "detail": %q}`, why)
			return
		}
		w.handler.ServeHTTP(rw, r)
	}))
	defer srv.Close()
	look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, "Bus 1")+"/measure")
	enter(t, ctx, "1-left-inner-pad", "4.5")
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, fmt.Sprintf(`document.querySelector(".state").textContent === %q && !document.querySelector(".sendbar [type=submit]").disabled`, why))
	if got := eval[string](t, ctx, `document.querySelector("[name='1-left-inner-pad']").value`); got != "4.5" {
		t.Errorf("its value: got %q", got)
	}
}

// TestBrowserSharedPhone leaves a form unsent on a phone that somebody else signs in on
// next: it is neither shown to them nor sent in their name, and its owner has it back.
func TestBrowserSharedPhone(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	var session atomic.Value
	as := func(name string) string {
		t.Helper()
		s, err := storetest.SignIn(t.Context(), w.svc.DB, name, auth.Grant{Role: auth.Admin})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	ann, ben := as("Ann"), as("Ben")
	var down atomic.Bool
	srv := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if down.Load() && r.Method == http.MethodPost {
			http.Error(rw, "restarting", http.StatusServiceUnavailable)
			return
		}
		r.AddCookie(&http.Cookie{Name: web.SessionCookie, Value: session.Load().(string)})
		w.handler.ServeHTTP(rw, r)
	}))
	defer srv.Close()
	bus := w.vehiclePath(t, "Bus 1")
	session.Store(ann)
	down.Store(true)
	look(t, ctx, phone, "light", srv.URL+bus+"/measure")
	until(t, ctx, `navigator.serviceWorker.controller !== null`)
	must(t, ctx, chromedp.Reload()) // by the worker, which keeps it
	until(t, ctx, loaded)
	enter(t, ctx, "1-left-inner-pad", "4.5")
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("Kept on this phone, not sent yet")`)

	// Her session ends without her signing out, and the server can again.
	session.Store("over")
	down.Store(false)
	must(t, ctx, chromedp.Navigate(srv.URL+"/sign-in"))
	until(t, ctx, `document.querySelector("main .notice")?.textContent === "1 form that was not sent is kept on this phone: whoever filled it in has it back by signing in here."`)
	shoot(t, ctx, "kept-sign-in-390-light")
	session.Store(ben)
	must(t, ctx, chromedp.Navigate(srv.URL+"/vehicles"))
	until(t, ctx, `(caches.keys().then((names) => { window.kept = names.includes("brakewear-pages"); }), window.kept) === false`)
	must(t, ctx, chromedp.Navigate(srv.URL+bus+"/measure"))
	until(t, ctx, loaded)
	if got := eval[string](t, ctx, `document.querySelector("[name='1-left-inner-pad']").value + document.querySelector(".state").textContent + (document.querySelector(".outbox, .returned")?.textContent || "")`); got != "" {
		t.Errorf("somebody else is shown %q", got)
	}
	enter(t, ctx, "1-left-outer-pad", "4.7") // his own, of the same vehicle
	if n := uploads(t, w); n != 3 {
		t.Errorf("%d uploads, want the 3 files", n)
	}

	session.Store(ann)
	must(t, ctx, chromedp.Navigate(srv.URL+"/vehicles"))
	until(t, ctx, `document.querySelector("main .notice")?.textContent === "The form that was kept on this phone is sent now: Bus 1."`)
	ups, err := w.svc.DB.Uploads(t.Context(), auth.AllFleets(), 0, 0)
	if err != nil || len(ups) != 4 || !strings.Contains(fmt.Sprint(ups[0].By, ups[3].By), "Ann") {
		t.Errorf("got %+v, %v, want Ann's form", ups, err)
	}
	// The page that is the next person's first is within reach for him, and hers no longer.
	within := loaded + ` && (caches.match(location.pathname).then((r) => r?.text()).then((s) => { window.kept = s?.includes("data-person=\"" + document.body.dataset.person + "\""); }), window.kept) === true`
	must(t, ctx, chromedp.Navigate(srv.URL+bus+"/measure"))
	until(t, ctx, within)
	session.Store(ben)
	must(t, ctx, chromedp.Navigate(srv.URL+bus+"/measure"))
	until(t, ctx, within)
	until(t, ctx, `document.querySelector(".state")?.textContent.includes("are still here, not sent.") && document.querySelector("[name='1-left-outer-pad']").value === "4.7" && document.querySelector("[name='1-left-inner-pad']").value === ""`)
}
