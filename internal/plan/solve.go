package plan

import (
	"context"
	"runtime"
)

// Options change how Solve works. What comes out is the same, unless Enough ends
// the search.
type Options struct {
	Workers int // goroutines; 0 = one per processor
	// Enough, when it is closed, ends the search: the best plan found so far
	// comes out, with what is known of its gap. How far it got depends on the
	// machine. nil = the search ends by itself.
	Enough <-chan struct{}
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
	idleRounds  = 10   // that win less than little end a start
	little      = 1e-4 // of the cost
	idleFew     = 15   // without a better plan end one where there are few vehicles

	// enough is the gap at which the search ends: what is left is less than
	// the forecasts can tell apart.
	enough = .005

	// Temperatures against the mean cost of a vehicle.
	hot, cold, roaming = .4, .04, .08
	hotter             = 4 // times more, at every other start

	// Up to fewVehicles the best plan of all is looked for, with a proof when
	// firstNodes choices suffice. If not, the search starts fewStarts times, and
	// then it is tried again with allNodes.
	fewVehicles = 60
	fewStarts   = 4
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
	over := func() bool {
		select {
		case <-ctx.Done():
		case <-opt.Enough:
		default:
			return false
		}
		return true
	}
	hunts := in.hunts(ctx, over, opt.workers)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	pack := hounds{hunts: hunts, over: over}
	cut := pack.run(opt.workers(len(hunts)))
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	b := newBoard(in)
	bound := 0.
	at := make(map[int64]int, len(in.veh))
	for v := range in.veh {
		at[in.veh[v].src.ID] = v
	}
	for _, h := range hunts {
		part, least := h.result()
		bound += least
		for v, picks := range part.picks {
			// A part lists its options in the order of the whole.
			b.put(at[part.in.veh[v].src.ID], picks)
		}
	}
	pl := in.result(b, min(bound, b.total()))
	pl.Cut = cut
	return pl, nil
}

// guided returns the plan that prices p lead to. What would make it better is left
// when it is over.
func (in *instance) guided(p *prices, over func() bool) *board {
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
	b.sweep(over)
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
