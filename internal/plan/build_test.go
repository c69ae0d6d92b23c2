package plan

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// fillPlainly is fill as it is meant: each time everybody looks anew, and the one goes
// first that has lost most by waiting.
func (b *board) fillPlainly(rest []int) {
	rest = slices.Clone(rest)
	first := make([]float64, len(b.in.veh))
	for _, v := range rest {
		first[v], _ = b.cheapest(v)
	}
	for len(rest) > 0 {
		at, most := 0, -1.
		for k, v := range rest {
			if x, _ := b.cheapest(v); x-first[v] > most {
				at, most = k, x-first[v]
			}
		}
		_, picks := b.cheapest(rest[at])
		b.put(rest[at], picks)
		rest = slices.Delete(rest, at, at+1)
	}
}

// Who looks anew only where something was taken comes to the same plan.
func TestFill(t *testing.T) {
	for seed := uint64(1); seed <= 20; seed++ {
		for _, load := range []float64{.5, .9, 1.3} {
			in := compile(invented(seed, 120, 20, 3, load))
			var rest []int
			for v := range in.veh {
				rest = append(rest, v)
			}
			got, want := newBoard(in), newBoard(in)
			got.fill(rest)
			want.fillPlainly(rest)
			if d := cmp.Diff(want.picks, got.picks, cmp.AllowUnexported(pick{})); d != "" {
				t.Errorf("seed %d, load %g: want, got:\n%s", seed, load, d)
			}
		}
	}
}
