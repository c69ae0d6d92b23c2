package dashboard

import (
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// TestHelpExample holds the worked example against arithmetic of our own, and
// its sentences against what they claim.
func TestHelpExample(t *testing.T) {
	x, err := newExample(units.Reader{}, .05)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: 14.9 − 8.4 = 6.5 mm over 220,100 − 193,400 = 26,700 km, hence
	// 2.434 mm per 10,000 km; 8.4 − 3 = 5.4 mm last 22,182 km more, two digits
	// of which are shown; 26,700 km in 182 days are 146.7 a day, so 151.2 days
	// from 1 December.
	want := Ruler{Place: "left inner pad", Lost: "6.5 mm", Over: "26,700 km", Rate: "2.43", Left: "5.4 mm", More: "22,000 km", PerDay: "147 km", Day: "1 May 2026"}
	if x.Ruler != want {
		t.Errorf("ruler: got %+v, want %+v", x.Ruler, want)
	}
	if len(x.Visits) != 3 || len(x.Visits[0].MM) != len(x.Places) {
		t.Errorf("got %d visits of %d places", len(x.Visits), len(x.Places))
	}
	if len(x.Pictures) != 2 || !strings.Contains(string(x.Pictures[0].Wide), "<svg") {
		t.Errorf("got %d pictures, want the thickness and the chance", len(x.Pictures))
	}

	low, median, up, by := helpDay(t, x.Low), helpDay(t, x.Median), helpDay(t, x.Up), helpDay(t, x.BookBy)
	if !(by < low && low < median && median < up) {
		t.Errorf("not in order: book by %v, limit %v, %v, %v", by, low, median, up)
	}
	// "Lies close to where the ruler is": the readings lie near a line, and the
	// span is four months wide.
	if off := median - helpDay(t, x.Ruler.Day); off < -14 || off > 14 {
		t.Errorf("even odds %v are %d days from the ruler's %s", median, off, x.Ruler.Day)
	}
	later, err := newExample(units.Reader{}, .2)
	if err != nil {
		t.Fatal(err)
	}
	if !(helpDay(t, later.BookBy) > by) {
		t.Errorf("at a risk of 20 %% book by %s, at 5 %% by %s", later.BookBy, x.BookBy)
	}
}

// TestHelpExampleIsTheForecast: the page's dates are those the forecast gives
// for the readings it shows.
func TestHelpExampleIsTheForecast(t *testing.T) {
	x, err := newExample(units.Reader{}, .05)
	if err != nil {
		t.Fatal(err)
	}
	m, err := forecast.TrainFull(func(func(*forecast.Vehicle) bool) {}, forecast.Day(exampleAsOf))
	if err != nil {
		t.Fatal(err)
	}
	v := exampleVehicle()
	day := m.Forecast(v, forecast.Day(exampleAsOf), forecast.Options{})[0].Crossing.Day
	for p, got := range map[float64]string{.1: x.Low, .5: x.Median, .9: x.Up} {
		if want := fleet.Date(math.Floor(day.Quantile(p))); helpDay(t, got) != want {
			t.Errorf("%g: got %s, want %v", p, got, want)
		}
	}
	by := float64(helpDay(t, x.BookBy))
	if day.CDF(by) >= .05 || day.CDF(by+2) < .05 {
		t.Errorf("chance %.3f on the book-by date and %.3f two days on, want 0.05 in between", day.CDF(by), day.CDF(by+2))
	}
	// One value changed, and all that follows from it: nothing is written down.
	v.Axles[0].Readings[len(v.Axles[0].Readings)-4].MM -= 1.5
	if moved := m.Forecast(v, forecast.Day(exampleAsOf), forecast.Options{})[0].Crossing.Day; !(moved.Quantile(.5) < day.Quantile(.5)) {
		t.Error("a thinner last reading does not bring the limit nearer")
	}
}

func helpDay(t *testing.T, words string) fleet.Date {
	t.Helper()
	for d := exampleFitted.day; d < exampleFitted.day+3000; d++ {
		if (units.Reader{}).Day(d) == words {
			return d
		}
	}
	t.Fatalf("%q is no day near the example's", words)
	return 0
}

func TestHelpPage(t *testing.T) {
	w := small(t)
	w.svc.Risk = .04
	bus := w.vehiclePath(t, "Bus 1")
	check(t, parse(t, w.get("/help").Body.String()), []has{
		{"h1", "How the forecast works"},
		{".office a[aria-current]", "How the forecast works"},
		{"#example table", "14.9"},
		{"#example blockquote", "even odds"},
		{"#example .picture .wide svg[role=img]", "*"},
		{"#interval", "accepted risk, here 4"},
		{"#interval", "one axle in 25"},
		{"#trust", "No forecast says that a brake is fit for the road"},
		{"#measure", "4 to 8 points round the rotor"},
		{"#measure", "Both faces"},
		{"footer.cautions", "licensed technician"},
	})
	// A stranger may read it, and finds nothing of the fleet on it.
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	r.Use(web.Guard(entrant{}))
	d, err := New(w.svc)
	if err != nil {
		t.Fatal(err)
	}
	d.Register(r)
	rec := httptest.NewRecorder()
	r.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/help", nil))
	if rec.Code != http.StatusOK || strings.Contains(rec.Body.String(), "Bus 1") {
		t.Errorf("a stranger: got %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{{"h1", "How the forecast works"}, {".signed a[href=/sign-in]", "Sign in"}, {"nav.office", ""}, {"header nav", ""}, {"a[href=/record]", ""}})
	for path, want := range map[string]has{
		"/?within=0":     {".key a[href=/help#interval]", "*"},
		bus:              {"#axle-1 a[href=/help#trust]", "*"},
		bus + "/measure": {"a[href=/help#measure]", "how to measure"},
	} {
		check(t, parse(t, w.get(path).Body.String()), []has{want})
	}
}

// There are hundreds of clocks, and the example tells no time of day.
func TestExampleForEveryClock(t *testing.T) {
	d, err := New(empty(t).svc)
	if err != nil {
		t.Fatal(err)
	}
	here, err := d.example(units.Reader{Zone: "Europe/Berlin"})
	if err != nil {
		t.Fatal(err)
	}
	if there, err := d.example(units.Reader{Zone: "Asia/Tokyo"}); err != nil || there != here {
		t.Errorf("got another example for another clock, %v", err)
	}
}
