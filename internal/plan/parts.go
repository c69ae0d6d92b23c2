package plan

// parts splits the problem where nothing joins its shops: each part can be
// solved apart, and has the options of the whole. Vehicles that have to do with
// no shop make up a part of their own.
func (in *instance) parts() []*Problem {
	root := make([]int, len(in.p.Shops))
	for i := range root {
		root[i] = i
	}
	find := func(i int) int {
		for root[i] != i {
			i = root[i]
		}
		return i
	}
	home := make([]int, len(in.p.Vehicles)) // a shop of each; -1 = none
	for i := range in.p.Vehicles {
		home[i] = -1
		for _, s := range in.shopsOf(&in.p.Vehicles[i]) {
			if home[i] < 0 {
				home[i] = s
			}
			a, b := find(home[i]), find(s)
			root[max(a, b)] = min(a, b)
		}
	}
	at := make(map[int]*Problem)
	var parts []*Problem
	part := func(key int) *Problem {
		if at[key] == nil {
			q := *in.p
			q.Shops, q.Vehicles = nil, nil
			at[key] = &q
			parts = append(parts, &q)
		}
		return at[key]
	}
	for i, s := range in.p.Shops {
		q := part(find(i))
		q.Shops = append(q.Shops, s)
	}
	for i, v := range in.p.Vehicles {
		key := home[i]
		if key >= 0 {
			key = find(key)
		}
		q := part(key)
		q.Vehicles = append(q.Vehicles, v)
	}
	return parts
}

// shopsOf are the shops where v may be done or takes room already.
func (in *instance) shopsOf(v *Vehicle) (at []int) {
	for _, w := range v.Shops {
		at = append(at, in.shopAt[w.Shop])
	}
	for k := range v.Jobs {
		if f := v.Jobs[k].Fixed; f != nil {
			if s, ok := in.shopAt[f.Shop]; ok {
				at = append(at, s)
			}
		}
	}
	return at
}
