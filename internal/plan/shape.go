package plan

// allSubsets is the number of jobs up to which a visit may take any of a
// vehicle's jobs. With more, it takes some that follow each other by book-by
// date: the ways to share 7 jobs out are 877, by runs 64.
const allSubsets = 6

// shape lists how n jobs can be shared out over visits: groups, and in which
// states of what is covered already each may come next. The next group always
// holds the first job not covered, so that each partition is found once.
type shape struct {
	groups []uint32
	states []state // by number of the covered set; 0 = nothing, the last = all
}

// state is a set of jobs covered, with the groups that may come next.
type state struct {
	next []step
}

// step covers a group and leads to a state.
type step struct {
	group, state int
}

func (in *instance) shape(n int) *shape {
	s := in.shapes[n]
	if s == nil {
		if s = subsets(n); n > allSubsets {
			s = runs(n)
		}
		in.shapes[n] = s
	}
	return s
}

// subsets lets any jobs go together.
func subsets(n int) *shape {
	n = min(n, allSubsets)
	s := &shape{states: make([]state, 1<<n)}
	for m := 1; m < 1<<n; m++ {
		s.groups = append(s.groups, uint32(m))
	}
	for covered := range len(s.states) - 1 {
		low := ^covered & (covered + 1)
		for m := 1; m < 1<<n; m++ {
			if m&covered == 0 && m&low != 0 {
				s.states[covered].next = append(s.states[covered].next, step{m - 1, covered | m})
			}
		}
	}
	return s
}

// runs lets jobs go together that follow each other.
func runs(n int) *shape {
	s := &shape{states: make([]state, n+1)}
	for from := range n {
		for to := from + 1; to <= n; to++ {
			s.states[from].next = append(s.states[from].next, step{len(s.groups), to})
			s.groups = append(s.groups, (uint32(1)<<to-1)&^(uint32(1)<<from-1))
		}
	}
	return s
}
