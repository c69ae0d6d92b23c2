package pipeline_test

import (
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestVehiclesElsewhere wants a line about another depot's vehicle to be refused, from
// somebody of one depot, and to cost no other line of the file.
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
		var quay auth.Scope
		for _, d := range depots {
			if d.Name == "Quay" {
				quay = auth.ScopeOf(nil, []int64{d.ID})
			}
		}
		text := "vehicle,depot,duty\nBus 1,Quay,tours\nBus 2,Quay,tours\nBus 3,Quay,tours\n"
		up, err := s.Import(t.Context(), quay, "test", pipeline.File{Name: "vehicles.csv", Body: strings.NewReader(text)})
		// Bus 3 is of a fleet in which nothing is theirs: another one gets that number.
		if err != nil || up.Accepted != 2 || up.Refused != 1 {
			t.Fatalf("got %+v, %v; want two lines taken and one refused", up, err)
		}
		p := up.Problems[0]
		if got := p.Column + " " + p.Read + ": " + p.Message; p.Line != 3 || !strings.HasPrefix(got, "vehicle Bus 2: a vehicle of a depot that is not yours has this number") {
			t.Errorf("line %d: got %q", p.Line, got)
		}
		up, err = s.Import(t.Context(), quay, "test", pipeline.File{Name: "readings.csv", Body: strings.NewReader("vehicle,date,axle,left inner pad mm\nBus 2,2026-02-05,1,5\n")})
		if err != nil || up.Refused != 1 || !strings.HasPrefix(up.Problems[0].Message, "no vehicle of yours has this number: correct it") {
			t.Errorf("a reading: got %+v, %v", up, err)
		}
	})
}
