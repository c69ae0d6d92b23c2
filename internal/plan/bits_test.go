package plan

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
)

// Fixed jobs of a vehicle on several days are added up in the same order each
// time: the same problem gives the same bits.
func TestFixedJobsSameBits(t *testing.T) {
	t.Parallel()
	p := invented(11, 60, 20, 2, .9)
	for i := range p.Vehicles {
		v := &p.Vehicles[i]
		for k := range v.Jobs {
			v.Jobs[k].Fixed = &Slot{v.Shops[0].Shop, p.Start + fleet.Date((3*k+i)%p.Days)}
		}
	}
	want := mustSolve(t, p)
	for range 30 {
		if d := cmp.Diff(want, mustSolve(t, p)); d != "" {
			t.Fatalf("want, got:\n%s", d)
		}
	}
}
