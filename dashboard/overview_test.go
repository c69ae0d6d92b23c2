package dashboard

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// The small world: the van's 1.9 mm lie below its limit of 2; Bus 1 has 5.1 mm
// of 20 to 3 a month before, at 2.1 mm per 10,000 km, and 11 mm on axle 2. Bus
// 2 was measured at 17.2 mm two years ago; driven on ever since, it is more
// likely past its limit than not.
func TestOverviewPage(t *testing.T) {
	w := small(t)
	doc := parse(t, w.get("/overview").Body.String())
	check(t, doc, []has{
		{"h1", "Overview"}, {"nav a[aria-current]", "Overview"}, {".as-of", "2 Mar 2026"}, {".notice", "2 axles are without a booking, to be booked by today at the latest"}, {".notice a[href=/?due_to=2026-03-02&measured=yes&sort=book_by&within=0&booked=no]", "Show them"},
		{".tally", "At or past the limit now of 4 measured axles"},
		{"#left .picture svg[role=img]", "*"}, {"#left tbody tr", "Nothing left 2 50 %"}, {"#left tbody a", "2"},
		{"#weeks .picture svg[role=img]", "*"}, {"#weeks tbody tr", "By now"}, {"#weeks tbody th", "2 – 8 Mar"}, {"#weeks tbody th", "30 Mar – 5 Apr"}, {"#weeks tbody a[href=/?due_to=2026-03-02&measured=yes&sort=book_by&within=0&booked=no]", "2 axles"},
		{"#weeks", "What waiting comes to"}, {"#weeks h3", "What waiting costs"}, {"#weeks .gaps", "depots whose workshop nobody has set: 3.0 axles"}, {"#weeks .gaps a[href=/workshops]", "*"}, {"#depots .picture svg[role=img]", "*"}, {"#depots tbody th a[href=/overview?depot=2]", "Hill"}, {"#depots .files a[href=/overview/depots.csv]", "CSV"},
		{"#cost tbody tr", "Axles to change, not booked yet"}, {"#cost .gaps", "Without a price"}, {"#cost .gaps", "Nobody has set the rates of Harbour, Hill"},
		{"#wear tbody tr", "city pads 3"}, {"#wear tbody tr", "parcels pads 1"}, {"#wear tbody tr", "too few"}, {"#wear tbody tr", "Harbour pads 2"},
		{"footer.cautions", "licensed technician"}, {".empty", ""},
	})
	if rows := find(doc, "#weeks tbody tr"); len(rows) != 1+pipeline.OverviewWeeks {
		t.Errorf("got %d weeks", len(rows))
	}
	// One depot's, by the form.
	doc = parse(t, w.get("/overview?depot=2").Body.String())
	check(t, doc, []has{{"select[name=depot] option[selected]", "Hill"}, {".tally", "of 2 measured axles"}, {"#depots", ""}, {"#wear tbody tr", "Hill pads 2"}, {"#left .files a[href=/overview/left.csv?depot=2]", "CSV"}})
	for path, want := range map[string]string{"/overview?depot=x": "want the number of a depot", "/overview?fleet=x": "want the number of a fleet"} {
		if rec := w.get(path); rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), want) {
			t.Errorf("%s: got %d", path, rec.Code)
		}
	}
}

// Before there is anything the page says what to do.
func TestOverviewEmpty(t *testing.T) {
	w := empty(t)
	check(t, parse(t, w.get("/overview").Body.String()), []has{{".empty h2", "No axles here yet"}, {".steps", "Vehicles"}, {".glance", ""}})
	w.takeIn(t, "vehicles.csv", smallVehicles)
	w.takeIn(t, "axles.csv", smallAxles)
	check(t, parse(t, w.get("/overview").Body.String()), []has{{".empty h2", "4 axles, none of them measured"}, {".empty a[href=/readings]", "*"}})
}

// A number on the overview leads to a list of just as many axles, whatever it
// was narrowed to before.
func TestOverviewLinks(t *testing.T) {
	w := island(t)
	lists := 0
	for _, path := range []string{"/overview", "/overview?depot=2"} {
		for _, a := range find(parse(t, w.get(path).Body.String()), ".glance tbody a") {
			to := attr(a, "href")
			if !strings.HasPrefix(to, "/?") {
				continue
			}
			lists++
			want := regexp.MustCompile(`^[\d,]+`).FindString(text(a))
			doc := parse(t, w.get(to).Body.String())
			if h := text(find(doc, "h1")[0]); !strings.HasPrefix(h, want+" axle") {
				t.Errorf("%s: %q leads to %q, %s", path, text(a), h, to)
			}
			check(t, doc, []has{{".notice", "Only axles"}, {".notice a[href=/overview]", "*"}, {"form.filter input[type=hidden]", "*"}})
			rec := w.get("/due.csv" + strings.TrimPrefix(to, "/"))
			rows, err := csv.NewReader(rec.Body).ReadAll()
			if n, _ := strconv.Atoi(strings.ReplaceAll(want, ",", "")); err != nil || len(rows)-1 != n {
				t.Errorf("%s: the file has %d rows, want %s; %v", to, len(rows)-1, want, err)
			}
		}
	}
	if lists < 40 {
		t.Errorf("only %d links to lists", lists)
	}
	// Those that are in no class have a list too, and its form keeps to it.
	for _, a := range find(parse(t, w.get("/overview").Body.String()), "#left p a") {
		if doc := parse(t, w.get(attr(a, "href")).Body.String()); strings.HasPrefix(attr(a, "href"), "/?") {
			check(t, doc, []has{{".notice", "of which no reading says what is left"}, {"form.filter input[name=measured]", "*"}})
		}
	}
}

func TestNarrowRefused(t *testing.T) {
	w := small(t)
	for path, want := range map[string]string{
		"/?measured=perhaps":    "want yes or no",
		"/?left=half":           "want one of",
		"/?limit_from=tomorrow": "Limit_from",
		"/?limit_to=31.2.2026":  "Limit_to",
		"/?part=horn":           "want one of",
		"/?due_from=some+day":   "Due_from: ",
		"/?late=maybe":          "want yes",
	} {
		if rec := w.get(path); rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), want) {
			t.Errorf("%s: got %d, want 400 and %q", path, rec.Code, want)
		}
	}
	check(t, parse(t, w.get("/?duty=parcels&measured=yes").Body.String()), []has{{"h1", "1 axle with a reading, of duty “parcels”"}, {".notice a[href=/?within=0]", "Show the others too"}})
}

// The files say the same as the service, every row of it.
func TestOverviewFiles(t *testing.T) {
	w := island(t)
	o, err := w.svc.Overview(t.Context(), auth.AllFleets(), store.OverviewQuery{})
	if err != nil {
		t.Fatal(err)
	}
	rows := func(name string) [][]string {
		t.Helper()
		rec := w.get("/overview/" + name + ".csv")
		if got, want := rec.Header().Get("Content-Disposition"), fmt.Sprintf("attachment; filename=%q", "overview-"+name+"-2026-03-02.csv"); got != want {
			t.Errorf("%s: got %s", name, got)
		}
		rows, err := csv.NewReader(rec.Body).ReadAll()
		if err != nil || len(rows) < 2 || strings.Join(rows[0], ",") != strings.Join(overviewFiles[name].columns, ",") {
			t.Fatalf("%s: %q, %v", name, rows, err)
		}
		return rows[1:]
	}
	left := rows("left")
	for i, n := range o.Left.Classes {
		if got, want := strings.Join(left[i], " "), fmt.Sprintf("%s %d", store.LeftClasses[i], n); got != want {
			t.Errorf("left: got %q, want %q", got, want)
		}
	}
	weeks := rows("weeks")
	if len(weeks) != 1+len(o.Weeks) || weeks[0][0] != "" || weeks[0][1] != "2026-03-01" || weeks[0][8] != "" || weeks[1][0] != "2026-03-02" {
		t.Errorf("weeks: got %q", weeks)
	}
	sum, want := 0., o.Past.Expected
	for _, r := range weeks {
		x, err := strconv.ParseFloat(r[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += x
	}
	for i := range o.Weeks {
		want += o.Weeks[i].Expected
	}
	if diff := sum - want; diff > .01 || diff < -.01 { // 14 numbers, each cut to three places
		t.Errorf("limits: the file has %g, want %g", sum, want)
	}
	if costs := rows("costs"); len(costs) != pipeline.OverviewMonths || costs[0][3] != "SC" {
		t.Errorf("costs: got %q", costs)
	}
	if parts := rows("parts"); len(parts) != pipeline.OverviewMonths*len(o.Parts) {
		t.Errorf("parts: got %d rows for %d parts", len(parts), len(o.Parts))
	}
	depots := rows("depots")
	if len(depots) != len(o.Depots) || len(depots) < 2 || depots[0][1] != o.Depots[0].Depot || depots[0][5] != strconv.Itoa(o.Depots[0].ToBook) {
		t.Errorf("depots: got %q", depots)
	}
	for name, rates := range map[string][]store.WearRate{"wear-duty": o.Duty, "wear-depot": o.Depot} {
		rs := rows(name)
		if len(rs) != len(rates) || rs[0][1] != rates[0].Name || rs[0][6] != strconv.FormatFloat(rates[0].MMPer10000[2], 'f', 3, 64) {
			t.Errorf("%s: got %q", name, rs)
		}
	}
	for name := range overviewFiles {
		rec := w.get("/overview/" + name + ".xlsx?depot=1")
		f, err := excelize.OpenReader(bytes.NewReader(rec.Body.Bytes()))
		if err != nil {
			t.Errorf("%s.xlsx: %v", name, err)
			continue
		}
		if got, err := f.GetRows(f.GetSheetName(0)); err != nil || len(got) < 2 {
			t.Errorf("%s.xlsx: %q, %v", name, got, err)
		}
		f.Close()
	}
	for _, name := range []string{"left.pdf", "moon.csv", "left"} {
		if rec := w.get("/overview/" + name); rec.Code != http.StatusNotFound {
			t.Errorf("%s: got %d", name, rec.Code)
		}
	}
}

// Hours that are missing add up over the weeks, and free ones make up for them.
func TestOverviewShort(t *testing.T) {
	monday := fleet.NewDate(2026, 3, 2)
	o := &pipeline.Overview{AsOf: monday, Past: pipeline.LimitSpan{To: monday - 1, ToBook: 4, HoursToBook: 10}}
	for i, due := range []float64{2, 30, 0} {
		from := monday + fleet.Date(7*i)
		o.Weeks = append(o.Weeks, pipeline.LimitSpan{From: from, To: from + 6, HoursToBook: due, HoursFree: 20})
	}
	x := overviewLinks{today: monday}
	var got []string
	for _, row := range x.weeks(units.Reader{}, o).Rows {
		got = append(got, row.Short)
	}
	// 10 and 2 of 20, 42 of 40, 42 of 60.
	if want := "||2.0 too few|"; strings.Join(got, "|") != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if n := x.now(units.Reader{}, o); !strings.HasPrefix(n.Text, "4 axles are without a booking") || !strings.Contains(n.Text, "10\u00a0h of work, and 20\u00a0h are free until Sun 8 Mar") {
		t.Errorf("got %+v", n)
	}
	if x.late(o) != nil {
		t.Error("nothing is booked late, and it says so of something")
	}
	for late, want := range map[pipeline.BookedLate]string{
		{Axles: 1, Expected: .01}: "1 axle is booked for a day after the one to book by. Expected to reach the limit before that day: 0.",
		{Axles: 3, Expected: 1.2}: "3 axles are booked for a day after the one to book by. Expected to reach the limit before that day: 1.2.",
	} {
		o.Late = late
		if got := x.late(o); !strings.HasPrefix(got.Text, want) || got.Link != "/?late=yes&measured=yes&sort=book_by&within=0" {
			t.Errorf("got %+v, want %q", got, want)
		}
	}
	o.Past.ToBook = 0
	if x.now(units.Reader{}, o) != nil {
		t.Error("nothing is due, and it says so of something")
	}
}

func TestOverviewWords(t *testing.T) {
	for x, want := range map[float64]string{0: "0", .04: "0", .06: "0.1", 9.94: "9.9", 9.96: "10", 1234.5: "1,235"} {
		if got := about(x); got != want {
			t.Errorf("about %g: got %q, want %q", x, got, want)
		}
	}
	monday := fleet.NewDate(2026, 3, 2)
	for to, want := range map[fleet.Date]string{monday: "2 Mar", monday + 6: "2 – 8 Mar", monday + 30: "2 Mar – 1 Apr"} {
		if got := daysWords(units.Reader{}, monday, to); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	for _, c := range []struct {
		short pipeline.HoursShort
		want  string
	}{
		{pipeline.HoursShort{Expected: 9, TooFew: .01}, ""},
		{pipeline.HoursShort{Expected: 9, TooFew: 4}, "4.0 fall in weeks in which their depot has some, but fewer than they need. A proposal"},
		{pipeline.HoursShort{Expected: 9, NoHours: 4, TooFew: 4}, "4.0 of the 9.0 limits expected on axles that are not booked fall in weeks in which their depot has no free hours. A proposal"},
	} {
		if got := strings.Join(shortWords(&c.short), " "); !strings.HasPrefix(got, c.want) || (c.want == "") != (got == "") {
			t.Errorf("%+v: got %q", c.short, got)
		}
	}
}
