package forecast

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// What panics on one of the goroutines that learn is the caller's, who may go on
// with something else, and nothing waits for it.
func TestEachInOrderPanics(t *testing.T) {
	taken := 0
	defer func() {
		if p := fmt.Sprint(recover()); !strings.HasPrefix(p, "as should never be\n") {
			t.Errorf("got %.100s, want the panic raised", p)
		}
		if taken != 256 { // the batch before
			t.Errorf("took %d results, want those before", taken)
		}
	}()
	eachInOrder(slices.Values(make([]int, 600)), 0, func(int) int {
		if taken > 0 {
			panic("as should never be")
		}
		return 1
	}, func(int, int) { taken++ })
}
