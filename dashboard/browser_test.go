package dashboard

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// Widths that the pages are looked at in: a desk, a phone and, printed, a sheet.
const (
	desk  = 1280
	phone = 390
	// a4 is what a sheet of it has between a browser's usual margins.
	a4 = 718
)

// eval returns the value of a JavaScript expression.
func eval[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// TestBrowserPrint prints the list: no forms, no dark paper.
func TestBrowserPrint(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	look(t, ctx, desk, "dark", srv.URL)
	must(t, ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Media:    "print",
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}},
		})
		return err
	}))
	if eval[bool](t, ctx, `document.querySelector("form.filter").checkVisibility()`) {
		t.Error("the filter is printed")
	}
	if !eval[bool](t, ctx, `document.querySelector(".row .lens").checkVisibility() && document.querySelector(".cautions").checkVisibility()`) {
		t.Error("lanes or cautions are not printed")
	}
	if got := eval[string](t, ctx, `getComputedStyle(document.body).backgroundColor`); dark(got) {
		t.Errorf("printed on %s", got)
	}
	// A sheet is as narrow as a phone's list, and is laid out as a desk's.
	must(t, ctx, chromedp.EmulateViewport(a4, 900))
	if got := eval[int](t, ctx, `getComputedStyle(document.querySelector(".row")).gridTemplateColumns.split(" ").length`); got != 5 {
		t.Errorf("an axle is printed in %d columns", got)
	}
	if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
		t.Errorf("the sheet runs %g px over the edge: %s", over, eval[string](t, ctx, widest))
	}
	shoot(t, ctx, "due-print")
}

// look sets the width and the theme, and goes to a page.
func look(t *testing.T, ctx context.Context, width int64, theme, url string) {
	t.Helper()
	dress := chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{
				{Name: "prefers-color-scheme", Value: theme},
				{Name: "prefers-reduced-motion", Value: "reduce"}, // a click must not fall on what still scrolls
			},
		})
		return err
	})
	must(t, ctx, chromedp.EmulateViewport(width, 900), dress, chromedp.Navigate(url))
}

// shoot keeps a picture of the whole page, when pictures are asked for.
func shoot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("BRAKEWEAR_SCREENSHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}

// shown is a page to look at: its name in pictures, and its address.
type shown struct{ name, path string }

// everyPage lists every page of the demo fleet.
func everyPage(t *testing.T) []shown {
	worked(t, island(t))
	link := auth.NewSecret()
	if err := island(t).svc.DB.AddLink(t.Context(), auth.AllFleets(), tester, 1, link); err != nil {
		t.Fatal(err)
	}
	return []shown{
		{"sign-in", "/sign-in"},
		{"mail-link", "/sign-in/link"},
		{"link", pipeline.LinkPath + link},
		{"account", "/account"},
		{"accounts", "/accounts"},
		{"other-account", "/accounts/1"},
		{"changes", "/changes"},
		{"changes-none", "/changes?by=nobody"},
		{"due", "/"},
		{"due-all", "/?within=0&sort=vehicle"},
		{"due-none", "/?q=no+such+vehicle"},
		{"due-narrowed", "/?within=0&measured=yes&left=20-30&sort=thickness_left"},
		{"due-close", "/?within=0&rows=close"},
		{"overview", "/overview"},
		{"overview-depot", "/overview?depot=2"},
		{"vehicle", island(t).vehiclePath(t, "Bus 112")},
		{"vehicles", "/vehicles"},
		{"readings", "/readings"},
		{"upload", "/readings/1"},
		{"learned", "/learned"},
		{"help", "/help"},
		{"cards", "/cards"},
		{"card", island(t).cardPath(t, "Bus 112")},
		{"steps", "/steps"},
		{"new-card", island(t).vehiclePath(t, "Bus 112") + "/card"},
		{"record", "/record"},
		{"record-none", "/record?months=1&class=O4"},
		{"plan", "/plan?week=2026-03-23"},
		{"plan-now", "/plan"},
		{"booking", "/bookings/1"},
		{"new-booking", "/bookings/new?vehicle=1"},
		{"day-sheet", "/plan/day?depot=2&day=2026-03-03"},
		{"day-sheet-none", "/plan/day?depot=1&day=2026-03-04"},
		{"parts-needed", "/plan/parts"},
		{"workshops", "/workshops"},
		{"workshop", "/workshops/1"},
		{"parts", "/parts"},
		{"part", "/parts/1"},
		{"days", island(t).vehiclePath(t, "Bus 112") + "/days"},
		{"work", "/work"},
		{"find", "/measure"},
		{"found", "/measure?q=bus"},
		{"form", island(t).vehiclePath(t, "Bus 112") + "/measure"},
		{"changed-odometer", island(t).vehiclePath(t, "Bus 112") + "/odometer"},
		{"calendars", "/calendars"},
		{"brake-tests", island(t).vehiclePath(t, "Bus 103") + "#brake-tests"},
		{"brake-test", island(t).testPath(t, "Bus 112")},
		{"brake-test-fails", island(t).testPath(t, "Van 24")},
		{"test-roller", island(t).vehiclePath(t, "Bus 103") + "/test"},
		{"test-decelerometer", island(t).vehiclePath(t, "Bus 103") + "/test?method=decelerometer"},
		{"test-stop", island(t).vehiclePath(t, "Bus 103") + "/test?method=stop"},
		{"limits", island(t).vehiclePath(t, "Refuse 48") + "/limits"},
		{"rules", "/rules"},
		{"rule-set", "/rules/sets/us-393"},
		{"fleet-rules", "/rules/fleets/1"},
		{"findings", "/findings"},
		{"findings-none", "/findings?kind=cracked"},
		{"finding", island(t).findingPath(t, fleet.UnevenPads)},
		{"finding-suggests", island(t).findingPath(t, fleet.PartChange)},
		{"finding-vehicle", fmt.Sprintf("/vehicles/%d", island(t).findingOf(t, fleet.PartChange).VehicleID)},
		{"correction", island(t).readingPath(t, island(t).vehiclePath(t, "Bus 112"))},
		{"wrong-axle", island(t).readingPath(t, island(t).vehiclePath(t, "Bus 112")) + "/axle"},
		{"people", "/people"},
		{"person", "/people/1"},
		{"not-found", "/vehicles/999999"},
	}
}

// TestBrowserPages looks at every page of the demo fleet in both widths and
// both themes: nothing runs over the edge, every control is large enough for a
// thumb, and nothing was blocked or failed.
func TestBrowserPages(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	faults := complaints(t, ctx)
	for _, p := range everyPage(t) {
		for _, width := range []int64{desk, phone} {
			for _, theme := range []string{"light", "dark"} {
				name := fmt.Sprintf("%s-%d-%s", p.name, width, theme)
				t.Run(name, func(t *testing.T) {
					faults()
					look(t, ctx, width, theme, srv.URL+p.path)
					if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
						t.Errorf("the page runs %g px over the edge: %s", over, eval[string](t, ctx, widest))
					}
					if small := eval[string](t, ctx, tooSmall); small != "" && width == phone {
						t.Errorf("smaller than 44 px: %s", small)
					}
					if got := eval[string](t, ctx, scrolled); got != "" && width == phone {
						t.Errorf("only to be seen by scrolling sideways: %s", got)
					}
					if got := eval[string](t, ctx, `getComputedStyle(document.body).backgroundColor`); (theme == "dark") != dark(got) {
						t.Errorf("theme %s has the background %s", theme, got)
					}
					if got := eval[int](t, ctx, `document.querySelectorAll("h1").length`); got != 1 {
						t.Errorf("got %d first headings, want 1", got)
					}
					if got := faults(); got != "" && p.name != "not-found" {
						t.Errorf("the browser complains: %s", got)
					}
					shoot(t, ctx, name)
					eval[bool](t, ctx, `document.querySelectorAll("details").forEach(d => d.open = true), true`)
					if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
						t.Errorf("opened, the page runs %g px over the edge: %s", over, eval[string](t, ctx, widest))
					}
					if got := eval[string](t, ctx, scrolled); got != "" && width == phone {
						t.Errorf("opened, only to be seen by scrolling sideways: %s", got)
					}
					shoot(t, ctx, name+"-open")
				})
			}
		}
	}
}

// complaints returns what the browser complained of since it was last asked:
// what the content security policy blocked, what failed to load, exceptions.
func complaints(t *testing.T, ctx context.Context) func() string {
	t.Helper()
	var mu sync.Mutex
	var all []string
	err := chromedp.Listen(ctx, func(ev any) {
		mu.Lock()
		defer mu.Unlock()
		switch e := ev.(type) {
		case *log.EventEntryAdded:
			if e.Entry.Level == log.EntryLevelError {
				all = append(all, e.Entry.Text+" "+e.Entry.URL)
			}
		case *runtime.EventExceptionThrown:
			all = append(all, e.ExceptionDetails.Text)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return func() string {
		mu.Lock()
		defer mu.Unlock()
		got := strings.Join(all, "; ")
		all = nil
		return got
	}
}

// TestBrowserComplains shows that complaints would be heard.
func TestBrowserComplains(t *testing.T) {
	ctx := browser(t)
	faults := complaints(t, ctx)
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	r.GET("/", func(c *gin.Context) {
		c.Data(http.StatusOK, "text/html", []byte(`<p style="color:blue">blue</p><script>document.title = "ran"</script>`))
	})
	srv := httptest.NewServer(r)
	defer srv.Close()
	look(t, ctx, desk, "light", srv.URL)
	got := faults()
	for _, want := range []string{"inline style", "inline script"} {
		if !strings.Contains(got, want) {
			t.Errorf("got %q, want a complaint about an %s", got, want)
		}
	}
}

// widest names what sticks out furthest.
const widest = `[...document.querySelectorAll("body *")].map(e => [e.getBoundingClientRect().right, e.tagName + "." + e.className]).sort((a, b) => b[0] - a[0])[0].join(" ")`

// tooSmall lists the links and controls that stand by themselves and are
// lower than 44 px; links inside a sentence, a table or a figure's caption are
// as high as their line, and a box to tick is as large as its label.
const tooSmall = `[...document.querySelectorAll("a, button, select, input, summary")]
	.filter(e => e.checkVisibility() && !e.closest("p:not(.crumb):not(.next), td, th, .skip") &&
		(/radio|checkbox/.test(e.type) && e.closest("label") || e).getBoundingClientRect().height < 44)
	.map(e => e.outerHTML.slice(0, 60) + " " + e.getBoundingClientRect().height).join("; ")`

// tooNarrow lists what a thumb does not find because it is not wide enough.
const tooNarrow = `[...document.querySelectorAll("button, summary, .button, .top nav a")]
	.filter(e => e.checkVisibility() && !e.matches(".skip-name") && e.getBoundingClientRect().width < 44)
	.map(e => e.outerHTML.slice(0, 60) + " " + e.getBoundingClientRect().width).join("; ")`

// scrolled lists what is laid out for a phone and is wider than it all the same.
const scrolled = `[...document.querySelectorAll(".top nav, .scroll:has(.stack), .picture .scroll, .summary li")]
	.filter(e => e.checkVisibility() && e.scrollWidth > e.clientWidth + 1)
	.map(e => e.ariaLabel + " " + e.scrollWidth + " of " + e.clientWidth).join("; ")`

func dark(rgb string) bool {
	var r, g, b int
	if _, err := fmt.Sscanf(rgb, "rgb(%d, %d, %d)", &r, &g, &b); err != nil {
		return false
	}
	return r+g+b < 3*128
}

// TestBrowserUpload hands a readings file in as a person does, with and
// without JavaScript: it is checked, its rows are taken or refused in words, and
// the due-soon list follows.
func TestBrowserUpload(t *testing.T) {
	for _, scripts := range []bool{true, false} {
		t.Run(fmt.Sprintf("scripts %v", scripts), func(t *testing.T) {
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
			text := "vehicle,date,odometer_km,axle,part,side,face,value_mm\n" +
				"Bus 1,2026-02-27,163000,1,pad,left,inner,3.4\n" +
				"Bus 1,2026-02-27,163000,1,pad,right,inner,-2\n" +
				"Bus 77,2026-02-27,,1,pad,left,inner,9.0\n"
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			look(t, ctx, phone, "light", srv.URL+"/readings")
			must(t, ctx,
				chromedp.SetUploadFiles(chromedp.CSS("input[type=file]"), []string{file}),
				chromedp.Click(chromedp.CSS("form.upload button")),
				chromedp.WaitVisible(chromedp.CSS(".tally")),
			)
			if got, want := strings.Fields(textOf(t, ctx, ".tally")), strings.Fields("to be taken 1 refused 2 already there 0"); !slices.Equal(got, want) {
				t.Errorf("tally of the check: got %q, want %q", got, want)
			}
			must(t, ctx, chromedp.Click(chromedp.CSS(".decide button")), chromedp.WaitVisible(chromedp.CSS(".next a.button")))
			if got, want := strings.Fields(textOf(t, ctx, ".tally")), strings.Fields("taken 1 refused 2 already there 0"); !slices.Equal(got, want) {
				t.Errorf("tally: got %q, want %q", got, want)
			}
			problems := textOf(t, ctx, ".problems")
			for _, want := range []string{"line 3", "-2", "line 4", "Bus 77", "no vehicle has this number"} {
				if !strings.Contains(problems, want) {
					t.Errorf("problems: got %q, want %q in it", problems, want)
				}
			}
			shoot(t, ctx, fmt.Sprintf("refused-%d-light", phone))
			must(t, ctx, chromedp.Click(chromedp.CSS(".next a.button")), chromedp.WaitVisible(chromedp.CSS(".lanes")))
			rows := textOf(t, ctx, ".lanes")
			if row := regexp.MustCompile(`Bus 1[^·]*left inner pad\n3\.[34] mm\nlimit 3\.0`); !row.MatchString(rows) {
				t.Errorf("list: got %q, want %s in it", rows, row)
			}
			// Mended and handed in again: what was taken is not taken twice.
			text = strings.Replace(text, ",-2\n", ",4.8\n", 1)
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			look(t, ctx, phone, "light", srv.URL+"/readings")
			must(t, ctx,
				chromedp.SetUploadFiles(chromedp.CSS("input[type=file]"), []string{file}),
				chromedp.Click(chromedp.CSS("form.upload button[name=direct]")),
				chromedp.WaitVisible(chromedp.CSS(".tally")),
			)
			if got, want := strings.Fields(textOf(t, ctx, ".tally")), strings.Fields("taken 1 refused 1 already there 1"); !slices.Equal(got, want) {
				t.Errorf("tally: got %q, want %q", got, want)
			}
		})
	}
}

// textOf returns the text of the first element that fits.
func textOf(t *testing.T, ctx context.Context, css string) string {
	t.Helper()
	// Found and read in one step: a page that has just come may replace what
	// was found.
	node := fmt.Sprintf("document.querySelector(%q)", css)
	until(t, ctx, fmt.Sprintf(`document.readyState === "complete" && %s !== null`, node))
	return eval[string](t, ctx, node+".innerText")
}

// choose takes the first depot as a person does.
const choose = `(() => {
	const depot = document.querySelector("select[name=depot]")
	depot.selectedIndex = 1
	depot.dispatchEvent(new Event("change"))
	return true
})()`

// TestBrowserFilter narrows the list by a choice and by typing.
func TestBrowserFilter(t *testing.T) {
	ctx := browser(t)
	srv := httptest.NewServer(island(t).handler)
	defer srv.Close()
	look(t, ctx, desk, "light", srv.URL+"/?within=0")
	all := eval[int](t, ctx, `document.querySelectorAll(".row").length`)
	depot := eval[string](t, ctx, `document.querySelector("select[name=depot] option:nth-child(2)").textContent`)
	// Choosing applies by itself where scripts run.
	_, err := chromedp.RunResponse(ctx, chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
		_, err := chromedp.Evaluate[bool](choose)(ctx, tg)
		return err
	}))
	if err != nil {
		t.Fatal(err)
	}
	got := eval[[]string](t, ctx, `[...document.querySelectorAll(".row .depot")].map(e => e.textContent)`)
	if len(got) == 0 || len(got) > all {
		t.Fatalf("got %d rows of %d", len(got), all)
	}
	for _, d := range got {
		if d != depot {
			t.Errorf("a row of depot %q in the list of %q", d, depot)
		}
	}
	must(t, ctx, typeIn("input[name=q]", "bus"))
	if _, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS("form.filter button"))); err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, eval[string](t, ctx, `document.documentElement.outerHTML`)), []has{{".row", "*"}})
	for _, name := range eval[[]string](t, ctx, `[...document.querySelectorAll(".row .who a")].map(e => e.textContent)`) {
		if !strings.Contains(strings.ToLower(name), "bus") {
			t.Errorf("%q found by “bus”", name)
		}
	}
}
