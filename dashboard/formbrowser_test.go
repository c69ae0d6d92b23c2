package dashboard

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// enter types a value into a field and leaves it, as a person does.
func enter(t *testing.T, ctx context.Context, name, value string) {
	t.Helper()
	must(t, ctx, typeIn(fmt.Sprintf(`[name="%s"]`, name), value))
	eval[bool](t, ctx, `document.activeElement.blur(), true`)
	settled(t, ctx)
}

// settled waits until the page has followed a change.
func settled(t *testing.T, ctx context.Context) {
	t.Helper()
	eval[bool](t, ctx, `window.settled = false, setTimeout(() => window.settled = true, 0), true`)
	until(t, ctx, `window.settled`)
}

// until waits for a JavaScript expression to be true.
func until(t *testing.T, ctx context.Context, expression string) {
	t.Helper()
	for range 600 { // half a minute: a busy machine takes its time
		// A page that is just being left has nothing to say.
		if v, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression)); err == nil && v {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("never true: %s\n%s", expression, eval[string](t, ctx, `location.href + "\n" + document.querySelector("main").innerText`))
}

// said is what is remarked beside a field.
func said(t *testing.T, ctx context.Context, name string) string {
	t.Helper()
	return eval[string](t, ctx, fmt.Sprintf(`document.getElementById("r-%s").innerText`, name))
}

// fits390 wants a phone's page to stay within its edges, and its controls large
// enough for a thumb.
func fits390(t *testing.T, ctx context.Context) {
	t.Helper()
	if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
		t.Errorf("the page runs %g px over the edge: %s", over, eval[string](t, ctx, widest))
	}
	if small := eval[string](t, ctx, tooSmall); small != "" {
		t.Errorf("smaller than 44 px: %s", small)
	}
	if narrow := eval[string](t, ctx, tooNarrow); narrow != "" {
		t.Errorf("narrower than 44 px: %s", narrow)
	}
}

// TestBrowserForm enters a bus on a phone: what disagrees is said at once, is
// confirmed, and the form is sent.
func TestBrowserForm(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	faults := complaints(t, ctx)
	look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, "Bus 1")+"/measure")
	enter(t, ctx, "odometer", "15900")
	if got := said(t, ctx, "odometer"); !strings.Contains(got, "Below the 155,000 km of 1 Feb 2026") {
		t.Errorf("odometer: got %q", got)
	}
	shoot(t, ctx, "form-odometer-390-light")
	eval[bool](t, ctx, `document.querySelector("[name=odometer]").value = "", true`)
	enter(t, ctx, "odometer", "159000")
	if got := said(t, ctx, "odometer"); got != "" {
		t.Errorf("put right, the odometer is remarked on: %q", got)
	}
	enter(t, ctx, "1-left-outer-pad", "4,6")
	enter(t, ctx, "1-left-inner-pad", "9.9")
	if got := said(t, ctx, "1-left-inner-pad"); !strings.Contains(got, "4.8 mm thicker than on 1 Feb 2026 (5.1 mm), and no new part is on record.") {
		t.Errorf("inner pad: got %q", got)
	}
	if got := said(t, ctx, "1-left-outer-pad"); !strings.Contains(got, "5.3 mm less than the inner pad of this wheel (9.9 mm)") {
		t.Errorf("outer pad: got %q", got)
	}
	if got := eval[string](t, ctx, `document.querySelector(".count").textContent`); got != "2 of 6 filled in" {
		t.Errorf("got %q", got)
	}
	fits390(t, ctx)
	shoot(t, ctx, "form-remarks-390-light")
	must(t, ctx, chromedp.EmulateViewport(desk, 900))
	shoot(t, ctx, "form-remarks-1280-light")
	must(t, ctx, chromedp.EmulateViewport(phone, 900))
	// Sent all the same, it leads to what is open.
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.includes("2 values want a second look")`)
	if got := eval[string](t, ctx, `document.activeElement.name`); got != "confirm-1-left-outer-pad" {
		t.Errorf("the focus is on %q", got)
	}
	must(t, ctx, chromedp.Click(chromedp.CSS(`[name=confirm-1-left-outer-pad]`)))
	until(t, ctx, `document.querySelector(".state").textContent.includes("One value wants a second look")`)
	// A tap that leaves a field just changed still lands where it was aimed.
	eval[bool](t, ctx, `document.querySelector("[name='1-left-inner-pad']").value = "", true`)
	must(t, ctx,
		typeIn(`[name="1-left-inner-pad"]`, "4.4"),
		chromedp.Click(chromedp.CSS(`#w-1-left .more summary`)),
	)
	// Put right, the pads are remarked on no longer, and nothing is asked for.
	until(t, ctx, `document.querySelector(".state").textContent === "Kept on this phone as you type."`)
	until(t, ctx, `!(document.getElementById("r-1-left-inner-pad").innerText + document.getElementById("r-1-left-outer-pad").innerText)`)
	must(t, ctx, chromedp.Click(chromedp.CSS(`[name=tick][value="1-left glazed"]`)))
	until(t, ctx, `document.querySelector("[name=tick][value='1-left glazed']").checked`)
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	must(t, ctx, chromedp.WaitVisible(chromedp.CSS(".taken")))
	fits390(t, ctx)
	shoot(t, ctx, "sent-390-light")
	const apart = `[...document.querySelectorAll(".summary li")].every((li) => (([a, b]) => a.right <= b.left || a.bottom <= b.top)([...li.children].map((e) => e.getBoundingClientRect())))`
	if !eval[bool](t, ctx, apart) {
		t.Error("an axle's name and its verdict lie over each other")
	}
	if got := textOf(t, ctx, ".taken"); !strings.Contains(got, "axle 1 left inner pad 4.4 mm") || !strings.Contains(got, "left: glazed") {
		t.Errorf("taken: got %q", got)
	}
	if got := eval[int](t, ctx, `Object.keys(localStorage).filter(k => k.startsWith("brakewear:form:")).length`); got != 0 {
		t.Errorf("%d forms are still kept", got)
	}
	// The next form knows the person, and begins empty.
	must(t, ctx, chromedp.Navigate(srv.URL+w.vehiclePath(t, "Bus 2")+"/measure"))
	if got := eval[string](t, ctx, `document.querySelector(".who").open + document.querySelector(".who summary").textContent + document.querySelector("[name=odometer]").value`); got != "false"+tester+" · measured 2 Mar 2026 · mm" {
		t.Errorf("got %q", got)
	}
	if got := faults(); got != "" {
		t.Errorf("the browser complains: %s", got)
	}
}

// TestBrowserFormUnits: what one instrument shows is not taken for what the next
// vehicle's does, and is known when its own form is opened again.
func TestBrowserFormUnits(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	unit := func(number, want string) {
		t.Helper()
		look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, number)+"/measure")
		until(t, ctx, loaded)
		if got := eval[string](t, ctx, `document.querySelector("[name=km_unit]").value`); got != want {
			t.Errorf("%s: got %s, want %s", number, got, want)
		}
	}
	unit("Bus 1", "km")
	choose := func(u string) {
		eval[bool](t, ctx, fmt.Sprintf(`(s => { s.value = %q; return s.dispatchEvent(new Event("input", {bubbles: true})) })(document.querySelector("[name=km_unit]"))`, u))
	}
	choose("mi")
	unit("Bus 2", "km")
	unit("Bus 1", "mi")
	choose("km")
	unit("Bus 1", "km")
}

// TestBrowserFormKeys goes through a form by its keys alone: Enter and Tab lead
// round the vehicle, and do not send half a form.
func TestBrowserFormKeys(t *testing.T) {
	ctx := browser(t)
	w := island(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	look(t, ctx, desk, "light", srv.URL+w.vehiclePath(t, "Bus 112")+"/measure")
	must(t, ctx, chromedp.Focus(chromedp.CSS("[name=odometer]")))
	var walk []string
	for range 9 {
		walk = append(walk, eval[string](t, ctx, `document.activeElement.name`))
		must(t, ctx, chromedp.KeyEvent("\r"))
	}
	want := []string{
		"odometer",
		"1-left-outer-pad", "1-left-inner-pad",
		"2-left-outer-pad", "2-left-inner-pad",
		"2-right-outer-pad", "2-right-inner-pad",
		"1-right-outer-pad", "1-right-inner-pad",
	}
	if !slices.Equal(walk, want) {
		t.Errorf("got %q, want %q", walk, want)
	}
	if got := eval[string](t, ctx, `document.activeElement.name`); got != "note" {
		t.Errorf("after the last wheel: got %q, want the note", got)
	}
	// Tab has the same order, with what is folded up between.
	order := eval[[]string](t, ctx, `[...document.querySelectorAll("form.measure input")].filter(e => e.checkVisibility() && e.dataset.part).map(e => e.name)`)
	if !slices.Equal(order, want[1:]) {
		t.Errorf("by Tab: got %q, want %q", order, want[1:])
	}
	if got := eval[int](t, ctx, `document.querySelectorAll("[tabindex]:not([tabindex='0']):not([tabindex='-1'])").length`); got != 0 {
		t.Errorf("%d elements have an order of their own", got)
	}
}

// TestBrowserFind types a plate and takes the vehicle by the arrow keys.
func TestBrowserFind(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	faults := complaints(t, ctx)
	look(t, ctx, phone, "light", srv.URL+"/measure")
	must(t, ctx, typeIn("#find", "bus"))
	until(t, ctx, `document.querySelectorAll(".found [role=option]").length === 2`)
	if got := eval[string](t, ctx, `["role", "aria-expanded", "aria-controls"].map(n => document.querySelector("#find").getAttribute(n)).join(" ")`); got != "combobox true found" {
		t.Errorf("got %q", got)
	}
	if got := textOf(t, ctx, ".find-say"); got != "2 vehicles fit." {
		t.Errorf("got %q", got)
	}
	must(t, ctx, chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown))
	if got := eval[string](t, ctx, `document.getElementById(document.querySelector("#find").getAttribute("aria-activedescendant")).textContent`); !strings.Contains(got, "Bus 2") {
		t.Errorf("the arrow keys are on %q", got)
	}
	shoot(t, ctx, "find-list-390-light")
	must(t, ctx, chromedp.KeyEvent("\r"))
	until(t, ctx, `location.pathname.endsWith("/measure") && location.pathname !== "/measure"`)
	if got := textOf(t, ctx, "h1"); got != "Bus 2" {
		t.Errorf("got %q", got)
	}
	if got := faults(); got != "" {
		t.Errorf("the browser complains: %s", got)
	}
}

// switched is a server that can be stopped and started at the same address.
type switched struct {
	t    *testing.T
	addr string
	h    http.Handler
	srv  *http.Server
}

func (s *switched) start() {
	s.t.Helper()
	ln, err := net.Listen("tcp", s.addr)
	if err != nil {
		s.t.Fatal(err)
	}
	s.addr = ln.Addr().String()
	s.srv = &http.Server{Handler: s.h, ReadHeaderTimeout: time.Second}
	go s.srv.Serve(ln)
}

func (s *switched) stop() {
	s.t.Helper()
	if err := s.srv.Close(); err != nil {
		s.t.Error(err)
	}
}

// TestBrowserFormOffline sends with the server stopped, leaves the page and
// comes back to it, and starts the server: nothing is lost, and nothing is
// counted twice.
func TestBrowserFormOffline(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	s := &switched{t: t, addr: "127.0.0.1:0", h: w.handler}
	s.start()
	defer func() { s.stop() }()
	bus := w.vehiclePath(t, "Bus 1")
	look(t, ctx, phone, "light", "http://"+s.addr+bus+"/measure")
	enter(t, ctx, "1-left-inner-pad", "4.5")
	// The page is kept for a time without a network.
	until(t, ctx, `navigator.serviceWorker.controller !== null`)
	eval[bool](t, ctx, `window.kept = false, caches.match(location.pathname).then(r => window.kept = Boolean(r)), true`)
	for range 600 {
		if eval[bool](t, ctx, `window.kept || (caches.match(location.pathname).then(r => window.kept = Boolean(r)), false)`) {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}

	s.stop()
	enter(t, ctx, "1-left-outer-pad", "4.7")
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("Kept on this phone, not sent yet")`)
	shoot(t, ctx, "form-kept-390-light")
	must(t, ctx, chromedp.Reload())
	until(t, ctx, `document.querySelector(".state")?.textContent.startsWith("Kept on this phone, not sent yet")`)
	if got := eval[string](t, ctx, `document.querySelector("[name='1-left-inner-pad']").value + document.querySelector("[name='1-left-outer-pad']").value`); got != "4.54.7" {
		t.Errorf("entries: got %q", got)
	}
	// It can be taken back, and sent again.
	eval[bool](t, ctx, `document.querySelector(".state button").click(), true`)
	until(t, ctx, `!document.querySelector(".sendbar [type=submit]").disabled`)
	enter(t, ctx, "note", "pin is stiff")
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("Kept on this phone, not sent yet")`)
	if n := uploads(t, w); n != 3 {
		t.Fatalf("%d uploads, want the 3 files", n)
	}

	s.start()
	until(t, ctx, `location.pathname.includes("/measured/")`)
	if got := textOf(t, ctx, "h1"); got != "Bus 1: taken in" {
		t.Errorf("got %q", got)
	}
	if got := textOf(t, ctx, ".taken"); !strings.Contains(got, "4.5 mm") || !strings.Contains(got, "4.7 mm") || !strings.Contains(got, "stiff") {
		t.Errorf("taken: got %q", got)
	}
	if n := uploads(t, w); n != 4 {
		t.Errorf("%d uploads, want the 3 files and one form", n)
	}
}

func uploads(t *testing.T, w *world) int {
	t.Helper()
	ups, err := w.svc.DB.Uploads(t.Context(), auth.AllFleets(), 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	return len(ups)
}

// TestBrowserFormAnswerLost takes the form in and cuts the line before the
// answer: the browser sends it again, and nothing is counted twice.
func TestBrowserFormAnswerLost(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	var posts atomic.Int32
	srv := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost && posts.Add(1) == 1 {
			w.handler.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		}
		w.handler.ServeHTTP(rw, r)
	}))
	defer srv.Close()
	look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, "Bus 1")+"/measure")
	enter(t, ctx, "1-left-inner-pad", "4.5")
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `location.pathname.includes("/measured/")`)
	if got := textOf(t, ctx, "h1"); got != "Bus 1: nothing new" {
		t.Errorf("got %q", got)
	}
	if n, sent := uploads(t, w), posts.Load(); n != 4 || sent < 2 {
		t.Errorf("%d uploads by %d requests, want the 3 files and one form by 2", n, sent)
	}
}

// takesNothing serves w's pages, and takes nothing that is sent for as long as down is
// true.
func takesNothing(t *testing.T, w *world) (srv *httptest.Server, down *atomic.Bool) {
	t.Helper()
	down = new(atomic.Bool)
	down.Store(true)
	srv = httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if down.Load() && r.Method == http.MethodPost {
			http.Error(rw, "restarting", http.StatusServiceUnavailable)
			return
		}
		w.handler.ServeHTTP(rw, r)
	}))
	t.Cleanup(srv.Close)
	return srv, down
}

// TestBrowserFormElsewhere leaves a form that waits: other pages say so, and
// send it.
func TestBrowserFormElsewhere(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv, down := takesNothing(t, w)
	look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, "Bus 1")+"/measure")
	enter(t, ctx, "1-left-inner-pad", "4.5")
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("Kept on this phone, not sent yet")`)
	must(t, ctx, chromedp.Navigate(srv.URL+"/vehicles"))
	until(t, ctx, `document.querySelector(".outbox")?.textContent.startsWith("1 form is kept on this phone, not sent yet: Bus 1.")`)
	shoot(t, ctx, "outbox-390-light")
	down.Store(false)
	until(t, ctx, `document.querySelector("main .notice")?.textContent === "The form that was kept on this phone is sent now: Bus 1."`)
	if eval[bool](t, ctx, `Boolean(document.querySelector(".outbox"))`) {
		t.Error("it is still said to wait")
	}
	if n := uploads(t, w); n != 4 {
		t.Errorf("%d uploads, want the 3 files and one form", n)
	}
}

// TestBrowserFormReturned: a form that waited, and is not taken once there is a network
// again, is said so on whatever page its sender has gone on to.
func TestBrowserFormReturned(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv, down := takesNothing(t, w)
	bus := w.vehiclePath(t, "Bus 1")
	look(t, ctx, phone, "light", srv.URL+bus+"/measure")
	enter(t, ctx, "odometer", "157000") // 2,000 km since February, to which the world's clock has come
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("Kept on this phone, not sent yet")`)
	must(t, ctx, chromedp.Navigate(srv.URL+"/vehicles"))
	until(t, ctx, `document.querySelector(".outbox") !== null`)
	// A colleague reads more off the same instrument.
	form := formValues(t, w.get(bus+"/measure").Body.String())
	form.Set("technician", "Ben")
	form.Set("odometer", "157400")
	if rec := w.submit(bus+"/measure", form); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	down.Store(false)
	said := "1 form was sent and not taken: Bus 1. What was entered is kept on this phone: look at it there, and send it again."
	until(t, ctx, fmt.Sprintf(`document.querySelector(".returned")?.textContent === %q && document.querySelector(".outbox") === null`, said))
	must(t, ctx, chromedp.Navigate(srv.URL+"/readings"))
	until(t, ctx, fmt.Sprintf(`document.querySelector(".returned")?.textContent === %q`, said))
	shoot(t, ctx, "returned-390-light")
	must(t, ctx, chromedp.Click(chromedp.CSS(".returned a")))
	until(t, ctx, `document.querySelector("#r-odometer .check") !== null && document.querySelector("[name=odometer]").value === "157000"`)
	if eval[bool](t, ctx, `document.querySelector(".returned") !== null`) {
		t.Error("it is said on the form itself too")
	}
}

// TestBrowserFindOffline opens the page in the morning, goes where there is no network,
// and enters readings of a vehicle that is booked for today and was not opened yet.
func TestBrowserFindOffline(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	s := &switched{t: t, addr: "127.0.0.1:0", h: w.handler}
	s.start()
	defer func() { s.stop() }()
	bus, err := w.svc.DB.History(t.Context(), auth.AllFleets(), w.vehicleID(t, "Bus 1"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.svc.Book(t.Context(), auth.AllFleets(), "N. N.", pipeline.ByHand{VehicleID: bus.Vehicle.ID, Axles: []int{1}, Slot: fleet.Slot{DepotID: bus.Vehicle.DepotID, Day: w.svc.Today()}}); err != nil {
		t.Fatal(err)
	}
	look(t, ctx, phone, "light", "http://"+s.addr+"/measure")
	form := measureLink(bus.Vehicle.ID)
	const all = `(Promise.all(["/measure", %q].map(p => caches.match(p)).concat(caches.open("brakewear-files").then(c => c.keys()))).then(([find, form, files]) => {
		window.kept = Boolean(find && form && ["find.", "form.", "quantity.", "app.", "outbox."].every(name => files.some(f => f.url.includes(name))))
	}), window.kept === true)`
	until(t, ctx, fmt.Sprintf(all, form))
	s.stop()
	must(t, ctx, chromedp.Navigate("http://"+s.addr+"/measure"))
	must(t, ctx, typeIn("#find", "bus"))
	until(t, ctx, `document.querySelector(".find-say").textContent === "There is no connection. The vehicles that are booked are below."`)
	must(t, ctx, press(".today a"))
	until(t, ctx, fmt.Sprintf(`location.pathname === %q && document.querySelector("form.measure .state") !== null`, form))
	enter(t, ctx, "1-left-inner-pad", "4.5")
	// The page is of the world's day, the phone's clock is of a later one, and that is
	// the day of the measurement until somebody says otherwise.
	until(t, ctx, `document.querySelector("[name=date]").value === new Date().toLocaleDateString("sv")`)
	if !eval[bool](t, ctx, `document.querySelector("form.measure").checkValidity()`) {
		t.Error("a form of an older page cannot be sent")
	}
	eval[bool](t, ctx, fmt.Sprintf(`(d => { d.value = %q; return d.dispatchEvent(new Event("change", {bubbles: true})) })(document.querySelector("[name=date]"))`, w.svc.Today()))
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("Kept on this phone, not sent yet")`)
	s.start()
	until(t, ctx, `location.pathname.includes("/measured/")`)
	if got := textOf(t, ctx, ".taken"); !strings.Contains(got, "4.5 mm") {
		t.Errorf("taken: got %q", got)
	}
}
