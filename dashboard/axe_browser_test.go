package dashboard

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// axeSource is axe-core 4.14.1 as npm has it (MPL-2.0, its licence lies beside
// it): rules of accessibility that a program can check.
//
//go:embed testdata/axe-core/axe.min.js
var axeSource string

// axeRules are WCAG 2.2 up to AA, and axe's own best practice.
const axeRules = `["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]`

// violation is a rule of axe that a page breaks, and where.
type violation struct {
	ID, Help string
	Nodes    []struct {
		Target         []any
		FailureSummary string
	}
}

func (v violation) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s", v.ID, v.Help)
	for i, n := range v.Nodes {
		if i == 3 {
			fmt.Fprintf(&b, "\n\tand %d more", len(v.Nodes)-i)
			break
		}
		fmt.Fprintf(&b, "\n\t%v: %s", n.Target, strings.Join(strings.Fields(n.FailureSummary), " "))
	}
	return b.String()
}

// axe returns what axe finds against the page the browser is on.
func axe(t *testing.T, ctx context.Context) []violation {
	t.Helper()
	if !eval[bool](t, ctx, `"axe" in window`) {
		// Sent by the debugger, so that the page's own policy stays as it is.
		eval[bool](t, ctx, axeSource+"; true")
	}
	const run = `axe.run(document, {runOnly: ` + axeRules + `, resultTypes: ["violations"]}).then(r => JSON.stringify(r.violations))`
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](run, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("axe: %v", err)
	}
	var got []violation
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	return got
}

// TestBrowserAxe looks at every page with axe, everything on it opened: as a
// desk shows it in light and a phone in dark, which has every rule of the style
// sheets looked at once and both themes' contrast.
func TestBrowserAxe(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	for _, p := range everyPage(t) {
		for _, dress := range []struct {
			width int64
			theme string
		}{{desk, "light"}, {phone, "dark"}} {
			t.Run(fmt.Sprintf("%s-%d-%s", p.name, dress.width, dress.theme), func(t *testing.T) {
				look(t, ctx, dress.width, dress.theme, srv.URL+p.path)
				eval[bool](t, ctx, `document.querySelectorAll("details").forEach(d => d.open = true), true`)
				for _, v := range axe(t, ctx) {
					t.Error(v)
				}
			})
		}
	}
}

// TestBrowserAxeFaults sends forms that cannot be kept, and looks at what comes
// back: every fault is tied to a field, the first of which has the focus.
func TestBrowserAxeFaults(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	for _, c := range []struct{ name, path, field, value, button string }{
		{"workshop", "/workshops/1", "light_pads", "soon", `form.settings > button`},
		{"part", "/parts/new", "price", "dear", `form.settings > button`},
		{"booking by hand", "/bookings/new?vehicle=1", "day", "", `form.settings button`},
		{"days", w.vehiclePath(t, "Bus 1") + "/days", "first", "", `form.settings button`},
		{"person", "/people", "address", "nowhere", `form.settings button`},
		{"brake test", w.vehiclePath(t, "Bus 1") + "/test?method=decelerometer", "mean", "fast", `button[value=keep]`},
	} {
		t.Run(c.name, func(t *testing.T) {
			look(t, ctx, desk, "light", srv.URL+c.path)
			eval[bool](t, ctx, fmt.Sprintf(`(() => {
				const e = document.querySelector("[name=%s]")
				e.value = %q
				e.form.noValidate = true
				return true
			})()`, c.field, c.value))
			must(t, ctx, press(c.button))
			until(t, ctx, loaded+` && document.querySelector("[aria-invalid]") !== null`)
			if got := eval[string](t, ctx, untied); got != "" {
				t.Errorf("no words tied to %s", got)
			}
			until(t, ctx, `document.activeElement.hasAttribute("aria-invalid")`)
			for _, v := range axe(t, ctx) {
				t.Error(v)
			}
		})
	}
}

// untied lists the fields at fault that no words are tied to.
const untied = `[...document.querySelectorAll("[aria-invalid]")]
	.filter(e => !(e.getAttribute("aria-describedby") ?? "").split(" ").some(id => document.getElementById(id)?.textContent.trim()))
	.map(e => e.outerHTML).join("; ")`
