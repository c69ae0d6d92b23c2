package pipeline

import (
	"testing"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Depots of one name are two depots, for wear as for gauges, where they are two fleets'.
func TestDepotsOfFleets(t *testing.T) {
	pad := fleet.Position{Axle: 1, Part: fleet.Pad}
	for _, c := range []struct{ fleet, depot, want string }{
		{"Ferry Lines", "Harbour", "Ferry Lines/Harbour"},
		{"Hill Cars", "Harbour", "Hill Cars/Harbour"},
		{"Hill Cars", "", ""},
		{"", "Harbour", "Harbour"},
	} {
		h := store.History{
			Fleet: c.fleet, Depot: c.depot, Axles: []fleet.Axle{{Number: 1}},
			Readings: []fleet.Reading{{Date: fleet.Date(20000), Position: pad, MM: 9}},
		}
		if v := VehicleOf(&h); v.Depot != c.want || v.Axles[0].Readings[0].Depot != c.want {
			t.Errorf("%s of %s: vehicle in %q, read in %q; want %q", c.depot, c.fleet, v.Depot, v.Axles[0].Readings[0].Depot, c.want)
		}
	}
	learned := forecast.Params{Depots: map[string]forecast.Gauge{"Ferry Lines/Harbour": {}, "Hill Cars/Harbour": {}}}
	own := learned.NamedBy([]forecast.Vehicle{*VehicleOf(&store.History{Fleet: "Hill Cars", Depot: "Harbour"})}).Depots
	if _, ok := own["Hill Cars/Harbour"]; !ok || len(own) != 1 {
		t.Errorf("got %v of what Hill Cars may read, want its own depot", own)
	}
}

func TestGaugeStep(t *testing.T) {
	for _, c := range []struct {
		gauge string
		want  float64
	}{
		{"0.1 mm caliper", .1},
		{"1mm stepped gauge", 1},
		{"gauge 0.5 mm", .5},
		{"caliper, 0.05  mm, new", .05},
		{"150 mm caliper", 0}, // its length
		{"v1.2.3 mm", 0},
		{"mm", 0},
		{"caliper", 0},
		{"", 0},
	} {
		if got := GaugeStep(c.gauge); got != c.want {
			t.Errorf("%q: got %g, want %g", c.gauge, got, c.want)
		}
	}
}
