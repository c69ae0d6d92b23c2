package plan

import (
	"fmt"
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
