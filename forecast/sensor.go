package forecast

import "math"

// hear takes a sensor's signals into account: a value at or below the one at
// which it trips. The forecast of that value from all other readings, cut off
// above the trip's, is matched by mean and variance with that of a reading
// (one step of expectation propagation), which then joins the others.
func (f *fitter) hear(s *set) {
	for _, t := range s.trips {
		e := f.predict([]int{t})
		m, v := e.mean[0], e.cov[0][0]
		sd := math.Sqrt(v)
		alpha := (s.rows[t].y - m) / sd
		below := phi(alpha)
		if below < tooUnlikely {
			// The readings rule it out: a cut wire, or readings that are wrong.
			// A plain reading of the trip's value leaves the choice to evidence.
			f.join(t, s.rows[t].y, 0)
			continue
		}
		lambda := math.Exp(-alpha*alpha/2) / math.Sqrt(2*math.Pi) / below
		cut := v * (1 - lambda*(lambda+alpha))
		if cut > 0.999*v {
			continue // known already
		}
		cut = max(cut, 1e-6*v)
		tau := 1 / (1/cut - 1/v)
		f.join(t, ((m-sd*lambda)/cut-m/v)*tau, tau)
	}
}

// tooUnlikely is the chance below which a tail's moments are not worth having.
const tooUnlikely = 1e-6

// join takes row t, as a reading of y with so much more variance, into use and
// fits again.
func (f *fitter) join(t int, y, more float64) {
	all := len(f.e0)
	r := &f.life.rows[t]
	f.e0[t] = y - f.life.births[f.life.places[r.place].born].mean
	f.fixed[t*all+t] += more
	f.rest = f.rest[:0]
	placed := false
	for _, u := range f.use {
		if u > t && !placed {
			f.rest, placed = append(f.rest, t), true
		}
		f.rest = append(f.rest, u)
	}
	if !placed {
		f.rest = append(f.rest, t)
	}
	f.take(f.rest)
	f.posterior()
}
