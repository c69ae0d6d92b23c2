package plan

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// What panics beside the search is raised where it is waited for, and does not end
// the program.
func TestHoundsPanic(t *testing.T) {
	hs := &hounds{over: never}
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

func never() bool { return false }

// ended is a relaxation whose climb is over after the third evaluation.
type ended struct{ n int }

func (e *ended) over() bool { return e.n >= 3 }

func (e *ended) evaluate(x, g []float64) float64 {
	e.n++
	g[0] = 1
	return 1 + x[0]
}

// A step of a large problem takes long: the climb goes no further than the one it is
// at.
func TestRiseEnds(t *testing.T) {
	e := &ended{}
	newAscent(e, make([]float64, 1), 0).rise(e.over, 800, math.Inf(1))
	if e.n != 3 {
		t.Errorf("got %d evaluations, want none after the third", e.n)
	}
}
