package dashboard

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// TestBrowserPlan goes the whole way, with and without JavaScript: from a file
// of readings to the due-soon list, to a proposal, which is accepted, to the
// peg on the list and the calendar that follows.
func TestBrowserPlan(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		for _, width := range []int64{desk, phone} {
			t.Run(fmt.Sprintf("scripts %v, %d px", scripts, width), func(t *testing.T) {
				ctx := browser(t)
				w := small(t)
				srv := httptest.NewServer(w.handler)
				defer srv.Close()
				if !scripts {
					must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
						_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
						return err
					}))
				}
				file := filepath.Join(t.TempDir(), "wheel off.csv")
				text := "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-27,163000,1,pad,left,inner,4.4\n"
				if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
				look(t, ctx, width, "light", srv.URL+"/readings")
				must(t, ctx,
					chromedp.SetUploadFiles(chromedp.CSS("input[type=file]"), []string{file}),
					chromedp.Click(chromedp.CSS("form.upload button")),
					chromedp.WaitVisible(chromedp.CSS(".tally")),
					chromedp.Click(chromedp.CSS(".decide button")),
					chromedp.WaitVisible(chromedp.CSS(".next a.button")),
					chromedp.Click(chromedp.CSS(".next a.button")),
					chromedp.WaitVisible(chromedp.CSS(".lanes")),
					chromedp.Click(chromedp.CSS(`nav a[href="/plan"]`)),
					chromedp.WaitVisible(chromedp.CSS(".run form button")),
					chromedp.Click(chromedp.CSS(".run form button")),
					chromedp.WaitVisible(chromedp.CSS(".figures")),
				)
				vs, err := w.svc.DB.Visits(t.Context(), auth.AllFleets(), store.VisitQuery{State: store.VisitOpen})
				if err != nil || len(vs) == 0 {
					t.Fatalf("got %d visits, %v", len(vs), err)
				}
				look(t, ctx, width, "light", srv.URL+"/plan?week="+vs[0].Day.String())
				must(t, ctx, chromedp.WaitVisible(chromedp.CSS(".plan-card.is-proposed .lens")))
				if got := textOf(t, ctx, ".plan-card.is-proposed"); !strings.Contains(got, vs[0].Vehicle) || !strings.Contains(got, vs[0].Starts.String()) {
					t.Errorf("card: got %q, want %s at %s", got, vs[0].Vehicle, vs[0].Starts)
				}
				shoot(t, ctx, fmt.Sprintf("proposed-%d", width))
				// What Enter presses is drawn, or some browsers press the next.
				if !eval[bool](t, ctx, `document.querySelector("#decide button").getClientRects().length > 0`) {
					t.Error("the form's first button is not drawn")
				}
				must(t, ctx,
					chromedp.Click(chromedp.CSS(".plan-card.is-proposed input[type=checkbox]")),
					chromedp.Click(chromedp.CSS(`.decide button[value=ticked]`)),
					chromedp.WaitVisible(chromedp.CSS(".plan-card.is-booked")),
				)
				bs, err := w.svc.DB.Bookings(t.Context(), auth.AllFleets(), store.BookingQuery{})
				if err != nil || len(bs) != 1 || bs[0].VehicleID != vs[0].VehicleID || bs[0].Day != vs[0].Day {
					t.Fatalf("booked %+v, %v", bs, err)
				}
				look(t, ctx, width, "light", srv.URL+"/?within=0&booked=yes")
				must(t, ctx, chromedp.WaitVisible(chromedp.CSS(".row .lane .peg")))
				if got, want := textOf(t, ctx, ".row .peg-link"), bs[0].Day.Time().Format("Monday"); !strings.HasPrefix(got, want) {
					t.Errorf("list: got %q, want %q", got, want)
				}
				must(t, ctx, chromedp.Click(chromedp.CSS(".row .peg-link")), chromedp.WaitVisible(chromedp.CSS(`form[action$="/move"]`)))

				look(t, ctx, width, "light", srv.URL+"/calendars")
				must(t, ctx,
					typeIn("input[name=vehicle]", bs[0].Vehicle),
					chromedp.Click(chromedp.CSS(`form[action="/calendars"] button`)),
					chromedp.WaitVisible(chromedp.CSS("code.address")),
				)
				feed := read(t, textOf(t, ctx, "code.address"))
				for _, want := range []string{"BEGIN:VEVENT", bs[0].Vehicle, bs[0].Day.Time().Format("20060102")} {
					if !strings.Contains(feed, want) {
						t.Errorf("calendar: got %s, want %q in it", feed, want)
					}
				}
			})
		}
	}
}

// read returns what is at an address.
func read(t *testing.T, url string) string {
	t.Helper()
	resp, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v", url, resp.Status, err)
	}
	return string(b)
}

// drag moves the first booking to the last shift of its depot as a mouse would.
const drag = `(() => {
	const card = document.querySelector("[data-booking]")
	const from = card.closest(".shift")
	const to = [...document.querySelectorAll(".shift:not(.closed)[data-depot='" + from.dataset.depot + "']")].at(-1)
	const dataTransfer = new DataTransfer()
	card.dispatchEvent(new DragEvent("dragstart", {dataTransfer, bubbles: true}))
	to.dispatchEvent(new DragEvent("dragover", {dataTransfer, bubbles: true, cancelable: true}))
	to.dispatchEvent(new DragEvent("drop", {dataTransfer, bubbles: true, cancelable: true}))
	return to.dataset.day
})()`

// TestBrowserDrag drags a booking to another day, and to one that has no room.
func TestBrowserDrag(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	today := w.svc.Today()
	for _, b := range []struct {
		vehicle string
		day     fleet.Date
	}{{"Bus 2", today + 1}, {"=Van <b>3</b>", today + 4}} {
		if _, err := w.svc.Book(t.Context(), auth.AllFleets(), "N. N.", pipeline.ByHand{VehicleID: w.vehicleID(t, b.vehicle), Axles: []int{1}, Slot: fleet.Slot{DepotID: 2, Day: b.day}}); err != nil {
			t.Fatal(err)
		}
	}
	look(t, ctx, desk, "light", srv.URL+"/plan")
	if _, err := chromedp.RunResponse(ctx, chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
		_, err := chromedp.Evaluate[string](drag)(ctx, tg)
		return err
	})); err != nil {
		t.Fatal(err)
	}
	bs, err := w.svc.DB.Bookings(t.Context(), auth.AllFleets(), store.BookingQuery{Vehicle: w.vehicleID(t, "Bus 2")})
	if err != nil || bs[0].Day != today+4 || !bs[0].Kept {
		t.Errorf("got %+v, %v, want it on %s", bs, err, today+4)
	}
	// Friday gets so short of hands that nothing more fits.
	if err := w.svc.DB.AddClosures(t.Context(), auth.AllFleets(), []fleet.Closure{{DepotID: 2, First: today + 3, Last: today + 3, Technicians: .5}}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.svc.DB.MoveBooking(t.Context(), auth.AllFleets(), "N. N.", bs[0].ID, fleet.Slot{DepotID: 2, Day: today + 1}, ""); err != nil {
		t.Fatal(err)
	}
	look(t, ctx, desk, "light", srv.URL+"/plan")
	eval[string](t, ctx, strings.Replace(drag, ".at(-1)", ".at(3)", 1))
	must(t, ctx, chromedp.WaitVisible(chromedp.CSS(".drag-fault")))
	if got := textOf(t, ctx, ".drag-fault"); !strings.Contains(got, "technician hours left") {
		t.Errorf("got %q", got)
	}
}
