package forecast

import (
	"iter"
	"slices"
)

// Learner learns the full model in rounds: first how vehicles are driven, then,
// several times over, what their lives say of wear under what was learned so
// far. In each round it listens to the fleet, whole or in shares, and then
// learns from all that was heard. Shares may be listened to anywhere and at the
// same time: what is heard of them is put together in the order in which it is
// given to Learn, so the same shares give the same model, to the last bit. The
// fields are for JSON to carry from one process to another, unchanged.
type Learner struct {
	AsOf     Day    `json:"as_of"`
	Round    int    `json:"round"`    // to listen in next, from 0
	Vehicles int    `json:"vehicles"` // of the fleet, known after the first round
	Over     bool   `json:"over"`     // nothing more to learn
	Params   Params `json:"params"`   // as learned so far
}

// LearnerRounds is the number of rounds of a Learner: that of the odometers,
// and those of wear.
const LearnerRounds = 1 + trainRounds

// NewLearner returns a Learner that learns from what was known on or before
// asOf.
func NewLearner(asOf Day) *Learner {
	return &Learner{AsOf: asOf, Params: DefaultParams()}
}

// Model returns the model as learned so far.
func (l *Learner) Model() *Full { return &Full{Params: l.Params} }

// Hears says whether the present round has a use for the vehicle of an ID: all
// but the first and the last listen to about trainVehicles, chosen by hash.
func (l *Learner) Hears(id string) bool {
	if l.Round == 0 || l.Round >= LearnerRounds-1 {
		return true
	}
	return hashOf(id)%max(1, uint64(l.Vehicles/trainVehicles)) == 0
}

// spreads says whether the present round listens for the spreads of readings.
func (l *Learner) spreads() bool { return l.Round > 1 && l.Round < LearnerRounds-1 }

// Listen returns what the present round hears of some vehicles, leaving out
// those that it does not hear.
func (l *Learner) Listen(vs iter.Seq[*Vehicle]) *Heard {
	h := &Heard{usage: make(usageHeard), rates: newRateFit(), noise: newNoiseFit(&l.Params)}
	if l.Round == 0 {
		for v := range vs {
			h.vehicles++
			h.usage.add(v, l.AsOf)
		}
		return h
	}
	type told struct {
		messages []Message
		lives    []*noiseLife
	}
	m := l.Model()
	eachInOrder(l.heard(vs), 0, func(v *Vehicle) (out told) {
		f := fitters.Get().(*fitter)
		defer fitters.Put(f)
		h := m.history(f, v, l.AsOf, rubbing, unheard) // nothing is learned from what they rub against
		out.messages = h.messages
		if l.spreads() {
			out.lives = h.noiseLives(&m.Params, v.ID)
		}
		return out
	}, func(v *Vehicle, t told) {
		h.vehicles++
		h.rates.add(v, t.messages)
		for _, life := range t.lives {
			h.noise.add(life)
		}
	})
	return h
}

func (l *Learner) heard(vs iter.Seq[*Vehicle]) iter.Seq[*Vehicle] {
	return func(yield func(*Vehicle) bool) {
		for v := range vs {
			if l.Hears(v.ID) && !yield(v) {
				return
			}
		}
	}
}

// Learn learns from what the present round heard of all shares, in their
// order, and goes on to the next. It ends at the first error that shares give,
// and has learned nothing then.
func (l *Learner) Learn(shares iter.Seq2[*Heard, error]) error {
	all := &Heard{usage: make(usageHeard), rates: newRateFit(), noise: newNoiseFit(&l.Params)}
	for h, err := range shares {
		if err != nil {
			return err
		}
		all.merge(h)
	}
	if l.Round == 0 {
		l.Vehicles = all.vehicles
		l.Params.Usage = all.usage.fit()
		l.Params.Training = &Training{AsOf: l.AsOf}
	} else {
		l.learnWear(all)
	}
	l.Round++
	l.Over = l.Over || l.Round == LearnerRounds
	return nil
}

func (l *Learner) learnWear(all *Heard) {
	t := l.Params.Training
	t.Vehicles, t.Lives = len(all.rates.vehicles), len(all.rates.lives)
	if t.Vehicles < leastTaught {
		t.Default, l.Over = true, true
		t.Notes = append(t.Notes, "too few vehicles with readings to learn from: wear rates are planning bands, spreads are defaults")
		return
	}
	l.Params.Rates = all.rates.fit(&l.Params.Rates, t)
	if l.spreads() {
		all.noise.learn(&l.Params, t)
	}
	if l.Round == LearnerRounds-1 && t.Spreads.Iterations == 0 {
		t.Notes = append(t.Notes, "too few lives with several readings: spreads of readings are defaults")
	}
}

// Heard is what a round heard of some vehicles: sums, and of each part set what
// it says of its wear rate. It goes from one process to another by
// MarshalBinary.
type Heard struct {
	vehicles int
	usage    usageHeard // of the first round only
	rates    *rateFit   // of the others
	noise    *noiseFit
}

// merge adds what was heard of the vehicles that come next.
func (h *Heard) merge(next *Heard) {
	h.vehicles += next.vehicles
	h.usage.merge(next.usage)
	h.rates.merge(next.rates)
	for _, life := range next.noise.lives() {
		h.noise.add(life)
	}
}

// merge adds the messages of the vehicles that come next, as add would have.
func (r *rateFit) merge(next *rateFit) {
	to := make([]int, len(next.levels))
	for c := range next.levels {
		l := &next.levels[c]
		to[c] = r.column(l.family, l.key, l.lives)
		r.levels[to[c]].mean, r.levels[to[c]].vari = l.mean, l.vari
	}
	first := len(r.lives)
	for _, v := range next.vehicles {
		v.first += first
		v.last += first
		for f := dutyFamily; f < families; f++ {
			v.common[f] = to[v.common[f]]
		}
		r.vehicles = append(r.vehicles, v)
	}
	for _, l := range next.lives {
		l.group = to[l.group]
		r.lives = append(r.lives, l)
	}
}

// lives returns what is kept of the lives heard, each once, in order of key.
func (n *noiseFit) lives() []*noiseLife {
	n.all.thin()
	lives := slices.Clone(n.all.lives)
	for _, s := range n.depots {
		s.thin()
		lives = append(lives, s.lives...)
	}
	slices.SortFunc(lives, compareLives)
	return slices.Compact(lives)
}
