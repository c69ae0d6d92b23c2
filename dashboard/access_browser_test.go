package dashboard

import (
	"context"
	"fmt"
	"net/http/httptest"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// Widths of a desk of 1280 px enlarged: to 200 % (WCAG 2.2, 1.4.4) and to 400 %,
// where a page must still be read without scrolling sideways (1.4.10).
const (
	twice     = 640
	fourTimes = 320
)

// unseen lists the controls that show no outline when the keyboard comes to
// them (WCAG 2.2, 2.4.7), and those that break the order of the page.
const unseen = `[...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]")]
	.filter(e => e.checkVisibility() && !e.disabled && !e.closest("[inert]"))
	.filter(e => {
		e.focus({preventScroll: true})
		const s = getComputedStyle(e)
		return document.activeElement !== e || s.outlineStyle === "none" || parseFloat(s.outlineWidth) < 2 || e.tabIndex > 0
	})
	.map(e => e.outerHTML.slice(0, 80)).join("; ")`

// TestBrowserEnlarged looks at every page at 200 % and 400 %, and comes to each
// of its controls by the keyboard.
func TestBrowserEnlarged(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	// A page of a browser without a window would never have the focus.
	must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
		return err
	}))
	for _, p := range everyPage(t) {
		t.Run(p.name, func(t *testing.T) {
			look(t, ctx, twice, "light", srv.URL+p.path)
			for _, width := range []int64{twice, fourTimes} {
				must(t, ctx, chromedp.EmulateViewport(width, 900))
				if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
					t.Errorf("%d px wide, the page runs %g px over the edge: %s", width, over, eval[string](t, ctx, sticksOut))
				}
			}
			eval[bool](t, ctx, `document.querySelectorAll("details").forEach(d => d.open = true), true`)
			if got := eval[string](t, ctx, unseen); got != "" {
				t.Errorf("no focus is seen on %s", got)
			}
		})
	}
}

// sticksOut names what makes the page wider than it is, leaving out what is
// scrolled in its own box.
const sticksOut = `[...document.querySelectorAll("body *")].filter(e => !e.parentElement.closest(".scroll, .top nav, svg"))
	.map(e => [e.getBoundingClientRect().right, e.tagName + "." + e.className]).sort((a, b) => b[0] - a[0]).slice(0, 3).map(x => x.join(" ")).join(", ")`

// TestBrowserReducedMotion wants nothing to move by itself where that is asked for.
func TestBrowserReducedMotion(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	look(t, ctx, desk, "light", srv.URL)
	for _, c := range []struct{ asked, want string }{{"no-preference", "smooth"}, {"reduce", "auto"}} {
		must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
			_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
				Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: c.asked}},
			})
			return err
		}))
		if got := eval[string](t, ctx, `getComputedStyle(document.documentElement).scrollBehavior`); got != c.want {
			t.Errorf("asked for %s: scrolls %s, want %s", c.asked, got, c.want)
		}
	}
	if got := eval[string](t, ctx, moves); got != "" {
		t.Errorf("moves though it should not: %s", got)
	}
}

// moves lists what has a transition or an animation.
const moves = `[...document.querySelectorAll("*")].filter(e => {
	const s = getComputedStyle(e)
	return s.animationName !== "none" || parseFloat(s.transitionDuration) > 0
}).map(e => e.tagName + "." + e.className).join(" ")`

// shift is the sum of the layout shifts since the page began, what moved, and when its
// first content was drawn, in ms.
const shift = `new Promise(done => {
	let sum = 0, what = []
	new PerformanceObserver(l => l.getEntries().forEach(e => {
		sum += e.value
		what.push(...e.sources.map(s => s.node?.outerHTML?.slice(0, 60) + " from " + s.previousRect.y + " to " + s.currentRect.y))
	})).observe({type: "layout-shift", buffered: true})
	setTimeout(() => done({sum, what: what.join("; "), first: performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? -1}), 150)
})`

// shifted is what shift says.
type shifted struct {
	Sum   float64 `json:"sum"`
	What  string  `json:"what"`
	First float64 `json:"first"`
}

// maxShift is far below the 0.1 that web.dev calls good: a font that comes late is
// not used, pictures have their size, so that nothing has a reason to move.
const maxShift = .01

// TestBrowserNothingMoves wants pages to be drawn in place, and logs how soon.
func TestBrowserNothingMoves(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	for _, path := range []string{"/", "/plan?week=2026-03-23", "/vehicles", "/record", "/readings", "/help", island(t).vehiclePath(t, "Bus 112"), island(t).vehiclePath(t, "Bus 112") + "/measure"} {
		for _, width := range []int64{desk, phone} {
			t.Run(fmt.Sprintf("%s-%d", path, width), func(t *testing.T) {
				var got shifted
				for range 3 { // a busy machine may draw a page of which half has come
					look(t, ctx, width, "light", srv.URL+path)
					var err error
					if got, err = chromedp.Run(ctx, chromedp.Evaluate[shifted](shift, chromedp.EvalAwaitPromise)); err != nil {
						t.Fatal(err)
					}
					if got.Sum <= maxShift {
						break
					}
				}
				if got.Sum > maxShift {
					t.Errorf("moves by %.4f while it is drawn, want at most %g: %s", got.Sum, maxShift, got.What)
				}
				t.Logf("first content after %.0f ms", got.First)
			})
		}
	}
	// A page that does move is seen to.
	eval[bool](t, ctx, `(() => {
		const e = document.createElement("div")
		e.textContent = "late"
		e.id = "late"
		document.querySelector("main").prepend(e)
		e.animate([{height: "300px"}, {height: "300px"}], 1e6)
		return true
	})()`)
	if got, err := chromedp.Run(ctx, chromedp.Evaluate[shifted](shift, chromedp.EvalAwaitPromise)); err != nil || got.Sum <= maxShift {
		t.Errorf("a page that moves is measured as %v, %v", got, err)
	}
}
