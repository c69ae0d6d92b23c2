package plan

import (
	"context"
	"math"
)

// Options change how Solve works, not what comes out.
type Options struct {
	// Rounds of the search; 0 = as many as the size of the problem asks for.
	Rounds int
}

// What Solve spends. Judgement, found on invented problems of 1,000 jobs: more
// of either wins a few thousandths.
const (
	ascentSteps = 100  // of the relaxed capacities at a time
	ascentTimes = 10   // at most
	ascentEnds  = 1e-4 // relative rise below which they stop
	annealHot   = .5   // temperatures, in the unit of the rates
	annealCold  = .01
	annealEach  = 400 // rounds for each vehicle
	annealLeast = 100_000
	repackEach  = 4 // rounds for each vehicle, of each size
	repackNodes = 5000
	coverSteps  = 40
	coverTimes  = 3
	closeEnough = .015 // gap above which the dearer bound is worked out

	// exactVehicles and exactNodes bound the problems that are gone through
	// whole: more vehicles than that are not got to the end.
	exactVehicles = 12
	exactNodes    = 2_000_000
)

// Solve proposes what to book. It is a Lagrangian relaxation of the capacities,
// whose prices guide a first plan, a search that takes related vehicles off and
// puts them back (ruin and recreate, then all choices of a few at a time), and a
// second relaxation, of each job being done once, that bounds tight problems
// better. Small problems are gone through whole and come out at their best. ctx
// ends it early with its error.
func Solve(ctx context.Context, p *Problem, opt Options) (*Plan, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	in := compile(p)
	r := newRoom(in)
	a := newAscent(r, make([]float64, 2*len(in.cap)), 0)
	for range ascentTimes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		before := a.bound
		a.rise(ascentSteps, math.Inf(1))
		if a.bound-before <= ascentEnds*math.Abs(a.bound) {
			break
		}
	}
	r.set(a.x)
	bound := a.bound

	b := in.guided(&r.prices)
	s := newSearch(b, &r.prices)
	rounds := opt.Rounds
	if rounds == 0 {
		rounds = max(annealLeast, annealEach*len(s.live))
	}
	for _, part := range []func(){
		func() { s.anneal(max(1, rounds), annealHot, annealCold) },
		func() { s.repack(repackEach*len(s.live), 6, repackNodes/5) },
		func() { s.repack(repackEach*len(s.live), mostOff+1, repackNodes) },
	} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		part()
	}
	if len(s.live) <= exactVehicles && b.whole(s.live) {
		return in.result(b, b.total()), nil
	}
	if x := b.total(); x-bound > closeEnough*x {
		c := newCover(in)
		k := newAscent(c, c.start(&r.prices), math.Inf(-1))
		for range coverTimes {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			bound = max(bound, k.bound)
			k.rise(coverSteps, x)
		}
		bound = max(bound, k.bound)
	}
	return in.result(b, min(bound, b.total())), nil
}

// guided makes a first plan: each vehicle where the priced relaxation has it, as
// far as it fits.
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

// whole goes through all choices of the vehicles and says whether it got to the
// end, so that what is on the board is the best there is.
func (b *board) whole(live []int) bool {
	if len(live) == 0 {
		return true
	}
	b.exact.repack(b, live, make([][]pick, len(live)), exactNodes)
	return !b.exact.cut
}
