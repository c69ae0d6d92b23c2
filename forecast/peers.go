package forecast

import "math"

const (
	// messageVar is the variance of theta under which a life is fitted to be
	// told to others, wide enough to leave the word to its readings; what it
	// adds is taken out again.
	messageVar = 0.25
	// messageSilent: a life whose posterior is no narrower than this share of
	// messageVar says nothing.
	messageSilent = 0.93
	// messageClip bounds how far a life may lie from its group, in theta.
	messageClip = 2.0
)

// Message is what one part set's readings say of its theta by themselves: a
// normal likelihood. Training works on messages, and so does the forecast of
// the vehicle's other sets.
type Message struct {
	Axle int // index in the vehicle
	Part Part
	Mean float64
	Var  float64
	prior
}

// message fits a set by itself, without the rows set aside before.
func (f *fitter) message(s *set, p prior) (Message, bool) {
	if len(s.rows) == len(s.trips) {
		return Message{}, false
	}
	a := s.axleLife
	a.mean, a.vari = p.mean, messageVar
	f.open(&a)
	s.aside = f.settle(f.rowsOf(s))
	f.dateChange(s)
	v := f.grid.sd * f.grid.sd
	if v > messageSilent*messageVar {
		return Message{}, false
	}
	vl := 1 / (1/v - 1/messageVar)
	return Message{
		Axle: s.axle, Part: s.part, prior: p,
		Mean: vl * (f.grid.mean/v - p.mean/messageVar), Var: vl,
	}, true
}

// rowsOf returns the rows of s that are readings, not a sensor's signal.
func (f *fitter) rowsOf(s *set) []int {
	f.some = f.some[:0]
	t := 0
	for i := range s.rows {
		if t < len(s.trips) && s.trips[t] == i {
			t++
			continue
		}
		f.some = append(f.some, i)
	}
	return f.some
}

// shared returns the variance of theta that two sets of a vehicle have in
// common.
func (r *Rates) shared(p prior, sameAxle bool) float64 {
	v := r.Vehicle*r.Vehicle + p.fleet
	if sameAxle {
		v += r.Axle*r.Axle + p.group
	}
	return v
}

// given returns mean and variance of theta of a set, given what the vehicle's
// other sets say:
//
//	m = mu + c' S^-1 (m_l - mu_l),  v = v0 - c' S^-1 c,
//
// S the covariance of the messages and c theirs with the set.
func (r *Rates) given(p prior, axle int, part Part, others []Message) (mean, vari float64) {
	n := len(others)
	if n == 0 {
		return p.mean, p.total
	}
	s := make([]float64, n*n+2*n)
	c, d := s[n*n:n*n+n], s[n*n+n:]
	for i, m := range others {
		same := m.Axle == axle && m.Part == part
		c[i] = r.shared(p, same)
		d[i] = max(-messageClip, min(messageClip, m.Mean-m.prior.mean))
		for k, o := range others[:i+1] {
			s[i*n+k] = r.shared(m.prior, m.Axle == o.Axle && m.Part == o.Part)
		}
		s[i*n+i] += r.Set*r.Set + m.Var
	}
	if _, ok := cholFactor(s[:n*n], n); !ok {
		return p.mean, p.total
	}
	forward(s, n, c)
	forward(s, n, d)
	return p.mean + dot(c, d), max(p.total-dot(c, c), r.Set*r.Set/4)
}

// rate is the wear rate of a theta in mm per 10,000 km.
func rate(theta float64) float64 { return 10 * math.Exp(theta) }
