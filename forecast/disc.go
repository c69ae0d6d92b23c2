package forecast

import "math"

// Rotors and drums wear with what rubs on them: the log-rate of a rotor is the
// pads' less about ln 10. A guess: no published ratio was found.
const (
	discRatio   = -2.302585092994046 // ln 0.1
	discRatioSD = 0.5
)

// rubs is the part that wears against p, or "".
func (p Part) rubs() Part {
	switch p {
	case Rotor:
		return Pad
	case Drum:
		return Lining
	}
	return ""
}

// discPrior is the prior of a rotor's or drum's theta, given what is known of
// the part that wears against it on the same axle.
func (r *Rates) discPrior(mean, vari float64) prior {
	p := prior{mean: mean + discRatio, group: discRatioSD * discRatioSD, fleet: vari}
	p.total = p.group + p.fleet + r.Set*r.Set
	return p
}

// givenDisc is given for a rotor or drum: its axle's earlier ones tell how it
// wears; nothing else does.
func (r *Rates) givenDisc(p prior, axle int, part Part, all []Message) (mean, vari float64) {
	up, w := p.mean/(p.group+p.fleet), 1/(p.group+p.fleet)
	for _, m := range all {
		if m.Axle == axle && m.Part == part {
			v := m.Var + r.Set*r.Set
			up += m.Mean / v
			w += 1 / v
		}
	}
	return up / w, 1/w + r.Set*r.Set
}

// leftOn takes into account that a rotor or drum was left on at an inspection
// of the axle, at distance s, though nobody measured it then: it cannot have
// been past its limit to the eye. One last measured at or below its limit is
// left as it is.
func (o *outlook) leftOn(s float64) {
	for _, r := range o.rows {
		if o.visits[r.visit] >= s || r.y <= o.places[r.place].limit {
			return
		}
	}
	o.joint = o.joint.beyond(s)
	for j := range o.each {
		o.each[j] = o.each[j].beyond(s)
	}
}

// beyond is the distribution of X given that X > x. Where that is all but
// impossible the condition is doubted instead.
func (d Dist) beyond(x float64) Dist {
	const doubtful = 0.99
	f := d.CDF(x)
	if !(f > 0) || f > doubtful {
		return d
	}
	return DistOf(func(p float64) float64 { return math.Max(x, d.Quantile(f+p*(1-f))) })
}
