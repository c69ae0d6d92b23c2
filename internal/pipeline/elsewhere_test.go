package pipeline_test

import (
	"slices"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestVehiclesElsewhere wants a line about another depot's vehicle to be refused, from
// somebody who does not see that depot, and to cost no other line of the file.
func TestVehiclesElsewhere(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", `vehicle,fleet,depot,duty
Bus 1,Ferry Lines,Quay,city
Bus 2,Ferry Lines,Hill,city
Bus 3,Post,Hill,city
`, 3, 0, 0)
		depots, err := db.Depots(t.Context(), auth.AllFleets())
		if err != nil {
			t.Fatal(err)
		}
		quay := depots[slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.Name == "Quay" })]
		post := depots[slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.FleetID != quay.FleetID })].FleetID
		ofQuay := auth.ScopeOf(nil, []int64{quay.ID})
		const head, elsewhere = "vehicle,fleet,depot,duty\n", "a vehicle of a depot that is not yours has this number"
		for _, c := range []struct {
			name     string
			sc       auth.Scope
			text     string
			accepted int
			line     int // refused
		}{
			// Bus 3 is of a fleet in which nothing is theirs: another one gets that number.
			{"a depot", ofQuay, "vehicle,depot,duty\nBus 1,Quay,tours\nBus 2,Quay,tours\nBus 3,Quay,tours\n", 2, 3},
			{"a depot and another fleet", auth.ScopeOf([]int64{post}, []int64{quay.ID}),
				head + "Bus 1,Ferry Lines,Quay,mail\nBus 2,Ferry Lines,Quay,mail\nBus 3,Post,Hill,mail\nBus 4,Post,Hill,mail\n", 3, 3},
			// More rows than are read beforehand for their numbers.
			{"a long file", ofQuay, head + strings.Repeat("Bus 1,Ferry Lines,Quay,regional\n", 2100) + "Bus 2,Ferry Lines,Quay,regional\n", 1, 2102},
		} {
			up, err := s.Import(t.Context(), c.sc, "test", pipeline.File{Name: "vehicles.csv", Body: strings.NewReader(c.text)})
			if err != nil || up.Accepted != c.accepted || up.Refused != 1 {
				t.Errorf("%s: got %+v, %v; want %d lines taken and one refused", c.name, up, err, c.accepted)
				continue
			}
			p := up.Problems[0]
			if got := p.Column + " " + p.Read + ": " + p.Message; p.Line != c.line || !strings.HasPrefix(got, "vehicle Bus 2: "+elsewhere) {
				t.Errorf("%s, line %d: got %q, want line %d", c.name, p.Line, got, c.line)
			}
		}
		up, err := s.Import(t.Context(), ofQuay, "test", pipeline.File{Name: "readings.csv", Body: strings.NewReader("vehicle,date,axle,left inner pad mm\nBus 2,2026-02-05,1,5\n")})
		if err != nil || up.Refused != 1 || !strings.HasSuffix(up.Problems[0].Message, "if it is of another depot, have somebody of that depot hand the line in") {
			t.Errorf("a reading: got %+v, %v", up, err)
		}
	})
}
