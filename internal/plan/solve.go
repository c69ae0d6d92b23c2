package plan

import (
	"context"
	"math"
	"runtime"
	"sync"
)

// Options change how Solve works, not what comes out.
type Options struct {
	Workers int // goroutines; 0 = one per processor
}

// How hard Solve works is counted in steps, never in time, so that the same
// problem gives the same plan. Judgement, tried on invented problems.
const (
	roomSteps  = 800 // of the bound by prices of capacity
	coverSteps = 30  // of the bound by knapsacks, every coverEvery rounds
	coverEvery = 4
	wide       = .03 // gap above which it takes wideSteps times as many
	wideSteps  = 4
	coverStep  = .02 // its first step: it starts near its end

	annealSteps = 100 // a vehicle
	packSteps   = 2   // a vehicle and round
	packSize    = 6   // vehicles packed anew together
	packNodes   = 300 // choices looked at for that
	roamSteps   = 10  // a vehicle and round
	leastSteps  = 100 // where there are few vehicles
	rounds      = 60
	idleRounds  = 15 // without a better plan end a start

	// enough is the gap at which the search ends: what is left is less than
	// the forecasts can tell apart.
	enough = .005

	// Temperatures against the mean cost of a vehicle.
	hot, cold, roaming = .4, .04, .08
	hotter             = 4 // times more, at every other start

	// Up to fewVehicles the best plan of all is looked for, with a proof when
	// firstNodes choices suffice. If not, the search starts fewStarts times and
	// looks further, and then it is tried again with allNodes.
	fewVehicles = 60
	fewStarts   = 4
	fewSteps    = 20 // a round
	fewSize     = 9
	fewNodes    = 3000
	firstNodes  = 50_000
	allNodes    = 300_000
)

// Solve returns the best plan it finds for p and a bound on how good any can
// be; small problems are solved to the end. The error is an invalid problem,
// which says where, or that of ctx.
func Solve(ctx context.Context, p *Problem, opt Options) (*Plan, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	in := compile(p)
	parts := in.parts()
	boards, bounds := make([]*board, len(parts)), make([]float64, len(parts))
	var wg sync.WaitGroup
	next := make(chan int)
	for range opt.workers(len(parts)) {
		wg.Go(func() {
			for i := range next {
				part := in
				if len(parts) > 1 {
					part = compile(parts[i])
				}
				boards[i], bounds[i] = part.solve(ctx)
			}
		})
	}
	for i := range parts {
		next <- i
	}
	close(next)
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	b := newBoard(in)
	bound := 0.
	at := make(map[int64]int, len(in.veh))
	for v := range in.veh {
		at[in.veh[v].src.ID] = v
	}
	for i, part := range boards {
		bound += bounds[i]
		for v, picks := range part.picks {
			// A part lists its options in the order of the whole.
			b.put(at[part.in.veh[v].src.ID], picks)
		}
	}
	return in.result(b, min(bound, b.total())), nil
}

// solve returns a plan and a lower bound of the cost of any.
func (in *instance) solve(ctx context.Context) (*board, float64) {
	live := 0
	for v := range in.veh {
		if len(in.veh[v].jobs) > 0 {
			live++
		}
	}
	if live == 0 {
		return newBoard(in), 0
	}
	room := newRoom(in)
	up := newAscent(room, make([]float64, 2*len(in.cap)), 0)
	up.rise(roomSteps, math.Inf(1))
	room.set(up.x)
	h := hunt{ctx: ctx, room: room, live: live, bound: up.bound}
	h.search = newSearch(in.guided(&room.prices), &room.prices)
	h.best, h.keep = h.b.total(), h.b.save(nil)
	h.pairs = newTrader(h.b)
	if h.done() {
		return h.b, h.best
	}
	if h.few() {
		if b, proven := h.b.finish(h.search.live, &room.prices, firstNodes); proven {
			return b, b.total()
		}
	}
	h.unit = max(h.best/1000, math.Abs(h.bound)) / float64(live)
	c := newCover(in)
	h.knap = newAscent(c, c.start(&room.prices), math.Inf(-1))
	h.knap.step = coverStep
	starts := 1
	if h.few() {
		starts = fewStarts
	}
	for k := range starts {
		h.start(hot * (1 + hotter*float64(k%2)))
	}
	h.b.restore(h.keep)
	b, proven := h.b, false
	if h.few() && !h.done() {
		b, proven = b.finish(h.search.live, &room.prices, allNodes)
	}
	if proven {
		return b, b.total()
	}
	return b, min(b.total(), h.bound)
}

// hunt is the search for a good plan, with what is known of the best.
type hunt struct {
	*search
	ctx   context.Context
	room  *room
	knap  *ascent
	live  int
	bound float64
	best  float64
	keep  [][]pick // the plan that costs best
	unit  float64  // of temperature
	pairs *trader
}

func (h *hunt) few() bool { return h.live <= fewVehicles }

// done says whether there is nothing left worth looking for.
func (h *hunt) done() bool {
	left := h.best - h.bound
	return left < slight || !h.few() && left <= enough*h.best || h.ctx.Err() != nil
}

// start anneals what is on the board and improves it round by round: trade
// between slots, pack anew, keep what is better, shake.
func (h *hunt) start(hot float64) {
	h.anneal(max(leastSteps, annealSteps*h.live), hot*h.unit, cold*h.unit)
	now, here := h.b.total(), h.b.save(nil)
	for k, idle := 0, 0; k < rounds && idle < idleRounds; k, idle = k+1, idle+1 {
		if k%coverEvery == 0 {
			n := coverSteps
			if h.best-h.bound > wide*h.best {
				n *= wideSteps
			}
			h.knap.rise(n, min(h.best, now))
			h.bound = max(h.bound, h.knap.bound)
		}
		h.rank(&h.room.prices)
		h.pairs.settle(h.rnd.intn(len(h.b.in.cap)), h.live)
		h.repack(max(leastSteps, packSteps*h.live), packSize, packNodes)
		if h.few() {
			h.repack(fewSteps, fewSize, fewNodes)
		}
		h.pairs.settle(h.rnd.intn(len(h.b.in.cap)), h.live)
		if x := h.b.total(); x < now-slight {
			now, here, idle = x, h.b.save(here), 0
		} else {
			h.b.restore(here)
		}
		if now < h.best-slight {
			h.best, h.keep = now, h.b.save(h.keep)
		}
		if h.done() {
			return
		}
		for range roamSteps * h.live {
			h.ruin(roaming * h.unit)
		}
	}
}

// finish looks for the best plan of all, of which b may be one. It returns
// false where so many choices did not suffice to be sure.
func (b *board) finish(live []int, at *prices, nodes int) (*board, bool) {
	best := newBoard(b.in)
	proven := best.exact.all(best, live, b.total(), at, nodes)
	if !best.exact.found {
		best = b
	}
	return best, proven
}

// guided returns the plan that prices p lead to.
func (in *instance) guided(p *prices) *board {
	b := newBoard(in)
	want := make([][]pick, len(in.veh))
	for v := range in.veh {
		if len(in.veh[v].jobs) > 0 {
			_, picks := b.pick.priced(&in.veh[v], p)
			want[v] = append([]pick(nil), picks...)
		}
	}
	b.guide = p
	b.repair(want)
	b.guide = nil
	b.sweep()
	return b
}

// workers is how many goroutines n pieces of work are spread over.
func (o Options) workers(n int) int {
	w := o.Workers
	if w <= 0 {
		w = runtime.GOMAXPROCS(0)
	}
	return max(1, min(w, n))
}
