package forecast

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Alike chances give the binomial law; its values by the formula
// C(n,k) p^k (1-p)^(n-k).
func TestCountBinomial(t *testing.T) {
	const n, p = 12, .3
	chances := make([]float64, n)
	for i := range chances {
		chances[i] = p
	}
	c := CountOf(chances)
	choose := 1.
	for k := range n + 1 {
		want := choose * math.Pow(p, float64(k)) * math.Pow(1-p, float64(n-k))
		if math.Abs(c[k]-want) > 1e-14 {
			t.Errorf("P(%d): got %g, want %g", k, c[k], want)
		}
		choose *= float64(n-k) / float64(k+1)
	}
}

// TestCountEnumerated compares with all outcomes counted one by one.
func TestCountEnumerated(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ps := rapid.SliceOfN(rapid.Float64Range(0, 1), 0, 9).Draw(t, "chances")
		c := CountOf(ps)
		want := make([]float64, len(ps)+1)
		mean := 0.
		for m := range 1 << len(ps) {
			x, k := 1., 0
			for i, p := range ps {
				if m>>i&1 == 1 {
					x *= p
					k++
				} else {
					x *= 1 - p
				}
			}
			want[k] += x
		}
		for _, p := range ps {
			mean += p
		}
		for k := range want {
			got := 0.
			if k < len(c) {
				got = c[k]
			}
			if math.Abs(got-want[k]) > 1e-12 {
				t.Fatalf("P(%d): got %g, want %g", k, got, want[k])
			}
		}
		if math.Abs(c.Mean()-mean) > 1e-12 {
			t.Fatalf("mean: got %g, want %g", c.Mean(), mean)
		}
		q := rapid.Float64Range(.01, .99).Draw(t, "level")
		k := c.Quantile(q)
		below, upTo := 0., 0.
		for i := range k + 1 {
			below = upTo
			upTo += c[i]
		}
		if upTo < q-1e-9 || below >= q+1e-9 {
			t.Fatalf("quantile %g: got %d, with %g below and %g up to it", q, k, below, upTo)
		}
	})
}

func TestCountOdd(t *testing.T) {
	c := CountOf([]float64{math.NaN(), -1, 2, 1, 0})
	if c.Mean() != 2 || c.Quantile(.1) != 2 || c.Quantile(.9) != 2 {
		t.Errorf("got %v", c)
	}
	if c := CountOf(nil); c.Mean() != 0 || c.Quantile(.9) != 0 {
		t.Errorf("of nothing: got %v", c)
	}
}

// The two ends of the law, and a day between, by the formula in its comment.
func TestChangedBy(t *testing.T) {
	// Evenly over 100 days from day 1000: the median 1050, 5 % at 1005.
	limit := DistOf(func(p float64) float64 { return 1000 + 100*p })
	for _, c := range []struct {
		name              string
		bookBy, w, w1, on float64
		want              float64
	}{
		{"nothing narrows it: not before its date", 1005, 80, 80, 1004.9, 0},
		{"nothing narrows it: on its date", 1005, 80, 80, 1005, 1},
		{"not known how much", 1005, math.NaN(), math.NaN(), 1005, 1},
		{"the next reading tells it", 1005, 80, 0, 1030, .3},
		// r = .6: 1050 - .6·45 = 1023 is the middle, and .8 of the spread.
		{"between", 1005, 80, 48, 1023, .5},
		{"between, a day later", 1005, 80, 48, 1023 + 16, .7},
	} {
		if got := ChangedBy(limit, c.bookBy, c.w, c.w1, c.on); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: got %g, want %g", c.name, got, c.want)
		}
	}
	far := DistOf(func(p float64) float64 {
		if p < .2 {
			return 1000 + 100*p
		}
		return math.Inf(1)
	})
	if got := ChangedBy(far, 1005, 80, 40, 1100); got != 1 {
		t.Errorf("median beyond the horizon: got %g, want 1 from the book-by date on", got)
	}
	if got := ChangedBy(Dist{}, 1005, 80, 40, 1100); !math.IsNaN(got) {
		t.Errorf("nothing known: got %g", got)
	}
}
