package demo

import (
	"math"
	"math/rand/v2"
	"sort"

	"brakewear/internal/fleet"
)

// How fast parts wear changes with time. Method: the regimes and the season;
// assumption: the rest.
const (
	regimeDays = 420.0 // mean time until another driver or duty
	regimeSD   = .20   // of the log rate between them
	driftSD    = .08   // slow drift of the whole vehicle
	driftLen   = 120.0 // days
	sideSD     = .05   // drift of one side of an axle
	padSD      = .05   // drift of one pad
	placeLen   = 250.0 // days, of both

	// Wear per km has a season, most on 20 January.
	seasonAmplitude = .07
	seasonPeak      = 20
)

// stepDays is how long conditions of wear are held.
const stepDays = 14

// HorizonYears is how far beyond the end of the records the truth is known.
const HorizonYears = 12

// sim makes vehicles one after the other and keeps its memory.
type sim struct {
	*world
	plan    *plan
	road    road
	pace    []float64 // relative wear per km of the whole vehicle, by step
	r       *rand.Rand
	regime  float64
	left    float64 // days left of the regime
	drift   ou
	axles   []axle
	end     int // last day of the records, in days of the road
	horizon float64
	shop
}

// axle is one axle while its vehicle is made.
type axle struct {
	fleet.Axle
	group float64 // median wear rate of its group, mm per km of friction
	rate  float64 // the vehicle's and the axle's own
	r     *rand.Rand
	side  [2]ou
	pad   [4]ou
	// worn is the distance weighted by the conditions of wear at each of the
	// places left inner, left outer, right inner, right outer; by step.
	worn [4][]float64

	friction, counter fleet.Part // pad and rotor, or lining and drum
	on                [2]*life   // friction and counter part now on
	lives             []*life    // all, in order of fitting
	due               int        // day of a change that is booked; -1: none
	offRecord         bool       // and that nobody will write down
	seen              int        // day of the last inspection; -1: none
	setsPerCounter    int        // friction sets until the counter part goes too
	sets              int        // fitted since it did
}

func (s *sim) startWear(p *plan) {
	s.r = stream(p.seed, streamWear, uint64(p.index))
	s.pace = s.pace[:0]
	s.left = 0
	s.drift = newOU(s.r, driftSD, driftLen, stepDays)
	k := &classes[p.class]
	m := &k.models[p.model]
	if cap(s.axles) < m.axles {
		s.axles = make([]axle, m.axles)
	}
	s.axles = s.axles[:m.axles]
	for i := range s.axles {
		a := &s.axles[i]
		worn := a.worn
		*a = axle{Axle: m.axleSpecs(i + 1), friction: fleet.Pad, counter: fleet.Rotor, due: -1, seen: -1}
		if a.Brake == fleet.DrumBrake {
			a.friction, a.counter = fleet.Lining, fleet.Drum
		}
		a.r = stream(p.seed, streamWear, uint64(p.index), uint64(i))
		a.group = s.groupRate(p.class, i+1, p.duty, p.model, p.depot)
		a.rate = a.group * math.Exp(p.wear+axleSD*a.r.NormFloat64())
		for j := range a.side {
			a.side[j] = newOU(a.r, sideSD, placeLen, stepDays)
		}
		for j := range a.pad {
			a.pad[j] = newOU(a.r, padSD, placeLen, stepDays)
			a.worn[j] = append(worn[j][:0], 0)
		}
	}
}

// extendWear draws the conditions of wear of the first n steps.
func (s *sim) extendWear(n int) {
	s.road.extend(n * stepDays)
	for k := len(s.pace); k < n; k++ {
		if s.left <= 0 {
			s.left = regimeDays * s.r.ExpFloat64()
			s.regime = logNormal(s.r, regimeSD)
		}
		s.left -= stepDays
		s.pace = append(s.pace, s.regime*wearSeason(s.road.day0+k*stepDays)*math.Exp(s.drift.next(s.r)-driftSD*driftSD/2))
		km := s.pace[k] * (s.road.km[(k+1)*stepDays] - s.road.km[k*stepDays])
		for i := range s.axles {
			a := &s.axles[i]
			for j := range a.side {
				a.side[j].next(a.r)
			}
			for j := range a.pad {
				x := a.side[j/2].x + a.pad[j].next(a.r) - (sideSD*sideSD+padSD*padSD)/2
				a.worn[j] = append(a.worn[j], a.worn[j][k]+km*math.Exp(x))
			}
		}
	}
}

// wearSeason is the relative wear per km in the step that starts on a day.
func wearSeason(day int) float64 {
	const omega = 2 * math.Pi / yearDays
	return 1 + seasonAmplitude*math.Cos(omega*(float64(day)+stepDays/2-seasonPeak))
}

// wornAt returns the weighted distance of a place at t days.
func (s *sim) wornAt(a *axle, place int, t float64) float64 {
	k := int(t) / stepDays
	s.extendWear(k + 1)
	from, to := s.road.km[k*stepDays], s.road.km[(k+1)*stepDays]
	if to == from {
		return a.worn[place][k]
	}
	return a.worn[place][k] + (a.worn[place][k+1]-a.worn[place][k])*(s.road.at(t)-from)/(to-from)
}

// wornWhen is the inverse of wornAt: the time at which a place's weighted
// distance reaches w, +Inf where that is beyond the horizon.
func (s *sim) wornWhen(a *axle, place int, w float64) float64 {
	const chunk = 26 // steps drawn at a time
	for last := len(a.worn[place]) - 1; a.worn[place][last] < w; last = len(a.worn[place]) - 1 {
		if float64(last*stepDays) > s.horizon {
			return math.Inf(1)
		}
		s.extendWear(last + chunk)
	}
	k := sort.SearchFloat64s(a.worn[place], w) - 1
	if k < 0 {
		return 0
	}
	f := (w - a.worn[place][k]) / (a.worn[place][k+1] - a.worn[place][k])
	from, to := s.road.km[k*stepDays], s.road.km[(k+1)*stepDays]
	t := s.road.when(from + f*(to-from))
	if t > s.horizon {
		return math.Inf(1)
	}
	return t
}
