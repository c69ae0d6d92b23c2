package dashboard

import (
	"context"
	"net/http/httptest"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// strike presses a key and lets it go.
func strike(t *testing.T, ctx context.Context, key, text string, code int64) {
	t.Helper()
	must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		down := input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyDown, Key: key, Code: key, Text: text, WindowsVirtualKeyCode: code}
		if key == " " {
			down.Code = "Space"
		}
		up := down
		up.Type, up.Text = input.DispatchKeyEventTypeKeyUp, ""
		if _, err := chromedp.Call(ctx, input.DispatchKeyEvent, down); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, input.DispatchKeyEvent, up)
		return err
	}))
}

func tab(t *testing.T, ctx context.Context) { t.Helper(); strike(t, ctx, "Tab", "", 9) }

// watch keeps, in the order of the page, what the keyboard has to come to, and notes
// to what it came and whether that was to be seen there: of the screen, and under
// nothing that stays in its place (WCAG 2.2, 2.1.2, 2.4.3, 2.4.7, 2.4.11).
const watch = `(() => {
	const like = e => [...document.querySelectorAll('input[type=radio][name="' + CSS.escape(e.name) + '"]')]
	window.all = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]")]
		.filter(e => e.checkVisibility({visibilityProperty: true}) && !e.disabled && e.tabIndex >= 0 && !e.closest("fieldset[disabled]") && e.getClientRects().length > 0)
		.filter(e => e.type !== "radio" || e === (like(e).find(r => r.checked) ?? like(e)[0])) // one of a group
	window.came = []
	window.wrong = []
	document.addEventListener("focusin", event => {
		const e = event.target, r = e.getBoundingClientRect()
		window.came.push(all.indexOf(e))
		const s = getComputedStyle(e)
		if (s.outlineStyle === "none" || parseFloat(s.outlineWidth) < 2) wrong.push("no outline: " + e.outerHTML.slice(0, 90))
		const seen = [.1, .5, .9].some(x => [.1, .5, .9].some(y => {
			const at = document.elementFromPoint(r.left + r.width * x, r.top + r.height * y)
			return at && (e.contains(at) || at.contains(e) || at.control === e || [...(e.labels ?? [])].some(l => l.contains(at)))
		}))
		if (!seen) wrong.push("hidden behind something or off the screen: " + e.outerHTML.slice(0, 90))
	})
	return all.length
})()`

// TestBrowserKeyboardWalk goes through pages by Tab alone: it comes to everything there
// is to use, in the order of the page, sees where it is, and comes out at the end.
func TestBrowserKeyboardWalk(t *testing.T) {
	ctx := browser(t)
	w := island(t)
	worked(t, w)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	focused(t, ctx)
	bus := w.vehiclePath(t, "Bus 112")
	for _, c := range []struct {
		name, path string
		width      int64
	}{
		{"due", "/", desk},
		{"plan", "/plan?week=2026-03-23", desk},
		{"plan on a phone", "/plan?week=2026-03-23", phone},
		{"book", "/bookings/new?vehicle=1", desk},
		{"vehicle", bus, desk},
		{"form on a phone", bus + "/measure", phone},
		{"brake test on a phone", bus + "/test", phone},
		{"card on a phone", w.cardPath(t, "Bus 112"), phone},
		{"readings", "/readings", desk},
		{"overview", "/overview", desk},
		{"workshop", "/workshops/1", desk},
	} {
		t.Run(c.name, func(t *testing.T) {
			look(t, ctx, c.width, "light", srv.URL+c.path)
			n := eval[int](t, ctx, watch)
			if n < 10 {
				t.Fatalf("only %d things to come to", n)
			}
			// A field of a day takes a Tab for each of its parts.
			for i := range 4*n + 40 {
				tab(t, ctx)
				if i%20 == 19 && eval[bool](t, ctx, `came.filter(i => i === came[0]).length > 1`) {
					break
				}
			}
			if got := eval[string](t, ctx, `all.filter((e, i) => !came.includes(i)).map(e => e.outerHTML.slice(0, 90)).join("; ")`); got != "" {
				t.Errorf("Tab never comes to %s", got)
			}
			const once = `came.slice(0, came.indexOf(came[0], 1) < 0 ? came.length : came.indexOf(came[0], 1))`
			if got := eval[string](t, ctx, once+`.filter((at, i, c) => i > 0 && at >= 0 && at < c[i - 1]).map(at => all[at].outerHTML.slice(0, 90)).join("; ")`); got != "" {
				t.Errorf("Tab goes back to %s", got)
			}
			if got := eval[string](t, ctx, `[...new Set(wrong)].slice(0, 8).join("; ")`); got != "" {
				t.Error(got)
			}
			if !eval[bool](t, ctx, `came.filter(i => i === came[0]).length > 1`) {
				t.Errorf("Tab does not come round: it ends at %s", eval[string](t, ctx, `document.activeElement.outerHTML.slice(0, 90)`))
			}
		})
	}
}

// focused has a browser without a window take the focus as one with a window does.
func focused(t *testing.T, ctx context.Context) {
	t.Helper()
	must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
		return err
	}))
}

// A proposed visit is ticked, accepted, opened and moved without a mouse.
func TestBrowserPlanByKeyboard(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	proposed(t, w)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	focused(t, ctx)
	vs, err := w.svc.DB.Visits(t.Context(), auth.AllFleets(), store.VisitQuery{State: store.VisitOpen})
	if err != nil || len(vs) == 0 {
		t.Fatalf("got %d visits, %v", len(vs), err)
	}
	to := func(selector string) {
		t.Helper()
		for range 200 {
			if tab(t, ctx); eval[bool](t, ctx, `document.activeElement.matches('`+selector+`')`) {
				return
			}
		}
		t.Fatalf("Tab never comes to %s", selector)
	}
	look(t, ctx, desk, "light", srv.URL+"/plan?week="+vs[0].Day.String())
	to(".plan-card.is-proposed input[type=checkbox]")
	strike(t, ctx, " ", " ", 32)
	if !eval[bool](t, ctx, `document.activeElement.checked`) {
		t.Error("Space does not tick a visit")
	}
	// Enter on the tick accepts nothing, least of all every week's.
	strike(t, ctx, "Enter", "\r", 13)
	until(t, ctx, `document.querySelector(".fault") !== null`)
	if !eval[bool](t, ctx, `document.querySelector(".plan-card.is-booked") === null && document.querySelector(".plan-card input").checked`) {
		t.Error("Enter on a tick decides something, or loses the tick")
	}
	to(".plan-card.is-proposed input[type=checkbox]")
	to(".decide button[value=ticked]")
	strike(t, ctx, "Enter", "\r", 13)
	until(t, ctx, `document.querySelector(".plan-card.is-booked") !== null`)
	to(".plan-card.is-booked .card-name")
	strike(t, ctx, "Enter", "\r", 13)
	until(t, ctx, `document.querySelector('form[action$="/move"]') !== null`)
	to("form[action$=\"/move\"] input[name=starts]")
	to("form[action$=\"/move\"] button")
	strike(t, ctx, "Enter", "\r", 13)
	until(t, ctx, `document.querySelector("main").innerText.includes("kept by a person")`)
}
