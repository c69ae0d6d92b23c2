package forecast

import (
	"errors"
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
	// rateRounds is how often lives are fitted anew under what the last round
	// learned. Judgement: the third moves no rate by more than 1 %.
	rateRounds = 2
)

// Training says what parameters were learned from, for people to judge them.
type Training struct {
	AsOf     Day  `json:"as_of"`
	Vehicles int  `json:"vehicles"`          // with readings
	Lives    int  `json:"lives"`             // part sets whose readings tell of their rate
	Default  bool `json:"default,omitempty"` // too little to learn from: wear is all defaults
	// Rates tells how the fit of the wear rates ended.
	Rates Convergence `json:"rates"`
	// Thin are the groups of fewer than 30 lives, by RateKey.
	Thin map[string]ThinGroup `json:"thin,omitempty"`
	// Spreads are the sds between the levels of each family of effects; a
	// level never seen is as uncertain as that.
	Spreads map[string]float64 `json:"spreads,omitempty"`
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
	m.Params.Usage = TrainUsage(vs, asOf)
	t := &Training{AsOf: asOf}
	m.Params.Training = t
	for range rateRounds {
		r := m.listen(vs, asOf)
		t.Vehicles, t.Lives = len(r.vehicles), len(r.lives)
		if len(r.vehicles) < leastTaught {
			t.Default = true
			t.Notes = append(t.Notes, "too few vehicles with readings to learn from: wear rates are planning bands, spreads are defaults")
			return m, nil
		}
		m.Params.Rates = r.fit(&m.Params.Rates, t)
	}
	return m, nil
}

// listen fits all lives by themselves and keeps what they say of their rates.
func (m *Full) listen(vs iter.Seq[*Vehicle], asOf Day) *rateFit {
	r := newRateFit()
	eachInOrder(vs, func(v *Vehicle) []Message {
		f := fitters.Get().(*fitter)
		defer fitters.Put(f)
		h := m.history(f, v, asOf)
		return slices.DeleteFunc(h.messages, func(m Message) bool { return m.Part.rubs() != "" })
	}, r.add)
	return r
}

// eachInOrder works on vehicles with all processors and takes the results one
// by one in the order of vehicles.
func eachInOrder[T any](vs iter.Seq[*Vehicle], work func(*Vehicle) T, take func(*Vehicle, T)) {
	const batch = 256
	workers := runtime.GOMAXPROCS(0)
	out := make([]T, batch)
	var in []*Vehicle
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
	for v := range vs {
		if in = append(in, v); len(in) == batch {
			flush()
		}
	}
	flush()
}
