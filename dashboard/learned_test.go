package dashboard

import (
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
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

// The names of depots, duties and models are their fleets' own: who sees one depot reads
// those of its vehicles. In the demo fleet, Upper Skarrow has vans of the duty service and
// none of the duty parcels.
func TestLearnedOfOwnVehicles(t *testing.T) {
	w := island(t)
	depots, err := w.svc.DB.Depots(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	at := slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.Name == "Upper Skarrow" })
	who := auth.Who{Account: 1, Name: tester, Session: 1, Grants: []auth.Grant{{Role: auth.Manager, FleetID: depots[at].FleetID, DepotID: depots[at].ID}}}
	rec := httptest.NewRecorder()
	w.asWho(t, who).ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/learned", nil))
	got, all := rec.Body.String(), w.get("/learned").Body.String()
	const of = "Skarrowmere Island Transport/"
	for _, c := range []struct {
		name string
		own  bool
	}{{of + "Upper Skarrow", true}, {of + "Gannetsby", false}, {of + "Quenby Sands", false}, {"service", true}, {"parcels", false}, {"N1 · parcels", false}} {
		cell := "<td>" + c.name + "</td>"
		if strings.Contains(got, cell) != c.own || !strings.Contains(all, cell) {
			t.Errorf("%s: shown to its depot %v, to all %v", c.name, strings.Contains(got, cell), strings.Contains(all, cell))
		}
	}
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
