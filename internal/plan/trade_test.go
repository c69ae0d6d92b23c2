package plan

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A trade between two slots leaves the cheapest way to share out between them
// what was there, found here by trying every way, and the books in order.
func TestTrade(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := invented(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(4, 14).Draw(t, "jobs"), rapid.IntRange(2, 4).Draw(t, "days"),
			rapid.IntRange(1, 2).Draw(t, "shops"), rapid.Float64Range(.3, 1.5).Draw(t, "load"))
		in := compile(p)
		b := newBoard(in)
		for v := range in.veh { // anywhere
			for tries := 0; tries < 5 && len(b.picks[v]) == 0; tries++ {
				picks := anyhow(t, in, v)
				fits := b.pick.apart(&in.veh[v], picks)
				for k, q := range picks {
					fits = fits && b.fits(b.option(v, q)) &&
						!slices.ContainsFunc(picks[:k], func(x pick) bool { return b.option(v, x).slot == b.option(v, q).slot })
				}
				if fits {
					b.put(v, picks)
				}
			}
		}
		tr := newTrader(b)
		tr.left = math.MaxInt
		n := len(in.cap)
		s := [2]int32{int32(rapid.IntRange(0, n-1).Draw(t, "one")), 0}
		s[1] = (s[0] + int32(rapid.IntRange(1, n-1).Draw(t, "other"))) % int32(n)
		want := shareOut(b, s)
		had := b.total()
		moved := tr.trade(s)
		if got := b.total(); math.Abs(got-want) > 1e-6 {
			t.Fatalf("trade between %v: cost %.9f, want %.9f; it was %.9f", s, got, want, had)
		} else if moved != (got < had-slight) {
			t.Fatalf("trade said %v, and the cost went from %g to %g", moved, had, got)
		}
		// Taking everything off leaves nothing.
		for v := range in.veh {
			if !b.pick.apart(&in.veh[v], b.picks[v]) {
				t.Fatalf("vehicle %d in two places on a day", v)
			}
		}
		for i, c := range in.cap {
			if u := b.use[i]; u.minutes > c.normal+c.over || u.visits > c.visits {
				t.Fatalf("slot %d holds %+v of %+v", i, u, c)
			}
		}
		for v := range in.veh {
			b.take(v)
		}
		for i := range b.use {
			if b.use[i] != (load{}) || len(b.here[i]) > 0 {
				t.Fatalf("slot %d keeps %+v, %v", i, b.use[i], b.here[i])
			}
		}
	})
}

// anyhow draws a way to do a vehicle, whether there is room or not.
func anyhow(t *rapid.T, in *instance, v int) (picks []pick) {
	w := &in.veh[v]
	for at := 0; at < len(w.shape.states)-1; {
		next := w.shape.states[at].next
		st := next[rapid.IntRange(0, len(next)-1).Draw(t, "group")]
		picks = append(picks, pick{st.group, rapid.IntRange(0, len(w.options[st.group])-1).Draw(t, "option")})
		at = st.state
	}
	return picks
}

// shareOut returns the least total cost with each visit at either of two slots
// staying or going to the other, where its length and need of a bay are the
// same there; a vehicle that comes on both days stays.
func shareOut(b *board, s [2]int32) float64 {
	in := b.in
	type place struct{ v, pick int }
	var all []place
	for v := range in.veh {
		for k, p := range b.picks[v] {
			o := b.option(v, p)
			if o.slot != s[0] && o.slot != s[1] {
				continue
			}
			other := (s[0] + s[1] - o.slot) % int32(in.days)
			if !slices.ContainsFunc(b.picks[v], func(x pick) bool { y := b.option(v, x); return y != o && y.day == other }) {
				all = append(all, place{v, k})
			}
		}
	}
	best := math.Inf(1)
	var try func(k int)
	try = func(k int) {
		if k == len(all) {
			for _, i := range s {
				if u, c := b.use[i], in.cap[i]; u.minutes > c.normal+c.over || u.visits > c.visits {
					return
				}
			}
			best = min(best, b.total())
			return
		}
		try(k + 1)
		x := all[k]
		p := &b.picks[x.v][x.pick]
		was := p.option
		o := b.option(x.v, *p)
		for i := range in.veh[x.v].options[p.group] {
			q := &in.veh[x.v].options[p.group][i]
			if q.slot == s[0]+s[1]-o.slot && q.min == o.min && q.visit == o.visit {
				b.drop(o)
				b.add(q)
				p.option = i
				try(k + 1)
				p.option = was
				b.drop(q)
				b.add(o)
			}
		}
	}
	try(0)
	return best
}
