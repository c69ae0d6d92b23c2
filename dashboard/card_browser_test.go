package dashboard

import (
	"bytes"
	"context"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	cdp "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// TestBrowserCard does a job as a technician does: a card is opened, its steps and
// parts are entered, the brake test proves it, it is closed, the new set has its
// own forecast and the track record counts the old one. The name is typed once.
func TestBrowserCard(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	bus := w.vehiclePath(t, "Bus 1")
	faults := complaints(t, ctx)
	look(t, ctx, phone, "light", srv.URL+bus+"/card")
	must(t, ctx,
		press(`input[value="1_pads"]`),
		typeIn(`input[name=by]`, "N. N."),
		press(`.send button`),
		chromedp.WaitVisible(chromedp.CSS(`.step-list`)),
	)
	until(t, ctx, loaded)
	card := eval[string](t, ctx, `location.pathname`)
	if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
		t.Errorf("the card runs %g px over the edge: %s", over, eval[string](t, ctx, widest))
	}
	if small := eval[string](t, ctx, tooSmall); small != "" {
		t.Errorf("smaller than 44 px: %s", small)
	}
	if !strings.Contains(textOf(t, ctx, ".closing"), "not entered") {
		t.Error("a card without an entry may be passed")
	}
	shoot(t, ctx, "card-390-light")
	eval[bool](t, ctx, `document.querySelectorAll("input[value=done]").forEach(e => e.click()), true`)
	must(t, ctx,
		press(`.steps-form button`),
	)
	until(t, ctx, `document.querySelector(".step.is-done") !== null && document.querySelector(".parts-form input[name=by]").value !== ""`)
	must(t, ctx,
		typeIn(`input[name=odometer_km]`, "157 500"),
		typeIn(`input[name=off_1_pad_left_inner]`, "46"),
		chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			_, err := chromedp.Evaluate[bool](`document.querySelector("select[name=on_1_pad]").value = "both", true`)(ctx, tg)
			return err
		}),
		typeIn(`input[name=on_1_pad_number]`, "P-100"),
		press(`.parts-form button`),
	)
	until(t, ctx, `document.querySelector(".parts-form input[name=sure]") !== null && document.activeElement.name === "off_1_pad_left_inner"`)
	if got := textOf(t, ctx, "#w-off_1_pad_left_inner"); !strings.Contains(got, "4.6 mm would fit: a point left out") {
		t.Errorf("a mistyped value: got %q", got)
	}
	if got := faults(); !strings.Contains(got, "422") { // which is not to be complained of below
		t.Errorf("the browser complains: %s", got)
	}
	shoot(t, ctx, "card-doubt-390-light")
	eval[bool](t, ctx, `document.activeElement.value = "", true`)
	must(t, ctx,
		typeIn(`input[name=off_1_pad_left_inner]`, "1,6"), // 5.1 mm a month ago
		press(`.parts-form button`),
	)
	until(t, ctx, `document.querySelector("#w-off_1_pad_left_inner")?.textContent.includes("below what is likely")`)
	faults()
	must(t, ctx, press(`.parts-form input[name=sure]`), press(`.parts-form button`)) // read twice
	until(t, ctx, `document.querySelector(".fitted-list") !== null`)
	if got := textOf(t, ctx, ".fitted-list"); !strings.Contains(got, "20.0 mm new, nominal") || !strings.Contains(got, "P-100") {
		t.Errorf("fitted: got %q", got)
	}
	fits390(t, ctx)
	if got := textOf(t, ctx, ".closing"); !strings.Contains(got, "no brake test after the job is entered") || strings.Contains(got, "passed: the vehicle may go") {
		t.Errorf("closing: got %q", got)
	}
	var id int64
	fmt.Sscanf(bus, "/vehicles/%d", &id)
	_, _, err := w.svc.DB.AddBrakeTest(t.Context(), auth.AllFleets(), fleet.BrakeTest{
		VehicleID: id, Date: fleet.DateOf(now), Method: fleet.Decelerometer, System: fleet.ServiceBrake, Stage: fleet.AfterJob, Mean: 6, PedalN: 270,
	}, "N. N.")
	if err != nil {
		t.Fatal(err)
	}
	look(t, ctx, desk, "light", srv.URL+card)
	shoot(t, ctx, "card-1280-light")
	must(t, ctx,
		press(`.closing button`),
		chromedp.WaitVisible(chromedp.CSS(`.notice`)),
	)
	if got := textOf(t, ctx, ".notice"); !strings.Contains(got, "Passed") {
		t.Errorf("closed: got %q", got)
	}
	shoot(t, ctx, "card-closed-1280-light")
	rows, err := w.svc.DB.TrackRecord(t.Context(), auth.AllFleets(), store.RecordQuery{})
	if err != nil || len(rows) != 3 || rows[0].Number != "Bus 1" {
		t.Errorf("track record: got %+v, %v", rows, err)
	}
	look(t, ctx, desk, "light", srv.URL+bus)
	if got := textOf(t, ctx, ".summary"); !strings.Contains(got, "measure") {
		t.Errorf("the new set: got %q, want it to be measured first", got)
	}
	if got := faults(); got != "" {
		t.Errorf("the browser complains: %s", got)
	}
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page\b[^s]`)

// TestBrowserCardPrints wants a card of two axles with everything on them to fit one
// sheet of A4.
func TestBrowserCardPrints(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	var id int64
	fmt.Sscanf(w.vehiclePath(t, "Bus 1"), "/vehicles/%d", &id)
	var work []fleet.WorkItem
	for axle := 1; axle <= 2; axle++ {
		for _, it := range itemsOf(fleet.DiscBrake) {
			work = append(work, fleet.WorkItem{Axle: axle, Item: it, Reason: "worn to its limit, by the forecast of this week", PartNumber: "P-100", Quantity: 2})
		}
	}
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", id, append(work, fleet.WorkItem{Item: fleet.ItemFluid}))
	if err != nil {
		t.Fatal(err)
	}
	look(t, ctx, desk, "dark", fmt.Sprintf("%s/cards/%d", srv.URL, card.ID))
	var pdf []byte
	asked := true
	must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		r, err := chromedp.Call(ctx, cdp.PrintToPDF, cdp.PrintToPDFParams{PreferCSSPageSize: &asked, PrintBackground: &asked})
		if err == nil {
			pdf = r.Data
		}
		return err
	}))
	if !bytes.HasPrefix(pdf, []byte("%PDF")) {
		t.Fatalf("no PDF: %.20q", pdf)
	}
	if n := len(pdfPage.FindAll(pdf, -1)); n != 1 {
		t.Errorf("the card takes %d pages, want 1", n)
	}
	if dir := os.Getenv("BRAKEWEAR_SCREENSHOTS"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "card.pdf"), pdf, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestBrowserCardOffline fills a card in with the server stopped, leaves the page
// and comes back, and starts the server: nothing is lost or entered twice.
func TestBrowserCardOffline(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	s := &switched{t: t, addr: "127.0.0.1:0", h: w.handler}
	s.start()
	defer func() { s.stop() }()
	var id int64
	fmt.Sscanf(w.vehiclePath(t, "Bus 1"), "/vehicles/%d", &id)
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", id, []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	look(t, ctx, phone, "light", fmt.Sprintf("http://%s/cards/%d", s.addr, card.ID))
	until(t, ctx, `navigator.serviceWorker.controller !== null`)
	must(t, ctx, chromedp.Reload()) // now by way of the worker, which keeps it

	s.stop()
	must(t, ctx, press(`input[name=state_2][value=done]`), typeIn(`input[name=note_2]`, "on four stands"))
	must(t, ctx, press(`.steps-form button`))
	kept := `document.querySelector(".steps-form .state")?.textContent.startsWith("Kept on this phone, not sent yet")`
	until(t, ctx, kept)
	must(t, ctx, chromedp.Reload())
	until(t, ctx, kept)
	if got := eval[string](t, ctx, `document.querySelector("input[name=note_2]").value`); got != "on four stands" {
		t.Errorf("entries: got %q", got)
	}

	s.start()
	until(t, ctx, `document.querySelector("#step-2.is-done") !== null`)
	got, err := w.svc.DB.Card(t.Context(), auth.AllFleets(), card.ID)
	if err != nil {
		t.Fatal(err)
	}
	if e := got.Steps[1].Entry; e == nil || e.Note != "on four stands" || e.By != tester || got.Steps[1].Earlier != 0 || got.Steps[0].Entry != nil {
		t.Errorf("got %+v, %d earlier", e, got.Steps[1].Earlier)
	}
}

// TestBrowserCardFault enters what cannot be read, far up on a card: it is said where
// it stands, which has the focus, and what was marked by a slip of the thumb is
// marked no longer when it is tapped again.
func TestBrowserCardFault(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(card.Steps, func(s fleet.CardStep) bool { return len(s.Measures) > 0 })
	measured, field := card.Steps[i].Seq, valueField(card.Steps[i].Seq, 0)
	look(t, ctx, phone, "light", fmt.Sprintf("%s/cards/%d", srv.URL, card.ID))
	until(t, ctx, loaded)
	// A double tap marks, and a tap some time after it marks no longer.
	const first = `document.querySelector("input[name=state_1][value=done]")`
	if !eval[bool](t, ctx, first+`.click(), `+first+`.click(), window.tapped = performance.now(), `+first+`.checked`) {
		t.Error("a double tap marks nothing")
	}
	until(t, ctx, `performance.now() - window.tapped > 600`)
	must(t, ctx,
		press(`input[name=state_1][value=done]`),
		press(`input[name=state_2][value=done]`),
		press(fmt.Sprintf(`input[name=state_%d][value=done]`, measured)),
		typeIn(fmt.Sprintf(`input[name=%s]`, field), "about 40"),
		chromedp.Focus(chromedp.CSS(`.steps-form button`)),
		press(`.steps-form button`),
	)
	until(t, ctx, fmt.Sprintf(`document.activeElement.name === %q`, field))
	want := fmt.Sprintf("Step %d, %s: “about 40” is no number: write digits, such as 12.5", measured, card.Steps[i].Measures[0].Name)
	if got := textOf(t, ctx, "#w-"+field); got != want {
		t.Errorf("at the field: got %q, want %q", got, want)
	}
	if got := textOf(t, ctx, ".steps-form .state"); got != want {
		t.Errorf("at the button: got %q, want %q", got, want)
	}
	if !eval[bool](t, ctx, `(r => r.top >= 0 && r.bottom <= innerHeight)(document.activeElement.getBoundingClientRect()) && document.activeElement.matches("[aria-invalid=true][aria-describedby]")`) {
		t.Error("the field is not in sight, or not said to be wrong")
	}
	shoot(t, ctx, "card-fault-390-light")
	must(t, ctx,
		chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			_, err := chromedp.Evaluate[bool](`document.activeElement.select(), true`)(ctx, tg)
			return err
		}),
		chromedp.KeyEvent("40"),
		press(`.steps-form button`),
	)
	until(t, ctx, fmt.Sprintf(`document.querySelector("#step-%d.is-done") !== null`, measured))
	until(t, ctx, `document.querySelector(".steps-form .state").textContent === "Taken in."`)
	got, err := w.svc.DB.Card(t.Context(), auth.AllFleets(), card.ID)
	if err != nil {
		t.Fatal(err)
	}
	if got.Steps[0].Entry != nil || got.Steps[1].Entry == nil || got.Steps[i].Entry.Values[0] != 40 {
		t.Errorf("got %+v, %+v and %+v, want nothing, an entry and 40", got.Steps[0].Entry, got.Steps[1].Entry, got.Steps[i].Entry)
	}
	// What was kept by mistake is taken back as well, also after the page was left.
	must(t, ctx, press(`input[name=state_2][value=done]`), chromedp.Reload())
	until(t, ctx, loaded+` && document.querySelector("input[name=state_2]:checked").value === ""`)
	must(t, ctx, press(`.steps-form [type=submit]`))
	until(t, ctx, `document.querySelector("#step-2.is-done") === null && document.querySelector("#step-2 .who-when")?.textContent === "taken back · 1 earlier entry"`)
}

// TestBrowserCardTakenBack takes back what was entered with a form that came back, on the
// same page; and leaves alone what a colleague entered of a step since it was taken back
// on the phone.
func TestBrowserCardTakenBack(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	all := auth.AllFleets()
	card, err := w.svc.OpenCardFor(t.Context(), all, "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	look(t, ctx, phone, "light", fmt.Sprintf("%s/cards/%d", srv.URL, card.ID))
	until(t, ctx, loaded)
	must(t, ctx, press(`[name=state_1][value=done]`), press(`[name=state_2][value=done]`), typeIn(`[name=note_3]`, "which?"), press(`.steps-form [type=submit]`))
	until(t, ctx, `document.querySelector("#w-state_3") !== null`)
	must(t, ctx, press(`[name=state_2][value=""]`), press(`[name=state_3][value=skipped]`), press(`.steps-form [type=submit]`))
	until(t, ctx, loaded+` && document.querySelector("#step-3.is-skipped") !== null`)
	got, err := w.svc.DB.Card(t.Context(), all, card.ID)
	if err != nil {
		t.Fatal(err)
	}
	if got.Steps[0].Entry == nil || got.Steps[1].Entry != nil || got.Steps[1].Earlier != 1 {
		t.Errorf("got %+v and %+v, want the first done and the second taken back", got.Steps[0], got.Steps[1])
	}
	fits390(t, ctx)
	shoot(t, ctx, "card-not-entered-390-light")

	must(t, ctx, press(`[name=state_1][value=""]`))
	until(t, ctx, `document.querySelector(".steps-form .state").textContent === "Kept on this phone as you type."`)
	must(t, ctx, chromedp.Reload())
	until(t, ctx, loaded+` && document.querySelector("[name=state_1]:checked").value === ""`)
	if _, err := w.svc.DB.EnterSteps(t.Context(), all, card.ID, map[int]fleet.StepEntry{1: {State: fleet.StepFailed, By: "Ben"}}); err != nil {
		t.Fatal(err)
	}
	must(t, ctx, chromedp.Reload())
	until(t, ctx, loaded+` && document.querySelector("[name=state_1]:checked").value === "failed"`)
	if got := textOf(t, ctx, ".steps-form .state"); got != "A step that was cleared on this phone was entered anew meanwhile, and stands as it is." {
		t.Errorf("got %q", got)
	}
	// Where he has taken it back himself nothing is entered of it.
	if _, err := w.svc.DB.EnterSteps(t.Context(), all, card.ID, map[int]fleet.StepEntry{1: {State: fleet.StepTakenBack, By: "Ben"}}); err != nil {
		t.Fatal(err)
	}
	must(t, ctx, chromedp.Reload())
	until(t, ctx, loaded+` && document.querySelector("[name=was_1]") === null`)
	if got := textOf(t, ctx, ".steps-form .state"); !strings.HasPrefix(got, "Entries of ") {
		t.Errorf("got %q", got)
	}
}
