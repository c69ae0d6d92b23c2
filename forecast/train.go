package forecast

import (
	"errors"
	"hash/fnv"
	"iter"
	"runtime"
	"slices"
	"sync"
)

const (
	// leastTaught is how many vehicles with readings a fleet needs before
	// anything is learned of wear. Judgement: of fewer, the defaults tell more.
	leastTaught = 3
	// taughtLives is how many lives make a group stand on its own feet: below
	// it the group leans on its planning band noticeably, and that is said.
	taughtLives = 30
	// trainRounds is how often lives are fitted anew under what the last round
	// learned: by defaults, by the fleet's rates, by its spreads, and by its
	// spreads once more, since gauges much worse than thought have good readings
	// set aside at first. Spreads are learned in the rounds between the first
	// and the last. Judgement: more moves no figure by more than 1 %.
	trainRounds = 4
	// trainVehicles is about how many vehicles all rounds but the last listen
	// to. Judgement: rates are then known to a hundredth.
	trainVehicles = 4000
)

// Training says what parameters were learned from, for people to judge them.
type Training struct {
	AsOf     Day  `json:"as_of"`
	Vehicles int  `json:"vehicles"`          // with readings
	Lives    int  `json:"lives"`             // part sets whose readings tell of their rate
	Default  bool `json:"default,omitempty"` // too little to learn from: wear is all defaults
	// Rates tells how the fit of the wear rates ended.
	Rates Convergence `json:"rates"`
	// Spreads tells how the fit of the spreads of readings ended, and
	// SpreadLives how many lives it was given; none: they are the defaults.
	Spreads     Convergence `json:"spreads"`
	SpreadLives int         `json:"spread_lives"`
	Strange     int         `json:"strange"` // of these, lives that fit far worse than most
	// Thin are the groups of fewer than 30 lives, by RateKey.
	Thin map[string]ThinGroup `json:"thin,omitempty"`
	// Between are the sds between the levels of each family of effects; a
	// level never seen is as uncertain as that.
	Between map[string]float64 `json:"between,omitempty"`
	Notes   []string           `json:"notes,omitempty"`
}

// Convergence tells how an iteration ended.
type Convergence struct {
	Iterations int     `json:"iterations"`
	Converged  bool    `json:"converged"`
	LastStep   float64 `json:"last_step"` // largest relative change of a variance
}

// ThinGroup is a group that leans on its planning band.
type ThinGroup struct {
	Lives int `json:"lives"`
	// Borrowed is the band's share of the group's mean, 0 to 1.
	Borrowed float64 `json:"borrowed"`
}

// Diagnostics returns what the model was learned from.
func (m *Full) Diagnostics() any { return m.Params.Training }

// TrainFull learns the parameters of the full model from all that vs tells on
// or before asOf. It runs vs several times and keeps of each life but what it
// says of its wear rate. A fleet too small to learn from is no error: it gets
// the defaults, and Diagnostics says so. The result depends on the order of
// vehicles in its last bits only, and not on the number of processors.
func TrainFull(vs iter.Seq[*Vehicle], asOf Day) (*Full, error) {
	if vs == nil {
		return nil, errors.New("train full: no vehicles given")
	}
	m := &Full{Params: DefaultParams()}
	count := 0
	m.Params.Usage = TrainUsage(func(yield func(*Vehicle) bool) {
		for v := range vs {
			if count++; !yield(v) {
				return
			}
		}
	}, asOf)
	t := &Training{AsOf: asOf}
	m.Params.Training = t
	few := max(1, uint64(count/trainVehicles))
	for round := range trainRounds {
		last := round == trainRounds-1
		seq := vs
		if !last {
			seq = oneIn(few, vs)
		}
		spreads := round > 0 && !last
		r, n := m.listen(seq, asOf, spreads)
		t.Vehicles, t.Lives = len(r.vehicles), len(r.lives)
		if len(r.vehicles) < leastTaught {
			t.Default = true
			t.Notes = append(t.Notes, "too few vehicles with readings to learn from: wear rates are planning bands, spreads are defaults")
			return m, nil
		}
		m.Params.Rates = r.fit(&m.Params.Rates, t)
		if spreads {
			n.learn(&m.Params, t)
		}
	}
	if t.Spreads.Iterations == 0 {
		t.Notes = append(t.Notes, "too few lives with several readings: spreads of readings are defaults")
	}
	return m, nil
}

// oneIn returns about one in n of the vehicles, chosen by the hash of their ID.
func oneIn(n uint64, vs iter.Seq[*Vehicle]) iter.Seq[*Vehicle] {
	return func(yield func(*Vehicle) bool) {
		for v := range vs {
			if hashOf(v.ID)%n == 0 && !yield(v) {
				return
			}
		}
	}
}

// hashOf orders names as if by chance, but the same way each time.
func hashOf(name string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(name))
	return h.Sum64()
}

// listen fits all lives by themselves and keeps what they say of their rates
// and, of a sample of them when spreads are asked for, their readings.
func (m *Full) listen(vs iter.Seq[*Vehicle], asOf Day, spreads bool) (*rateFit, *noiseFit) {
	type heard struct {
		messages []Message
		lives    []*noiseLife
	}
	r, n := newRateFit(), newNoiseFit(&m.Params)
	eachInOrder(vs, func(v *Vehicle) (out heard) {
		f := fitters.Get().(*fitter)
		defer fitters.Put(f)
		h := m.history(f, v, asOf)
		out.messages = slices.DeleteFunc(h.messages, func(m Message) bool { return m.Part.rubs() != "" })
		if spreads {
			out.lives = h.noiseLives(&m.Params, v.ID)
		}
		return out
	}, func(v *Vehicle, h heard) {
		r.add(v, h.messages)
		for _, l := range h.lives {
			n.add(l)
		}
	})
	return r, n
}

// eachInOrder works on the elements of seq with all processors and takes the
// results one by one in their order.
func eachInOrder[S, T any](seq iter.Seq[S], work func(S) T, take func(S, T)) {
	const batch = 256
	workers := runtime.GOMAXPROCS(0)
	out := make([]T, batch)
	var in []S
	flush := func() {
		next := make(chan int)
		var wg sync.WaitGroup
		for range min(workers, len(in)) {
			wg.Go(func() {
				for i := range next {
					out[i] = work(in[i])
				}
			})
		}
		for i := range in {
			next <- i
		}
		close(next)
		wg.Wait()
		for i, v := range in {
			take(v, out[i])
		}
		clear(out)
		in = in[:0]
	}
	for v := range seq {
		if in = append(in, v); len(in) == batch {
			flush()
		}
	}
	flush()
}
