package plan

import (
	"cmp"
	"math"
	"slices"
)

// chance is a small generator of numbers (splitmix64). The search draws from it
// what to take off the board next; it starts from the same number always.
type chance uint64

func (c *chance) next() uint64 {
	*c += 0x9e3779b97f4a7c15
	z := uint64(*c)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

func (c *chance) intn(n int) int { return int(c.next() >> 11 % uint64(n)) }
func (c *chance) unit() float64  { return float64(c.next()>>11) / (1 << 53) }

// search improves a board. Its numbers are judgement, found on invented
// problems of some hundred vehicles.
type search struct {
	over func() bool // no more time is to be spent; the board is whole then
	b    *board
	rnd  chance
	live []int     // vehicles with jobs
	near [][]int32 // by vehicle, the slots that suit it best at the prices, best first

	set   []int    // vehicles off the board
	keep  [][]pick // of set, before
	key   []float64
	turns []int
}

const (
	nearSlots = 20 // slots looked at for a vehicle
	mostOff   = 7  // vehicles taken off at once, at most
	looksUp   = 64 // steps, of some microseconds each, after which it looks whether it is over
)

func newSearch(over func() bool, b *board) *search {
	s := &search{over: over, b: b, keep: make([][]pick, max(mostOff, packSize))}
	for v := range b.in.veh {
		if len(b.in.veh[v].jobs) > 0 {
			s.live = append(s.live, v)
		}
	}
	return s
}

// ready finds which slots suit which vehicle at prices p.
func (s *search) ready(p *prices) {
	s.near = make([][]int32, len(s.b.in.veh))
	for _, v := range s.live {
		s.near[v] = s.b.suiting(v, p)
	}
}

// times does a step n times, or fewer when it is over.
func (s *search) times(n int, step func()) {
	for i := range n {
		if i%looksUp == 0 && s.over() {
			return
		}
		step()
	}
}

// suiting lists the slots that cost v least at prices p.
func (b *board) suiting(v int, p *prices) []int32 {
	type place struct {
		slot int32
		x    float64
	}
	var all []place
	b.pick.priced(&b.in.veh[v], p)
	for g, opts := range b.in.veh[v].options {
		for k := range opts[:len(opts)-1] {
			all = append(all, place{opts[k].slot, p.of(&opts[k]) - b.pick.best[g]})
		}
	}
	slices.SortFunc(all, func(a, b place) int {
		if a.x != b.x {
			return cmp.Compare(a.x, b.x)
		}
		return cmp.Compare(a.slot, b.slot)
	})
	var near []int32
	for _, a := range all {
		if len(near) == nearSlots {
			break
		}
		if !slices.Contains(near, a.slot) {
			near = append(near, a.slot)
		}
	}
	return near
}

// rank puts those vehicles first that cost most above what prices p say.
func (s *search) rank(p *prices) {
	over := make([]float64, len(s.b.in.veh))
	for _, v := range s.live {
		least, _ := s.b.pick.priced(&s.b.in.veh[v], p)
		over[v] = -least
		for _, q := range s.b.picks[v] {
			over[v] += p.of(s.b.option(v, q))
		}
	}
	slices.SortFunc(s.live, func(a, b int) int {
		if over[a] != over[b] {
			return cmp.Compare(over[b], over[a])
		}
		return cmp.Compare(a, b)
	})
}

// related fills s.set with up to n vehicles that compete for slots, one from
// the front of s.live more likely than not.
func (s *search) related(n int) {
	r := s.rnd.unit()
	s.set = append(s.set[:0], s.live[int(r*r*float64(len(s.live)))])
	for tries := 0; len(s.set) < n && tries < 3*n; tries++ {
		near := s.near[s.set[s.rnd.intn(len(s.set))]]
		if len(near) == 0 {
			continue
		}
		r := s.rnd.unit()
		here := s.b.here[near[int(r*r*float64(len(near)))]]
		if len(here) == 0 {
			continue
		}
		if u := int(here[s.rnd.intn(len(here))]); !slices.Contains(s.set, u) {
			s.set = append(s.set, u)
		}
	}
}

// ruin takes a few related vehicles off the board and puts them back one after
// the other, each where it is cheapest then (Schrimpf et al. 2000, from
// memory). A dearer plan is kept with a chance that the temperature gives. It
// returns what the plan costs more.
func (s *search) ruin(temp float64) float64 {
	b := s.b
	s.related(2 + s.rnd.intn(mostOff-1))
	change := 0.
	for i, v := range s.set {
		var x float64
		x, s.keep[i] = b.lift(v, s.keep[i])
		change -= x
	}
	for _, i := range s.order() {
		x, picks := b.cheapest(s.set[i])
		b.put(s.set[i], picks)
		change += x
	}
	if change <= 0 || s.rnd.unit() < math.Exp(-change/temp) {
		return change
	}
	for _, v := range s.set {
		b.take(v)
	}
	for i, v := range s.set {
		b.put(v, s.keep[i])
	}
	return 0
}

// order returns in which order to put s.set back: by chance, longest first,
// dearest to leave first, or the one first that has most to lose; chance says
// which.
func (s *search) order() []int {
	s.key, s.turns = s.key[:0], s.turns[:0]
	rule := s.rnd.intn(4)
	for i, v := range s.set {
		var key float64
		switch rule {
		case 0:
			key = s.rnd.unit()
		case 1:
			for _, p := range s.keep[i] {
				key -= float64(s.b.option(v, p).min)
			}
		case 2:
			key = -s.b.in.idle(v)
		case 3:
			x, _ := s.b.cheapest(v)
			key = x - s.b.in.idle(v)
		}
		s.key, s.turns = append(s.key, key), append(s.turns, i)
	}
	slices.SortStableFunc(s.turns, func(a, b int) int { return cmp.Compare(s.key[a], s.key[b]) })
	return s.turns
}

// anneal ruins n times while the temperature falls from hot to cold, and leaves
// the best plan met on the board.
func (s *search) anneal(n int, hot, cold float64) {
	now, best := 0., 0. // against the start
	keep := s.b.save(nil)
	temp, cool := hot, math.Pow(cold/hot, 1/float64(n))
	s.times(n, func() {
		temp *= cool
		if now += s.ruin(temp); now < best-slight {
			best = now
			keep = s.b.save(keep)
		}
	})
	s.b.restore(keep)
}

// repack takes n times some related vehicles off, to put them back the best way
// there is.
func (s *search) repack(n, size, nodes int) {
	s.times(n, func() {
		s.related(size)
		s.b.exact.repack(s.b, s.set, s.keep, nodes)
	})
}
