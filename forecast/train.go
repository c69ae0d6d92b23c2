package forecast

import (
	"errors"
	"fmt"
	"hash/fnv"
	"iter"
	"runtime"
	"runtime/debug"
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
	l := NewLearner(asOf)
	for !l.Over {
		heard := l.Listen(vs)
		if err := l.Learn(func(yield func(*Heard, error) bool) { yield(heard, nil) }); err != nil {
			return nil, fmt.Errorf("train full: %w", err)
		}
	}
	return l.Model(), nil
}

// hashOf orders names as if by chance, but the same way each time.
func hashOf(name string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(name))
	return h.Sum64()
}

// eachInOrder works on the elements of seq with so many workers (0: one per
// processor) and takes the results one by one in their order. A panic of work is
// the caller's.
func eachInOrder[S, T any](seq iter.Seq[S], workers int, work func(S) T, take func(S, T)) {
	const batch = 256
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	out := make([]T, batch)
	var in []S
	var gone any // what work panicked with first, and where
	var once sync.Once
	one := func(i int) {
		defer func() {
			if p := recover(); p != nil {
				once.Do(func() { gone = fmt.Sprintf("%v\n%s", p, debug.Stack()) })
			}
		}()
		out[i] = work(in[i])
	}
	flush := func() {
		next := make(chan int)
		var wg sync.WaitGroup
		for range min(workers, len(in)) {
			wg.Go(func() {
				for i := range next {
					one(i)
				}
			})
		}
		for i := range in {
			next <- i
		}
		close(next)
		wg.Wait()
		if gone != nil {
			panic(gone)
		}
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
