package dashboard

import (
	"context"
	"fmt"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// TestBrowserManager goes a manager's way, with scripts at the desk and without
// on the phone: from the overview to what is to be booked by now, to a vehicle,
// to its booking, and back to an overview that has one axle less to book.
func TestBrowserManager(t *testing.T) {
	for _, c := range []struct {
		scripts bool
		width   int64
	}{{true, desk}, {false, phone}} {
		t.Run(fmt.Sprintf("scripts %v, %d px", c.scripts, c.width), func(t *testing.T) {
			ctx := browser(t)
			w := small(t)
			srv := httptest.NewServer(w.handler)
			defer srv.Close()
			if !c.scripts {
				must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
					_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
					return err
				}))
			}
			look(t, ctx, c.width, "light", srv.URL+"/")
			must(t, ctx, press(`nav a[href="/overview"]`))
			if got := textOf(t, ctx, ".notice"); !strings.HasPrefix(got, "2 axles are without a booking, to be booked by today") {
				t.Fatalf("overview: got %q", got)
			}
			must(t, ctx, press(`.notice a`))
			until(t, ctx, `document.querySelectorAll(".row").length === 2`)
			if got := textOf(t, ctx, "h1"); !strings.HasPrefix(got, "2 axles with a reading, to be booked by 2 Mar") {
				t.Errorf("list: got %q", got)
			}
			vehicle := textOf(t, ctx, ".row .who a")
			must(t, ctx, press(`.row .who a`))
			until(t, ctx, `location.pathname.startsWith("/vehicles/") && document.querySelector(".bookings") !== null`)
			must(t, ctx, press(`.bookings .row-of-links a`))
			until(t, ctx, `document.querySelector("form[action='/bookings'] [name=day]") !== null`)
			eval[bool](t, ctx, `document.querySelectorAll("[name=axle]").forEach(e => e.checked = e.value === "1"), document.querySelector("[name=day]").value = "2026-03-03", true`)
			must(t, ctx, press(`form[action='/bookings'] button`))
			until(t, ctx, `location.pathname.startsWith("/bookings/") && location.pathname !== "/bookings/new"`)
			bs, err := w.svc.DB.Bookings(t.Context(), auth.AllFleets(), store.BookingQuery{})
			if err != nil || len(bs) != 1 || bs[0].Vehicle != vehicle {
				t.Fatalf("booked %+v, %v; want %s", bs, err, vehicle)
			}
			must(t, ctx, press(`nav a[href="/overview"]`))
			if got := textOf(t, ctx, ".notice"); !strings.HasPrefix(got, "1 axle is without a booking, to be booked by today") {
				t.Errorf("overview after it is booked: got %q", got)
			}
			if c.width == phone {
				must(t, ctx, press("#weeks .fold summary"))
			}
			if got := textOf(t, ctx, "#weeks tbody tr"); !strings.Contains(got, "1 axle") {
				t.Errorf("by now: got %q", got)
			}
		})
	}
}

// TestBrowserOverviewFolds finds the figures beside the pictures open at the desk and
// on paper, and on a phone folded away, one tap off.
func TestBrowserOverviewFolds(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	shown := func(want bool) {
		t.Helper()
		// Laid out, and not only so by name: what is folded takes no room.
		const open = `[...document.querySelectorAll(".fold table")].map(e => e.checkVisibility() && e.getBoundingClientRect().height > 20)`
		got := eval[[]bool](t, ctx, open)
		if len(got) < 7 || slices.Contains(got, !want) {
			t.Errorf("tables shown: got %v, want all %v", got, want)
		}
	}
	look(t, ctx, desk, "light", srv.URL+"/overview")
	shown(true)
	if eval[bool](t, ctx, `document.querySelector(".fold summary").checkVisibility()`) {
		t.Error("at the desk there is something to unfold")
	}
	look(t, ctx, phone, "light", srv.URL+"/overview")
	shown(false)
	must(t, ctx, press("#weeks .fold summary"))
	until(t, ctx, `document.querySelector("#weeks .fold table").checkVisibility()`)
	look(t, ctx, phone, "light", srv.URL+"/overview")
	must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	shown(true)
	// A browser that cannot unfold them for paper must not leave their headings out.
	if got := eval[int](t, ctx, `(() => {
		const all = (rules) => [...rules].flatMap(r => r instanceof CSSSupportsRule ? [] : r.cssRules?.length ? all(r.cssRules) : [r]);
		return [...document.styleSheets].flatMap(s => all(s.cssRules)).filter(r => r.selectorText === ".fold summary" && r.style.display === "none").length;
	})()`); got != 0 {
		t.Errorf("%d rules hide what unfolds, whether the browser can do without or not", got)
	}
}
