package forecast

import (
	"fmt"
	"iter"
	"math"
)

// FleetRates are mean wear rates by class, duty, axle and part, for the
// baselines.
type FleetRates map[string]FleetRate

// FleetRate is the law of the rate at which the first position of an axle
// wears, from life to life.
type FleetRate struct {
	LogRate float64 // mean of the log of mm per km
	SD      float64
	Lives   int // 0 = assumed
}

const (
	minRateLives = 5  // lives that give a group a mean of its own
	minWornShare = .2 // of the usable lining, before a life tells a rate
	minRateSD    = .1 // no fleet wears more evenly
)

// assumedRate serves a part of which no life is known: a planning figure of
// 2 mm per 10,000 km, uncertain by a factor of three; from memory.
var assumedRate = FleetRate{LogRate: math.Log(2e-4), SD: .55}

// rateKeys names the groups of a part, the closest first: by kind of work as
// any workshop would set its intervals, by class, of all.
func rateKeys(v *Vehicle, axle int, part Part) [3]string {
	return [3]string{
		fmt.Sprintf("%s/%s/%d/%s", v.Class, v.Duty, axle, part),
		fmt.Sprintf("%s/%d/%s", v.Class, axle, part),
		string(part),
	}
}

func (r FleetRates) of(v *Vehicle, axle int, part Part) FleetRate {
	for _, key := range rateKeys(v, axle, part) {
		if g, ok := r[key]; ok {
			return g
		}
	}
	return assumedRate
}

// rateSums adds up log rates by key: number, sum, sum of squares.
type rateSums map[string]*[3]float64

func (s rateSums) add(key string, x float64) {
	t := s[key]
	if t == nil {
		t = new([3]float64)
		s[key] = t
	}
	t[0]++
	t[1] += x
	t[2] += x * x
}

// addVehicle adds the rate of the fastest position of each life, given the
// series of each axle.
func (s rateSums) addVehicle(v *Vehicle, lives [][]Series) {
	for i, series := range lives {
		type key struct {
			part  Part
			start Day
		}
		fastest := make(map[key]float64)
		for j := range series {
			sr := &series[j]
			if rate := sr.meanRate(); rate > 0 {
				k := key{sr.Pos.Part, sr.StartDay}
				fastest[k] = max(fastest[k], rate)
			}
		}
		for j := range series { // in order, so that sums do not depend on the map's
			k := key{series[j].Pos.Part, series[j].StartDay}
			rate, ok := fastest[k]
			if !ok {
				continue
			}
			delete(fastest, k)
			for _, key := range rateKeys(v, v.Axles[i].Number, k.part) {
				s.add(key, math.Log(rate))
			}
		}
	}
}

func (s rateSums) rates() FleetRates {
	out := make(FleetRates, len(s))
	for key, t := range s {
		if t[0] < minRateLives {
			continue
		}
		mean := t[1] / t[0]
		sd := math.Sqrt(max(0, (t[2]-t[1]*mean)/(t[0]-1)))
		out[key] = FleetRate{mean, max(sd, minRateSD), int(t[0])}
	}
	return out
}

// meanRate returns the wear in mm per km from the start of the series to its
// last reading; 0 where too little is worn to tell.
func (s *Series) meanRate() float64 {
	n := len(s.Readings)
	if n == 0 {
		return 0
	}
	last := s.Readings[n-1]
	km, worn := last.Km-s.StartKm, s.Spec.Wear(last.MM)-s.Spec.Wear(s.StartMM)
	if !(km > 0) || last.Tripped || worn < minWornShare*s.Spec.Span() {
		return 0
	}
	return worn / km
}

// naiveLives returns the series of each axle as the baselines see them.
func naiveLives(v *Vehicle, asOf Day) [][]Series {
	t := trackOf(v, asOf)
	out := make([][]Series, len(v.Axles))
	for i := range v.Axles {
		out[i] = Segments(&v.Axles[i], t, asOf, Jump).Series
	}
	return out
}

// FixedInterval gives each part the fleet's mean life for its class, duty and
// axle, whatever is measured. It exists to be beaten in a backtest.
type FixedInterval struct {
	Rates FleetRates
}

var _ Model = (*FixedInterval)(nil)

// TrainFixedInterval learns mean lives from what was known on asOf.
func TrainFixedInterval(seq iter.Seq[*Vehicle], asOf Day) *FixedInterval {
	sums := make(rateSums)
	for v := range seq {
		sums.addVehicle(v, naiveLives(v, asOf))
	}
	return &FixedInterval{sums.rates()}
}

// Name implements Model.
func (m *FixedInterval) Name() string { return "fixed" }

// Forecast implements Model.
func (m *FixedInterval) Forecast(v *Vehicle, asOf Day, _ Options) []AxleForecast {
	return naiveForecast(m.Name(), v, asOf, func(a *Axle, s *Series, now float64) (Dist, float64) {
		fleet := m.Rates.of(v, a.Number, s.Pos.Part)
		rate := math.Exp(fleet.LogRate)
		start, wear := s.StartKm, s.Spec.Wear(s.StartMM)
		if math.IsNaN(start) {
			start, wear = now, s.Spec.Span()/2
		}
		return logNormalFrom(start, (s.Spec.Span()-wear)/rate, fleet.SD), rate
	})
}
