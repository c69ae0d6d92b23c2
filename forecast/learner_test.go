package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
)

// learnShares learns from shares of vs of so many vehicles, each listened to by
// a process of its own: all that goes between them goes as bytes. The order in
// which shares are listened to is the reverse of theirs.
func learnShares(t *testing.T, vs []*Vehicle, size int, asOf Day) *Full {
	t.Helper()
	shares := slices.Collect(slices.Chunk(vs, size))
	state, err := json.Marshal(NewLearner(asOf))
	if err != nil {
		t.Fatal(err)
	}
	for {
		var l Learner
		if err := json.Unmarshal(state, &l); err != nil {
			t.Fatal(err)
		}
		if l.Over {
			return l.Model()
		}
		heard := make([][]byte, len(shares))
		for i := len(shares) - 1; i >= 0; i-- {
			var worker Learner
			if err := json.Unmarshal(state, &worker); err != nil {
				t.Fatal(err)
			}
			if heard[i], err = worker.Listen(slices.Values(shares[i])).MarshalBinary(); err != nil {
				t.Fatal(err)
			}
		}
		err := l.Learn(func(yield func(*Heard, error) bool) {
			for _, b := range heard {
				h := new(Heard)
				if err := h.UnmarshalBinary(b); !yield(h, err) {
					return
				}
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		if state, err = json.Marshal(&l); err != nil {
			t.Fatal(err)
		}
	}
}

func text(t *testing.T, m *Full) string {
	t.Helper()
	b, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestLearnerShares: one share, gone through bytes, is the model learned in one
// go to the last bit. Several shares may differ from it in last bits only, for
// their sums come in another order, and give the same each time.
func TestLearnerShares(t *testing.T) {
	vs := plainFleet.draw(1)
	whole := trainFull(t, vs)
	if got, want := text(t, learnShares(t, vs, len(vs), 1440)), text(t, whole); got != want {
		t.Errorf("one share:\n%s\nwant\n%s", got, want)
	}
	cut := learnShares(t, vs, 40, 1440)
	if text(t, cut) != text(t, learnShares(t, vs, 40, 1440)) {
		t.Error("the same shares gave two models")
	}
	got, want := cut.Params, whole.Params
	if got.Training.Lives != want.Training.Lives || got.Training.SpreadLives != want.Training.SpreadLives {
		t.Errorf("learned from %+v, want %+v", got.Training, want.Training)
	}
	for _, key := range []string{"M1|1|pad", "M1|2|pad"} {
		within(t, key, got.Rates.Groups[key].Mean, want.Rates.Groups[key].Mean, 1e-6)
	}
	within(t, "sd between vehicles", got.Rates.Vehicle, want.Rates.Vehicle, 1e-6)
	within(t, "gauge", got.Depots["north"].SD, want.Depots["north"].SD, 1e-6)
	for class, c := range want.Usage.Classes {
		within(t, "km a day of "+class, got.Usage.Classes[class].LogKmPerDay, c.LogKmPerDay, 1e-3) // Nelder-Mead ends where it ends
	}
}

// TestLearnerSamples: the rounds between listen to a part of a large fleet, the
// same whoever asks.
func TestLearnerSamples(t *testing.T) {
	l := Learner{Round: 2, Vehicles: 10 * trainVehicles}
	n := 0
	for i := range 10000 {
		if l.Hears(fmt.Sprint("V", i)) {
			n++
		}
	}
	// A tenth of 10,000, binomial: within four standard deviations of 30.
	if math.Abs(float64(n)-1000) > 120 {
		t.Errorf("hears %d of 10000 vehicles, want about a tenth", n)
	}
	for _, round := range []int{0, LearnerRounds - 1} {
		l.Round = round
		if !l.Hears("V1") || !l.Hears("V2") || !l.Hears("V3") {
			t.Errorf("round %d does not listen to all", round)
		}
	}
}

// TestLearnerFails: an error of a share leaves what was learned as it is.
func TestLearnerFails(t *testing.T) {
	l := NewLearner(1440)
	if err := new(Heard).UnmarshalBinary([]byte("half a share")); err == nil {
		t.Error("nonsense was heard")
	}
	err := l.Learn(func(yield func(*Heard, error) bool) {
		h := new(Heard)
		yield(h, h.UnmarshalBinary(nil))
	})
	if err == nil || l.Round != 0 {
		t.Errorf("got %v, round %d; want an error and nothing learned", err, l.Round)
	}
}
