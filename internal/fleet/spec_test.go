package fleet

import (
	"math"
	"testing"
)

func TestSpecValidate(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct {
		part Part
		spec Spec
		ok   bool
	}{
		{Pad, Spec{New: 20, Limit: 3}, true},
		{Drum, Spec{New: 410, Limit: 414}, true},
		{Pad, Spec{New: 3, Limit: 20}, false},
		{Drum, Spec{New: 414, Limit: 410}, false},
		{Pad, Spec{New: 3, Limit: 3}, false},
		{Pad, Spec{New: 12, Limit: 11.95}, false}, // nothing to wear
		{Pad, Spec{New: 12, Limit: 11.9}, true},   // 0.09999999999999964 apart in binary
		{Drum, Spec{New: 300, Limit: 300.1}, true},
		{Drum, Spec{New: 300, Limit: 300.05}, false},
		{Pad, Spec{New: nan, Limit: 3}, false},
		{Pad, Spec{New: 20, Limit: nan}, false},
		{Pad, Spec{New: inf, Limit: 3}, false},
		{Pad, Spec{New: 0, Limit: -1}, false},
		{Pad, Spec{New: 1001, Limit: 3}, false},
	} {
		if err := c.spec.Validate(c.part); (err == nil) != c.ok {
			t.Errorf("%s %v: got %v", c.part, c.spec, err)
		}
	}
}
