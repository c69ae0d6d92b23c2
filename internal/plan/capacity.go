package plan

// prices are what the capacities are worth.
type prices struct {
	minute []float64 // by slot
	visit  []float64 // by slot
}

// of is what o costs at p.
func (p *prices) of(o *option) float64 {
	if o.slot < 0 {
		return o.cost
	}
	return o.cost + float64(o.min)*p.minute[o.slot] + float64(o.visit)*p.visit[o.slot]
}

// room relaxes the capacities: with hours priced at lambda a minute and bays at
// mu a visit, each vehicle goes where it likes, and
//
//	L = Σ_v min [cost + Σ lambda·minutes + mu·visits]
//	  - Σ_slot [lambda·normal + max(0, lambda - overtime)·over + mu·visits]
//
// The last sum is the most that a slot's capacity can be worth, overtime being
// bought while it costs less than the price. A vehicle's least cost is found
// exactly, over all days and all ways to share its jobs out; that it may come
// only once a day is left out, which makes L no higher.
type room struct {
	in   *instance
	unit float64 // minutes of a typical visit: brings both prices to one scale
	prices
	pick chooser
}

func newRoom(in *instance) *room {
	n := len(in.cap)
	r := &room{in: in, prices: prices{make([]float64, n), make([]float64, n)}}
	sum, k := 0., 0.
	for i := range in.veh {
		for _, opts := range in.veh[i].options {
			sum += float64(opts[0].min)
			k++
		}
	}
	r.unit = max(1, sum/max(1, k))
	return r
}

// set reads multipliers: those of hours, for a typical visit, then of bays.
func (r *room) set(x []float64) {
	n := len(r.minute)
	for i := range r.minute {
		r.minute[i] = x[i] / r.unit
	}
	copy(r.visit, x[n:])
}

func (r *room) evaluate(x, g []float64) float64 {
	r.set(x)
	n := len(r.minute)
	bound := 0.
	for i, c := range r.in.cap {
		m := r.minute[i]
		bound -= m*float64(c.normal) + r.visit[i]*float64(c.visits)
		g[i], g[n+i] = -float64(c.normal), -float64(c.visits)
		if m > r.in.rate {
			bound -= (m - r.in.rate) * float64(c.over)
			g[i] -= float64(c.over)
		}
	}
	for i := range r.in.veh {
		v := &r.in.veh[i]
		if len(v.jobs) == 0 {
			continue
		}
		x, picks := r.pick.priced(v, &r.prices)
		bound += x
		for _, p := range picks {
			if o := &v.options[p.group][p.option]; o.slot >= 0 {
				g[o.slot] += float64(o.min)
				g[n+int(o.slot)] += float64(o.visit)
			}
		}
	}
	for i := range r.in.cap {
		g[i] /= r.unit
	}
	return bound
}
