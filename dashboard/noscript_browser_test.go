package dashboard

import (
	"context"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// TestBrowserNoScript does with scripting off what the three people come for:
// the list is narrowed, readings are entered at the vehicle, an axle is booked by
// hand, its card is worked through to the brake test and closed. That files are
// taken in and a proposal is accepted without scripts, TestBrowserUpload and
// TestBrowserPlan show.
func TestBrowserNoScript(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	// The test's own expressions still run.
	must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return err
	}))
	enter := func(css, text string) {
		t.Helper()
		eval[bool](t, ctx, fmt.Sprintf(`document.querySelector(%q).value = %q, true`, css, text))
	}
	bus := w.vehiclePath(t, "Bus 1")

	look(t, ctx, desk, "light", srv.URL+"/?within=0")
	enter(`input[name=q]`, "bus 1")
	must(t, ctx, press(`form.filter button`))
	until(t, ctx, `location.search.includes("bus") && document.querySelectorAll(".row").length === 2`)

	look(t, ctx, phone, "light", srv.URL+bus+"/measure")
	enter(`[name=technician]`, "N. N.")
	enter(`[name=odometer]`, "157600")
	enter(`[name="1-left-inner-pad"]`, "44")
	must(t, ctx, press(`.sendbar [type=submit]`))
	// What cannot be is said at its field, which has the focus.
	until(t, ctx, `document.querySelector("[name='1-left-inner-pad'][aria-invalid]") !== null || document.querySelector("#r-1-left-inner-pad input") !== null`)
	enter(`[name="1-left-inner-pad"]`, "4.6")
	must(t, ctx, press(`.sendbar [type=submit]`))
	until(t, ctx, `document.querySelector(".taken") !== null`)
	if got := textOf(t, ctx, ".taken"); !strings.Contains(got, "axle 1 left inner pad 4.6 mm") {
		t.Errorf("taken: got %q", got)
	}

	look(t, ctx, desk, "light", srv.URL+bus)
	must(t, ctx, press(`.bookings .row-of-links a`))
	until(t, ctx, `document.querySelector("form[action='/bookings']") !== null`)
	eval[bool](t, ctx, `document.querySelectorAll("[name=axle]").forEach(e => e.checked = e.value === "1"), true`)
	if eval[bool](t, ctx, `document.querySelector("[name=day]") !== null`) {
		enter(`[name=day]`, "2026-03-02")
	}
	must(t, ctx, press(`form[action='/bookings'] button`))
	until(t, ctx, `location.pathname.startsWith("/bookings/") && location.pathname !== "/bookings/new"`)
	enter(`form[action="/cards"] input[name=by]`, "N. N.")
	must(t, ctx, press(`form[action="/cards"] button`))
	until(t, ctx, `document.querySelector(".step-list") !== null`)

	eval[bool](t, ctx, `document.querySelectorAll("input[value=done]").forEach(e => e.checked = true), true`)
	enter(`.steps-form input[name=by]`, "N. N.")
	must(t, ctx, press(`.steps-form .send button`))
	until(t, ctx, `document.querySelectorAll(".step.is-done").length > 10`)
	enter(`input[name=odometer_km]`, "157700")
	enter(`input[name=off_1_pad_left_inner]`, "4.6")
	enter(`select[name=on_1_pad]`, "both")
	enter(`.parts-form input[name=by]`, "N. N.")
	must(t, ctx, press(`.parts-form .send button`))
	until(t, ctx, `document.querySelector(".fitted-list") !== null`)

	must(t, ctx, press(`#test a:last-of-type`))
	until(t, ctx, `document.querySelector(".methods") !== null`)
	must(t, ctx, press(`.methods a[href*=decelerometer]`))
	until(t, ctx, `document.querySelector("input[name=mean]") !== null`)
	enter(`input[name=mean]`, "6.1")
	enter(`input[name=pedal]`, "271")
	must(t, ctx, press(`button[value=keep]`))
	until(t, ctx, `location.pathname.startsWith("/cards/")`)
	enter(`.closing input[name=by]`, "N. N.")
	must(t, ctx, press(`.closing button`))
	until(t, ctx, `document.querySelector(".notice") !== null`)
	cards, err := w.svc.DB.Cards(t.Context(), auth.AllFleets(), store.CardQuery{State: fleet.CardPassed})
	if err != nil || len(cards) != 1 {
		t.Errorf("got %d cards passed, %v; want 1: %s", len(cards), err, textOf(t, ctx, "main"))
	}
}
