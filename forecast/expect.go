package forecast

import (
	"math"
	"slices"
)

// Expected is what one more reading of a position would show, in mm as
// measured.
type Expected struct {
	Axle int
	Pos  Position
	Spec Spec
	// Last is the last reading of the part that is on, whether it was believed
	// or not, and the most worn of its day; nil when it was never read.
	Last   *Reading
	Median float64
	// Low and High bound what is likely, likelySDs around the median. The
	// errors of gauge and visit are inside.
	Low, High float64
}

// likelySDs is half the width of the likely range in standard deviations. On
// our simulated fleets 0.6 % of right readings lie below the range and as many
// above, most of these of parts fitted off the record; outside are 94 % of
// those mistyped by more than 1.5 mm.
const likelySDs = 3

// AxlePart is one kind of part on an axle.
type AxlePart struct {
	Axle int // its number
	Part Part
}

// Expect returns what readings on a day would show at the positions of v, by
// what is dated on or before it. km is the odometer on that day; NaN where it
// was not read, and the distance driven is forecast. v is not changed. Where only
// the positions of some parts are asked for, others may be left out.
func Expect(m Model, v *Vehicle, day Day, km float64, of ...AxlePart) []Expected {
	if !math.IsNaN(km) {
		w := *v
		w.Odometer = append(slices.Clip(v.Odometer), Odometer{day, km})
		v = &w
	}
	if m, ok := m.(*Full); ok {
		return m.expect(v, day, of)
	}
	return expectByPath(m, v, day)
}

// expectByPath is Expect for a model of which only the forecasts are known.
func expectByPath(m Model, v *Vehicle, day Day) []Expected {
	track := trackOf(v, day)
	var out []Expected
	for _, f := range m.Forecast(v, day, Options{Paths: true}) {
		i := slices.IndexFunc(v.Axles, func(a Axle) bool { return a.Number == f.Axle })
		lives := Segments(&v.Axles[i], track, day, Jump)
		last := make(map[Position]*Reading)
		for _, s := range lives.Current() {
			if n := len(s.Readings); n > 0 {
				last[s.Pos] = &s.Readings[n-1]
			}
		}
		for _, p := range f.Positions {
			if len(p.Path) < 2 {
				continue
			}
			mid, half, ok := pathAt(p.Path, f.OdometerKm)
			if !ok {
				mid, half = p.ThicknessMM, 0
			}
			half = likelySDs * math.Hypot(half/z80, readingSD)
			out = append(out, Expected{
				Axle: f.Axle, Pos: p.Pos, Spec: p.Spec, Last: last[p.Pos],
				Median: mid, Low: max(0, mid-half), High: mid + half,
			})
		}
	}
	return out
}

// expect is Expect by the whole model.
func (m *Full) expect(v *Vehicle, day Day, of []AxlePart) []Expected {
	f := fitters.Get().(*fitter)
	defer fitters.Put(f)
	parts := partOrder[:]
	if len(of) > 0 && !slices.ContainsFunc(of, func(p AxlePart) bool { return p.Part.rubs() != "" }) {
		parts = rubbing // of what they rub against nothing is told to them
	}
	h := m.history(f, v, day, parts, func(a *Axle, p Part) bool {
		return unheard(a, p) || len(of) == 1 && of[0] == AxlePart{a.Number, p} // the only one that others could tell of
	})
	kmSD := h.usage.nowSD() / 1000
	var out []Expected
	for i := range v.Axles {
		needed := func(p Part) bool { return len(of) == 0 || needs(of, v.Axles[i].Number, p) }
		m.eachOn(f, &h, i, needed, func(_ int, s *set, _ prior) {
			f.weigh(s)
			p := point{at: max(h.now(), f.lastVisit()), plain: true}
			for _, pl := range s.places[:s.live] {
				p.at = max(p.at, s.births[pl.born].at)
			}
			f.look(&p)
			gauge := m.Params.gaugeSD(s.part, 0, v.Depot)
			bias := 0.0
			if s.part.rubs() == "" {
				bias = m.Params.Depots[v.Depot].Bias
			}
			rate := math.Exp(f.grid.mean)
			for j := range s.live {
				road := rate * s.places[j].f * kmSD
				visit := s.noise.Visit
				sd := math.Sqrt(max(0, p.sq[j]-p.mean[j]*p.mean[j]) + gauge*gauge + visit*visit + road*road)
				mid := p.mean[j] + bias
				a, b := s.value(mid-likelySDs*sd), s.value(mid+likelySDs*sd)
				out = append(out, Expected{
					Axle: v.Axles[i].Number, Pos: s.pos[j], Spec: s.spec, Last: lastRead(&v.Axles[i], s, j, day),
					Median: s.value(mid), Low: min(a, b), High: max(a, b),
				})
			}
		})
	}
	return out
}

// needs says whether parts of an axle are asked for, or rub against those that are
// and so tell of them.
func needs(of []AxlePart, axle int, part Part) bool {
	return slices.ContainsFunc(of, func(p AxlePart) bool { return p.Axle == axle && (p.Part == part || p.Part.rubs() == part) })
}

// lastRead returns the last reading of live place j up to a day, the most worn
// of its day, as it was read: of many visits the set holds medians.
func lastRead(a *Axle, s *set, j int, day Day) *Reading {
	out := s.last(j)
	if out == nil {
		return nil
	}
	var last *Reading
	for i := range a.Readings {
		r := &a.Readings[i]
		if r.Pos != s.pos[j] || r.Tripped || r.Day < out.Day || r.Day > day || r.fault(s.spec) != "" {
			continue
		}
		if last == nil || r.Day > last.Day || r.Day == last.Day && s.spec.Wear(r.MM) > s.spec.Wear(last.MM) {
			last = r
		}
	}
	if last == nil { // read as one of several places only
		return out
	}
	return last
}

// nowSD is the standard deviation in km of the total on the forecast's day; 0
// when the odometer was read on it.
func (u Usage) nowSD() float64 {
	since := daysBetween(u.track.Last.Day, u.AsOf)
	if !u.Known() || !(since > 0) {
		return 0
	}
	mu, sd := u.law.logKm(u.track.Last.Day, 0, since)
	return math.Exp(mu+sd*sd/2) * math.Sqrt(math.Expm1(sd*sd))
}
