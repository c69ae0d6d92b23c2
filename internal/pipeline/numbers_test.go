package pipeline_test

import (
	"fmt"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Numbers that no vehicle has are looked for all at once, for a check keeps others
// waiting meanwhile; nothing is said where more than one number may be meant.
func TestUnknownNumbers(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", `vehicle,plate,fleet,depot,category
Bus 1,KEA 1,City,North,M3
BUS-1,,City,North,M3
Van 2,,City,North,N1
Van 3,VAN 2,City,North,N1
Tram 4,Tram-4,City,North,M3
Bus 21,,City,North,M3
Bus 21,,Coast,Quay,M3
`, 7, 0, 0)
		check := func(numbers ...string) (pipeline.Checked, int) {
			t.Helper()
			csv := "vehicle,date,axle,left inner pad mm\n"
			for _, number := range numbers {
				csv += number + ",2026-02-05,1,5\n"
			}
			ctx, said := storetest.Watch(t.Context())
			c, err := s.Check(ctx, auth.AllFleets(), "test", pipeline.File{Name: "readings.csv", Body: strings.NewReader(csv)})
			if err != nil || len(c.Upload.Problems) != len(numbers) {
				t.Fatalf("got %+v, %v", c, err)
			}
			return c, len(said.Queries())
		}
		asked := []string{"bus1", "van-2", "tram4", "kea-1", "-", "Bus", "bus21"}
		c, many := check(asked...)
		for i, want := range []string{"correct it", "correct it", "write Tram 4, if", "write Bus 1, which has this plate, if", "correct it", "correct it", "write Bus 21, if"} {
			if got := c.Upload.Problems[i].Message; !strings.HasPrefix(got, "no vehicle has this number: "+want) {
				t.Errorf("%s: got %q, want %q", asked[i], got, want)
			}
		}
		if _, one := check("tram4"); many != one {
			t.Errorf("%d numbers: got %d statements, want %d as for one", len(asked), many, one)
		}
		var twenty []string
		for i := range 20 {
			twenty = append(twenty, fmt.Sprint("Tram ", 10+i))
		}
		if _, got := check(twenty...); got != many {
			t.Errorf("20 numbers: got %d statements, want %d as for one", got, many)
		}
	})
}
