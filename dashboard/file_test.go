package dashboard

import (
	"encoding/csv"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

const readingsHead = "vehicle,date,odometer_km,axle,part,side,face,value_mm\n"

// send posts a form without fields.
func (w *world) send(path string) *httptest.ResponseRecorder {
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, httptest.NewRequest(http.MethodPost, path, nil))
	return rec
}

// TestFileChecked: a file is checked, shown, and taken in by its second form.
func TestFileChecked(t *testing.T) {
	w := small(t)
	text := readingsHead +
		"Bus 1,2026-02-27,157600,1,pad,left,inner,4.6\n" +
		"Bus 1,2026-02-27,157600,2,pad,,,1.1\n" +
		"Bus 1,2026-02-01,155000,1,pad,left,inner,5.1\n" +
		"Bus 77,2026-02-27,,1,pad,left,inner,9.0\n"
	rec := w.post(t, "", "visit readings.csv", text, false)
	page := rec.Header().Get("Location")
	if rec.Code != http.StatusSeeOther || !strings.HasPrefix(page, "/readings/files/") {
		t.Fatalf("got %d to %q, want the file's page", rec.Code, page)
	}
	check(t, parse(t, w.get(page).Body.String()), []has{
		{"h1", "visit readings.csv"},
		{"main", "not yet taken in"},
		{".tally", "to be taken 2 of them doubtful 1 refused 1 already there 1"},
		{"form[action=" + page + "/take] button", "Take in"},
		{".problems", "axle 2 pad: outside what this vehicle's history makes likely"},
		{".problems q", "Bus 77"},
		{".first tbody tr", "Bus 1"},
		{".first tbody tr", "27 Feb 2026"},
		{".first tbody tr", "157,600 km"},
		{".first tbody tr", "axle 1 left inner pad"},
		{".first tbody tr", "4.6 mm"},
		{"meta[http-equiv]", ""},
	})
	check(t, parse(t, w.get("/readings").Body.String()), []has{{".waiting", "visit readings.csv"}, {".waiting", "checked, not taken in"}})
	if _, _, n, err := w.svc.DB.Counts(t.Context(), auth.AllFleets()); err != nil || n != 8 {
		t.Errorf("%d readings before it is taken in, %v; want the 8 there were", n, err)
	}
	rows, err := csv.NewReader(w.get(page + "/problems.csv").Body).ReadAll()
	if err != nil || len(rows) != 3 { // the head, a doubt and a refusal
		t.Errorf("problems as CSV: %q, %v", rows, err)
	}

	var upload string
	for range 2 { // an impatient click
		rec = w.send(page + "/take")
		upload = rec.Header().Get("Location")
		if rec.Code != http.StatusSeeOther || upload != "/readings/4" {
			t.Fatalf("taken in: got %d to %q, want upload 4", rec.Code, upload)
		}
	}
	check(t, parse(t, w.get(upload).Body.String()), []has{{".tally", "taken 2 of them doubtful 1 refused 1 already there 1"}, {"main", "Taken, but doubtful"}})
	if got := w.get(page); got.Header().Get("Location") != upload {
		t.Errorf("the file's page: got %d to %q, want the upload", got.Code, got.Header().Get("Location"))
	}
	check(t, parse(t, w.get("/readings").Body.String()), []has{{".waiting", ""}, {".upload-row", "1 of them doubtful"}})

	t.Run("the same again", func(t *testing.T) {
		clean := readingsHead + "Bus 1,2026-02-28,157700,1,pad,left,inner,4.5\n"
		w.post(t, "", "clean.csv", clean, true)
		page := w.post(t, "", "copy of clean.csv", clean, false).Header().Get("Location")
		check(t, parse(t, w.get(page).Body.String()), []has{
			{".notice", "This was handed in before, and every row of it is there"},
			{".notice a", "clean.csv"}, {"form[action=" + page + "/take]", ""},
		})
		if to := w.send(page + "/take").Header().Get("Location"); to != "/readings/5?nothing=new" {
			t.Errorf("taken in all the same: got %q, want the first upload, and that nothing is new", to)
		}
	})
	t.Run("dropped", func(t *testing.T) {
		page := w.post(t, "", "third.csv", text+"Bus 1,2026-02-28,157650,1,pad,left,inner,4.5\n", false).Header().Get("Location")
		if rec := w.send(page + "/drop"); rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != "/readings" {
			t.Errorf("got %d to %q", rec.Code, rec.Header().Get("Location"))
		}
		for _, rec := range []*httptest.ResponseRecorder{w.get(page), w.send(page + "/take"), w.send(page + "/drop"), w.get(page + "/problems.csv")} {
			if rec.Code != http.StatusNotFound {
				t.Errorf("a file that was dropped: got %d, want 404", rec.Code)
			}
		}
	})
	t.Run("nothing of it can be taken", func(t *testing.T) {
		page := w.post(t, "", "strangers.csv", readingsHead+"Bus 77,2026-02-27,,1,pad,left,inner,9.0\n", false).Header().Get("Location")
		check(t, parse(t, w.get(page).Body.String()), []has{{".notice", "No row of it can be taken"}, {"form[action=" + page + "/take]", ""}})
	})
	t.Run("dates in another order", func(t *testing.T) {
		if rec := w.post(t, "", "menu.csv", "soup,price\nleek,4\n", false); rec.Code != http.StatusBadRequest {
			t.Errorf("not a file of ours: got %d, want 400", rec.Code)
		}
	})
	for _, path := range []string{"/readings/files/x", "/readings/files/99"} {
		if rec := w.get(path); rec.Code != http.StatusNotFound {
			t.Errorf("%s: got %d, want 404", path, rec.Code)
		}
	}
}

// working keeps a file as a process leaves it that works on it, or failed.
func (w *world) working(t *testing.T, state store.FileState, fault string) string {
	t.Helper()
	k := store.KeptFile{
		SHA256: string(state), Name: "ten years of readings.csv", By: tester, Scope: auth.AllFleets(),
		Bytes: 1000, State: state,
	}
	if err := w.svc.DB.KeepFile(t.Context(), &k, 1<<40, strings.NewReader("")); err != nil {
		t.Fatal(err)
	}
	k.ReadBytes, k.ReadRows, k.Fault = 420, 32768, fault
	if err := w.svc.DB.SaveKept(t.Context(), &k); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("/readings/files/%d", k.ID)
}

// TestFirstRows wants of every kind of file that its first rows are shown with what
// tells them apart.
func TestFirstRows(t *testing.T) {
	w := small(t)
	for _, c := range []struct{ kind, text, want string }{
		{"vehicles", "vehicle,depot,plate,category,make,model\nBus 1,Depot,KEA 1,M3,Velquary,Strand 12\n", "KEA 1, M3, Velquary Strand 12"},
		{"axles", "vehicle,axle,pad_new_mm,pad_limit_mm,rotor_new_mm,rotor_limit_mm\nBus 1,1,19,4,45,37\n", "pad new 19 mm, limit 4 mm, rotor new 45 mm, limit 37 mm"},
		{"brake_tests", "vehicle,date,method,mean_m_s2,peak_m_s2\nBus 1,2026-02-27,decelerometer,5.4,7.1\n", "decelerometer, service"},
		{"parts", "part_number,name,item,price,depot,stock\nVE-1,Pad set,pads,236,Depot,4\n", "VE-1, Pad set, 4 on the shelf"},
		{"absences", "vehicle,first_day,reason\nBus 1,2026-07-06,school term\n", "school term"},
		{"absences", "depot,first_day,reason\nDepot,2026-07-06,stocktaking\n", "stocktaking"},
		{"planned_visits", "vehicle,day,what\nBus 1,2026-07-06,statutory test\n", "statutory test"},
	} {
		rec := w.post(t, c.kind, c.kind+".csv", c.text, false)
		check(t, parse(t, w.get(rec.Header().Get("Location")).Body.String()), []has{{".first td:last-child", c.want}})
	}
	// What only the plan looks at is forecast by nobody.
	rec := w.post(t, "parts", "parts.csv", "part_number,name,item\nVE-1,Pad set,pads\n", true)
	check(t, parse(t, w.get(rec.Header().Get("Location")).Body.String()), []has{{".tally", "taken 1"}, {".next", ""}})
}

// TestFirstRowsOfAnotherReader: only what the program says itself is said in the units
// and days of a reader; the file's own words stay as they are.
func TestFirstRowsOfAnotherReader(t *testing.T) {
	w := small(t)
	abroad := w.seenBy(t, "abroad", units.Reader{DaysAs: units.ISO, ThicknessIn: units.Inches})
	for _, c := range []struct{ kind, text, want string }{
		{"parts", "part_number,name,item,price,depot,stock\nVE-1,Pad set 19 mm,pads,236,Depot,4\n", "VE-1, Pad set 19 mm, 4 on the shelf"},
		{"absences", "vehicle,first_day,reason\nBus 1,2026-07-06,until 3 Jan\n", "until 3 Jan"},
		// 0.75 in of 25.4 mm; a pad's gauge shows 32nds.
		{"axles", "vehicle,axle,pad_new_mm,pad_limit_mm\nBus 1,1,19.05,4\n", "pad new 24/32 in"},
		{"readings", readingsHead + "Bus 1,2026-02-27,157600,1,pad,left,inner,19.05\n", "24/32 in (19.05 mm)"},
	} {
		rec := w.post(t, c.kind, c.kind+".csv", c.text, false)
		check(t, parse(t, abroad.get(rec.Header().Get("Location")).Body.String()), []has{{".first td:last-child", c.want}})
	}
}

// TestFileWorkedOn: the page of a file that is being worked on says how far it
// is, and looks again by itself, without scripts.
func TestFileWorkedOn(t *testing.T) {
	w := empty(t)
	for _, c := range []struct {
		state store.FileState
		fault string
		has   []has
	}{
		{store.FileChecking, "", []has{{"h2", "Checking the rows"}, {"progress[value=42]", "*"}, {"main", "32,768 rows so far, 42 % of the file"}, {"[data-again]", "*"}}},
		{store.FileTaking, "", []has{{"h2", "Taking the rows in"}, {"[data-again]", "*"}}},
		{store.FileTaken, "", []has{{"h2", "Taken in. The forecasts of its vehicles follow"}, {"progress[value]", ""}, {"[data-again]", "*"}}},
		{store.FileFailed, "Something went wrong on our side.", []has{{".fault", "The file was not taken in: Something went wrong"}, {"form button", "Try again"}, {"[data-again]", ""}}},
		{store.FileUnreadable, "the file is empty", []has{{".fault", "The file cannot be read: the file is empty"}, {"[data-again]", ""}}},
	} {
		page := w.working(t, c.state, c.fault)
		check(t, parse(t, w.get(page).Body.String()), c.has)
	}
	check(t, parse(t, w.get("/readings").Body.String()), []has{{".waiting", "being checked"}, {".waiting", "being taken in"}, {".waiting", "its forecasts follow"}, {".waiting", "failed"}})
}

// TestBrowserFile goes from the chosen file to the preview and takes it in, at
// both widths and themes, with the pages of work on the way.
func TestBrowserFile(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	faults := complaints(t, ctx)
	fits := func(name string) {
		t.Helper()
		if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("%s runs %g px over the edge: %s", name, over, eval[string](t, ctx, widest))
		}
		if small := eval[string](t, ctx, tooSmall); small != "" {
			t.Errorf("%s: smaller than 44 px: %s", name, small)
		}
		if got := faults(); got != "" {
			t.Errorf("%s: the browser complains: %s", name, got)
		}
		shoot(t, ctx, name)
	}
	days := map[int64]string{desk: "2026-02-25", phone: "2026-02-26"}
	for _, width := range []int64{desk, phone} {
		for i, theme := range []string{"light", "dark"} {
			name := fmt.Sprintf("%d-%s", width, theme)
			file := filepath.Join(t.TempDir(), "wheel off "+name+".csv")
			text := readingsHead +
				fmt.Sprintf("Bus 1,%s,157600,1,pad,left,inner,4.%d\n", days[width], 6-i) +
				fmt.Sprintf("Bus 1,%s,157600,1,pad,right,outer,9.%d\n", days[width], i) +
				fmt.Sprintf("Bus 1,%s,157600,2,pad,,,1.%d\n", days[width], i) +
				fmt.Sprintf("Bus 2,%s,4000,1,pad,left,inner,4.%d\n", days[width], i) +
				"Bus 1,2026-02-01,155000,1,pad,left,inner,5.1\nBus 77,2026-02-27,,1,pad,left,inner,9.0\nBus 1,2026-02-27,,1,pad,left,inner,about three\n"
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			look(t, ctx, width, theme, srv.URL+"/readings")
			must(t, ctx,
				chromedp.SetUploadFiles(chromedp.CSS("input[type=file]"), []string{file}),
				chromedp.Click(chromedp.CSS("form.upload button")),
				chromedp.WaitVisible(chromedp.CSS(".decide")),
			)
			fits("file-checked-" + name)
			look(t, ctx, width, theme, srv.URL+"/readings")
			fits("files-waiting-" + name)
			must(t, ctx, chromedp.Click(chromedp.CSS(".waiting a")), chromedp.WaitVisible(chromedp.CSS(".decide")),
				chromedp.Click(chromedp.CSS(".decide button")), chromedp.WaitVisible(chromedp.CSS(".next a.button")))
			fits("file-taken-" + name)
		}
	}
	for _, width := range []int64{desk, phone} {
		for _, state := range []store.FileState{store.FileTaking, store.FileFailed} {
			look(t, ctx, width, "light", srv.URL+w.working(t, state, "Something went wrong on our side. It has been logged, and nothing was changed."))
			fits(fmt.Sprintf("file-%s-%d", state, width))
		}
	}
}

// TestBrowserProgress hands a large file in where a desk works on it, without
// scripts: the page of work gives way to the preview by itself.
func TestBrowserProgress(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	desk := pipeline.OpenDesk(t.Context(), w.svc, slog.New(slog.DiscardHandler))
	defer desk.Close()
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	k := store.KeptFile{SHA256: "ab", Name: "odometers.csv", By: tester, Scope: auth.AllFleets(), State: store.FileChecking}
	body := "vehicle,date,odometer_km\nBus 1,2026-02-27,157600\n"
	k.Bytes = int64(len(body))
	held, release, err := w.svc.DB.LockJob(t.Context(), "file 1") // as by another process that works on it
	if err != nil || held == nil {
		t.Fatal(err)
	}
	if err := w.svc.DB.KeepFile(t.Context(), &k, 1<<40, strings.NewReader(body)); err != nil {
		t.Fatal(err)
	}
	look(t, ctx, phone, "light", fmt.Sprintf("%s/readings/files/%d", srv.URL, k.ID))
	must(t, ctx, chromedp.WaitVisible(chromedp.CSS("progress")))
	release() // it dies, and this one's desk takes the file up when the page is asked for
	must(t, ctx, chromedp.WaitVisible(chromedp.CSS(".decide")))
	if got := textOf(t, ctx, ".tally"); !strings.Contains(got, "1") {
		t.Errorf("tally of the check: got %q", got)
	}
}

// What is said of a file's rows has days as its reader has, and quantities as
// the file has.
func TestFileSaysDays(t *testing.T) {
	w := small(t)
	rec := w.post(t, "", "visit.csv", readingsHead+"Bus 2,2024-06-10,50000,1,pad,left,inner,19.5\n", false)
	page := rec.Header().Get("Location")
	abroad := w.seenBy(t, "abroad", units.Reader{DaysAs: units.ISO, ThicknessIn: units.Inches})
	check(t, parse(t, w.get(page).Body.String()), []has{{".problems", "thicker than last time (17.2 mm on 10 March 2024)"}})
	check(t, parse(t, abroad.get(page).Body.String()), []has{{".problems", "thicker than last time (17.2 mm on 2024-03-10)"}})
}
