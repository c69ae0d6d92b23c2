package dashboard

import (
	"math"
	"net/http"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/units"
)

// The page shows the invented fleet's groups, and what an empty database has
// to say.
func TestLearned(t *testing.T) {
	rec := island(t).get("/learned")
	if rec.Code != http.StatusOK {
		t.Fatalf("got %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{
		{"h1", "What the fleet has taught"},
		{"li", "settled after"},
		{"td", "M3"},
		{"td", "lining"},
		{"td", "its own readings"},
		{"h2", "How each depot reads"},
		{".cautions", "*"},
	})
	check(t, parse(t, empty(t).get("/learned").Body.String()), []has{{"h2", "Nothing learned yet"}, {"table", ""}})
}

func TestLearnedWords(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{share(math.Log(1.25)), "25\u00a0% faster"},
		{share(math.Log(.8)), "20\u00a0% slower"},
		{share(.001), "as usual"},
		{rate10(units.Reader{}, "pad", math.Log(.31)), "3.10"}, // 0.31 mm per 1000 km
		{ended(forecast.Convergence{Iterations: 1, Converged: true}), "settled after 1 round"},
		{ended(forecast.Convergence{Iterations: 9, LastStep: .02}), "stopped after 9 rounds, the last of which still moved a spread by 2\u00a0%"},
		{endings(nil)[0], "Nothing was learned: all values are defaults."},
		{endings(&forecast.Training{Default: true, Vehicles: 1})[0][:31], "1 vehicle measured often enough"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}
