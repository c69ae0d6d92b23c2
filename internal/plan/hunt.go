package plan

import (
	"context"
	"fmt"
	"math"
	"runtime/debug"
	"sync"
)

// hunt is the search for a good plan of one part of a problem, with what is
// known of the best there is. It goes step by step and has a plan after each.
type hunt struct {
	*search
	room  *room
	knap  *ascent
	pairs *trader
	live  int     // vehicles with something to plan
	bound float64 // of the cost of any plan
	best  float64
	keep  [][]pick // the plan that costs best
	unit  float64  // of temperature

	next   func() // what to do now; nil = nothing is left
	taken  bool   // a worker is at it
	starts int
	// Of the start that is being improved:
	round, idle int
	now         float64 // what here costs
	since       float64 // what it cost when idle was 0
	here        [][]pick
}

// hunts splits the problem and finds a first plan and bound of each part, on as
// many goroutines as workers says, no good ones when it is over. It leaves those nil
// that ctx cut off: look at ctx before using any.
func (in *instance) hunts(ctx context.Context, over func() bool, workers func(n int) int) []*hunt {
	parts := in.parts()
	hunts := make([]*hunt, len(parts))
	next := make(chan int)
	var wg sync.WaitGroup
	var gone gone
	one := func(i int) {
		defer gone.catch()
		part := in
		if len(parts) > 1 {
			part = compile(parts[i])
		}
		hunts[i] = newHunt(over, part)
	}
	for range workers(len(parts)) {
		wg.Go(func() {
			for i := range next {
				if ctx.Err() == nil {
					one(i)
				}
			}
		})
	}
	for i := range parts {
		next <- i
	}
	close(next)
	wg.Wait()
	gone.raise()
	return hunts
}

// gone is what one of several goroutines panicked with first: it is raised where
// they are waited for, for nobody stands above them.
type gone struct {
	once sync.Once
	why  string // and where
}

func (g *gone) catch() {
	if p := recover(); p != nil {
		g.once.Do(func() { g.why = fmt.Sprintf("%v\n%s", p, debug.Stack()) })
	}
}

func (g *gone) raise() {
	if g.why != "" {
		panic(g.why)
	}
}

// newHunt finds the bound by prices of capacity, and the plan they lead to.
func newHunt(over func() bool, in *instance) *hunt {
	h := &hunt{}
	for v := range in.veh {
		if len(in.veh[v].jobs) > 0 {
			h.live++
		}
	}
	if h.live == 0 {
		h.search = &search{b: newBoard(in)}
		return h
	}
	h.room = newRoom(in)
	up := newAscent(h.room, make([]float64, 2*len(in.cap)), 0)
	up.rise(over, roomSteps, math.Inf(1))
	h.room.set(up.x)
	h.bound = up.bound
	h.search = newSearch(over, in.guided(&h.room.prices, over))
	h.best, h.keep = h.b.total(), h.b.save(nil)
	h.next = h.prepare
	if h.done() {
		h.next = nil
	}
	return h
}

func (h *hunt) few() bool { return h.live <= fewVehicles }

// done says whether there is nothing left worth looking for.
func (h *hunt) done() bool {
	left := h.best - h.bound
	return left < slight || !h.few() && left <= enough*h.best
}

// result returns the best plan found and a lower bound of the cost of any.
func (h *hunt) result() (*board, float64) {
	if h.live > 0 {
		h.b.restore(h.keep)
	}
	return h.b, min(h.best, h.bound)
}

// prepare goes through a small problem whole, and makes ready for the search
// where that does not suffice.
func (h *hunt) prepare() {
	h.next = h.start
	if h.few() && h.prove(firstNodes) {
		return
	}
	h.ready(&h.room.prices)
	h.unit = max(h.best/1000, math.Abs(h.bound)) / float64(h.live)
	h.pairs = newTrader(h.b)
	c := newCover(h.b.in)
	h.knap = newAscent(c, c.start(&h.room.prices), math.Inf(-1))
	h.knap.step = coverStep
}

// start anneals what is on the board.
func (h *hunt) start() {
	hot := hot * (1 + hotter*float64(h.starts%2))
	h.starts++
	h.anneal(max(leastSteps, annealSteps*h.live), hot*h.unit, cold*h.unit)
	h.now, h.here = h.b.total(), h.b.save(h.here)
	h.better()
	h.since, h.round, h.idle, h.next = h.now, 0, 0, h.improve
}

// improve shakes what the start has come to, trades between slots, packs anew,
// and keeps what is better.
func (h *hunt) improve() {
	if h.round > 0 {
		h.times(roamSteps*h.live, func() { h.ruin(roaming * h.unit) })
	}
	if h.round%coverEvery == 0 {
		n := coverSteps
		if h.best-h.bound > wide*h.best {
			n *= wideSteps
		}
		h.knap.rise(h.over, n, min(h.best, h.now))
		h.bound = max(h.bound, h.knap.bound)
	}
	h.rank(&h.room.prices)
	h.pairs.settle(h.rnd.intn(len(h.b.in.cap)), h.live, h.over)
	h.repack(max(leastSteps, packSteps*h.live), packSize, packNodes)
	h.pairs.settle(h.rnd.intn(len(h.b.in.cap)), h.live, h.over)
	h.idle++
	if x := h.b.total(); x < h.now-slight {
		if h.few() || h.since-x > little*x {
			h.since, h.idle = x, 0
		}
		h.now, h.here = x, h.b.save(h.here)
	} else {
		h.b.restore(h.here)
	}
	h.better()
	switch h.round++; {
	case h.done():
		h.next = nil
	case h.round < rounds && h.idle < h.patience():
	case h.few() && h.starts < fewStarts:
		h.next = h.start
	case h.few():
		h.next = h.last
	default:
		h.next = nil
	}
}

// patience is how many rounds may win nothing.
func (h *hunt) patience() int {
	if h.few() {
		return idleFew
	}
	return idleRounds
}

// better keeps the plan of this start when it is the best.
func (h *hunt) better() {
	if h.now < h.best-slight {
		h.best, h.keep = h.now, copyPicks(h.keep, h.here)
	}
}

// last looks for the best plan of all once more, from a good one.
func (h *hunt) last() {
	h.next = nil
	h.prove(allNodes)
}

// prove looks for the best plan of all. It returns false where so many choices
// did not suffice to be sure.
func (h *hunt) prove(nodes int) bool {
	b := newBoard(h.b.in)
	proven := b.exact.all(b, h.search.live, h.best, &h.room.prices, nodes)
	if b.exact.found {
		h.best, h.keep = b.total(), b.save(h.keep)
	}
	if proven {
		h.bound, h.next = h.best, nil
	}
	return proven
}

// hounds go on with the hunts of a problem until all have ended or no more time
// is to be spent. Each step is on that hunt which may still win most.
type hounds struct {
	hunts []*hunt
	over  func() bool
	mu    sync.Mutex
}

// run returns whether there was not time enough.
func (hs *hounds) run(workers int) (cut bool) {
	var wg sync.WaitGroup
	var gone gone
	for range workers {
		wg.Go(func() {
			defer gone.catch()
			// Without a hunt to take there are no more of them than other workers.
			for h := hs.take(nil); h != nil; h = hs.take(h) {
				h.next()
			}
		})
	}
	wg.Wait()
	gone.raise()
	for _, h := range hs.hunts {
		cut = cut || h.next != nil
	}
	return cut
}

// take gives had back and returns the next hunt to go on with; nil = none.
func (hs *hounds) take(had *hunt) (h *hunt) {
	hs.mu.Lock()
	defer hs.mu.Unlock()
	if had != nil {
		had.taken = false
	}
	if hs.over() {
		return nil
	}
	for _, x := range hs.hunts {
		if !x.taken && x.next != nil && (h == nil || x.best-x.bound > h.best-h.bound) {
			h = x
		}
	}
	if h != nil {
		h.taken = true
	}
	return h
}
