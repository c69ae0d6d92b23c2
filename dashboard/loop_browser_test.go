package dashboard

import (
	"context"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// loaded says that a page that a click led to is there with its scripts: nobody
// types as fast as a test.
const loaded = `document.readyState === "complete"`

// TestBrowserLoop goes round once, on both databases, by the pages alone: a booking
// becomes a card, parts come off and go on, a brake test proves them, the card is
// closed, the new set has its own forecast, and the track record counts the old one.
func TestBrowserLoop(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			ctx := browser(t)
			w, err := newWorld(t.Context(), storetest.URL(t, dialect))
			if err != nil {
				t.Fatal(err)
			}
			defer w.svc.DB.Close()
			for _, f := range []struct{ name, text string }{
				{"vehicles.csv", smallVehicles}, {"axles.csv", smallAxles}, {"readings.csv", smallReadings},
			} {
				w.takeIn(t, f.name, f.text)
			}
			all := auth.AllFleets()
			bus := w.vehiclePath(t, "Bus 1")
			var id int64
			fmt.Sscanf(bus, "/vehicles/%d", &id)
			depots, err := w.svc.DB.Depots(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			b, err := w.svc.Book(t.Context(), all, "N. N.", pipeline.ByHand{VehicleID: id, Axles: []int{1}, Slot: fleet.Slot{DepotID: depots[0].ID, Day: w.svc.Today()}})
			if err != nil {
				t.Fatal(err)
			}
			before, err := w.svc.DB.Forecasts(t.Context(), all, id)
			if err != nil {
				t.Fatal(err)
			}
			srv := httptest.NewServer(w.handler)
			defer srv.Close()

			look(t, ctx, desk, "light", fmt.Sprintf("%s/bookings/%d", srv.URL, b.ID))
			must(t, ctx,
				typeIn(`form[action="/cards"] input[name=by]`, "N. N."),
				press(`form[action="/cards"] button`),
				chromedp.WaitVisible(chromedp.CSS(`.step-list`)),
			)
			until(t, ctx, loaded)
			eval[bool](t, ctx, `document.querySelectorAll("input[value=done]").forEach(e => e.click()), true`)
			must(t, ctx, typeIn(`.steps-form input[name=by]`, "N. N."), press(`.steps-form button`))
			until(t, ctx, `document.querySelectorAll(".step.is-done").length > 10 && document.querySelector(".parts-form input[name=by]").value !== ""`)
			must(t, ctx,
				typeIn(`input[name=odometer_km]`, "157500"),
				typeIn(`input[name=off_1_pad_left_inner]`, "4.6"),
			)
			eval[bool](t, ctx, `document.querySelector("select[name=on_1_pad]").value = "both", true`)
			must(t, ctx, press(`.parts-form button`))
			until(t, ctx, `document.querySelector(".fitted-list") !== null`)

			must(t, ctx, press(`#test a:last-of-type`), chromedp.WaitVisible(chromedp.CSS(`.methods`)))
			must(t, ctx, press(`.methods a[href*=decelerometer]`), chromedp.WaitVisible(chromedp.CSS(`input[name=mean]`)))
			must(t, ctx,
				typeIn(`input[name=mean]`, "6.1"),
				typeIn(`input[name=pedal]`, "271"),
				press(`button[value=keep]`),
			)
			until(t, ctx, `location.pathname.startsWith("/cards/")`)
			if got := textOf(t, ctx, ".closing"); !strings.Contains(got, "passed: the vehicle may go") {
				t.Fatalf("it cannot be passed: %s\n%s", got, textOf(t, ctx, "main"))
			}
			until(t, ctx, `document.querySelector(".closing input[name=by]").value !== ""`)
			must(t, ctx, press(`.closing button`), chromedp.WaitVisible(chromedp.CSS(`.notice`)))
			if got := textOf(t, ctx, ".notice"); !strings.Contains(got, "Passed") {
				t.Errorf("closed: got %q", got)
			}
			look(t, ctx, desk, "light", fmt.Sprintf("%s/bookings/%d", srv.URL, b.ID))
			if got := textOf(t, ctx, ".state"); !strings.Contains(got, "done") {
				t.Errorf("the booking: got %q", got)
			}
			after, err := w.svc.DB.Forecasts(t.Context(), all, id)
			if err != nil || !(after[0].Crossing.Day.Quantile(.5) > before[0].Crossing.Day.Quantile(.5)+100) {
				t.Errorf("the new set's limit: got day %g, the old one's was %g; %v",
					after[0].Crossing.Day.Quantile(.5), before[0].Crossing.Day.Quantile(.5), err)
			}
			look(t, ctx, desk, "light", srv.URL+"/record")
			if got := textOf(t, ctx, "main"); !strings.Contains(strings.Join(strings.Fields(got), " "), "sets came off 1 ") || !strings.Contains(got, "Bus 1") {
				t.Errorf("track record: got %q", got)
			}
		})
	}
}

// typeIn types text at the end of a field. It finds the field and goes there in
// one step: between two the page may have been replaced.
func typeIn(css, text string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
		_, err := chromedp.Evaluate[bool](fmt.Sprintf(`(e => {
			e.scrollIntoView({block: "center"});
			e.focus();
			try { e.setSelectionRange(e.value.length, e.value.length) } catch {} // a number has no selection
			return true;
		})(document.querySelector(%q))`, css))(ctx, tg)
		if err != nil {
			return err
		}
		_, err = chromedp.KeyEvent(text)(ctx, tg)
		return err
	})
}

// press clicks on an element by script: on a long page that scrolls smoothly a
// click by place may land where the element has just been.
func press(css string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
		_, err := chromedp.Evaluate[bool](fmt.Sprintf(`document.querySelector(%q).click(), true`, css))(ctx, tg)
		return err
	})
}
