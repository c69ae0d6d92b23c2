package plan

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
)

// What panics beside the search is raised where it is waited for, and does not end
// the program.
func TestHoundsPanic(t *testing.T) {
	hs := &hounds{ctx: t.Context()}
	for range 3 {
		hs.hunts = append(hs.hunts, &hunt{next: func() { panic("as should never be") }})
	}
	defer func() {
		if p := fmt.Sprint(recover()); !strings.HasPrefix(p, "as should never be\n") {
			t.Errorf("got %.100s, want the panic raised", p)
		}
	}()
	hs.run(2)
}

// ended is a relaxation in the midst of whose climb the context ends.
type ended struct {
	stop func()
	n    int // evaluations
}

func (e *ended) evaluate(x, g []float64) float64 {
	if e.n++; e.n == 3 {
		e.stop()
	}
	g[0] = 1
	return 1 + x[0]
}

// A step of a large problem takes long: the climb goes no further than the one it is
// at.
func TestRiseEnds(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	e := &ended{stop: stop}
	newAscent(e, make([]float64, 1), 0).rise(ctx, 800, math.Inf(1))
	if e.n != 3 {
		t.Errorf("got %d evaluations, want none after the third", e.n)
	}
}
