package demo

import (
	"math"
	"testing"

	"brakewear/internal/fleet"
)

// TestLimitIsReachedAtTheLimit wants the wear path to stand at the limit where
// the truth says that it gets there, and the path to be turned round exactly.
func TestLimitIsReachedAtTheLimit(t *testing.T) {
	w := newWorld(Options{Vehicles: 300, Seed: 2, Until: until})
	s := &sim{world: w}
	reached, dragged := 0, 0
	for i := range 300 {
		v := s.vehicle(w.plan(i))
		for a := range s.axles {
			for _, l := range s.axles[a].lives {
				for j := range l.n {
					at := s.reaches(l, j, l.spec.Limit)
					if math.IsInf(at, 1) {
						if x := s.value(l, j, s.horizon); (x < l.spec.Limit) != l.part.Grows() {
							t.Errorf("%s %s: %.3f mm at the horizon, limit %g mm, yet never reached", v.Number, l.position(j), x, l.spec.Limit)
						}
						continue
					}
					reached++
					if at > l.drag {
						dragged++
					}
					// 1e-6 mm: what rounding leaves of a path over years.
					if got := s.value(l, j, at); math.Abs(got-l.spec.Limit) > 1e-6 {
						t.Errorf("%s %s: got %.7f mm at the crossing, want %g", v.Number, l.position(j), got, l.spec.Limit)
					}
					half := (l.start[j] + l.spec.Limit) / 2
					if x := s.reaches(l, j, half); x >= at || x <= float64(l.fitted) {
						t.Errorf("%s %s: half worn after %g days, worn after %g, fitted after %d", v.Number, l.position(j), x, at, l.fitted)
					}
				}
			}
		}
	}
	if reached < 3000 || dragged < 50 {
		t.Errorf("got %d crossings, %d of them with a seized caliper: too few to test anything", reached, dragged)
	}
}

// TestCleanRecordsAgreeWithTheTruth goes by the records alone: a reading lies
// above the limit until its position's limit date and not above it afterwards,
// and the parts only get thinner between fittings.
func TestCleanRecordsAgreeWithTheTruth(t *testing.T) {
	const rounding = .005 // mm, half of what clean records are rounded to
	below := 0
	for v := range Generate(Options{Vehicles: 400, Seed: 7, Until: until, Clean: true}) {
		tr := &v.Truth
		if len(tr.Typos)+len(tr.OdometerFaults) > 0 {
			t.Errorf("%s: clean records with faults: %v %v", v.Number, tr.Typos, tr.OdometerFaults)
		}
		last := map[fleet.Position]fleet.Reading{}
		for _, r := range v.Readings {
			if r.Tripped {
				continue
			}
			// Readings on the day of a fitting are of the old parts, unless
			// they are of the new ones alone.
			l := tr.On(r.Position.Axle, r.Position.Part, r.Date-1)
			f := tr.On(r.Position.Axle, r.Position.Part, r.Date)
			friction := r.Position.Part == fleet.Pad || r.Position.Part == fleet.Lining
			if l == nil || friction && f.Fitted.Date == r.Date && math.Abs(r.MM-f.FittedMM) < 1 {
				l = f
			}
			p := positionOf(t, l, r.Position)
			wear := func(mm float64) float64 {
				if r.Position.Part.Grows() {
					return mm
				}
				return -mm
			}
			past := p.Crossing.Known && r.Date > p.Crossing.Date
			if over := wear(r.MM) - wear(l.Limit); past && over < -rounding || !past && over > rounding {
				t.Errorf("%s %s %s: %g mm, limit %g mm reached on %v", v.Number, r.Date, r.Position, r.MM, l.Limit, p.Crossing)
			} else if past {
				below++
			}
			if before, ok := last[r.Position]; ok && before.Date > l.Fitted.Date && wear(r.MM) < wear(before.MM)-rounding {
				t.Errorf("%s %s: %g mm on %s after %g mm on %s", v.Number, r.Position, r.MM, r.Date, before.MM, before.Date)
			}
			last[r.Position] = r
		}
		for i := range tr.Lives {
			if !tr.Lives[i].Declared {
				t.Errorf("%s: clean records without the fitting of %s", v.Number, tr.Lives[i].Fitted.Date)
			}
		}
		if got, want := len(v.Fitments), len(tr.Lives); got != want {
			t.Errorf("%s: got %d fitments, want one for each of %d lives", v.Number, got, want)
		}
	}
	if below < 100 {
		t.Errorf("got %d readings past a limit: too few to test anything", below)
	}
}

func positionOf(t *testing.T, l *Life, p fleet.Position) *PositionLife {
	t.Helper()
	for i := range l.Positions {
		if l.Positions[i].Side == p.Side && l.Positions[i].Face == p.Face {
			return &l.Positions[i]
		}
	}
	t.Fatalf("no position %s in the life of %s", p, l.Fitted.Date)
	return nil
}

func TestLives(t *testing.T) {
	for v := range Generate(Options{Vehicles: 400, Seed: 8, Until: until}) {
		for i := range v.Truth.Lives {
			l := &v.Truth.Lives[i]
			first := l.Positions[l.First].Crossing
			if first != l.Crossing {
				t.Errorf("%s: first position reaches the limit on %v, the life on %v", v.Number, first, l.Crossing)
			}
			for _, p := range l.Positions {
				if p.Crossing.Known && (p.Crossing.Date < l.Crossing.Date || p.Crossing.Km < l.Crossing.Km) {
					t.Errorf("%s: %s %s at %v is before the first at %v", v.Number, p.Side, p.Face, p.Crossing, l.Crossing)
				}
			}
			if l.Number > 1 {
				before := &v.Truth.Lives[i-1]
				if before.Number != l.Number-1 || before.Removed != l.Fitted {
					t.Errorf("%s: life %d fitted at %v, the one before removed at %v", v.Number, l.Number, l.Fitted, before.Removed)
				}
			}
			if !l.Removed.Known && v.Truth.On(l.Axle, l.Part, until) != l {
				t.Errorf("%s: a life still on is not found on %s", v.Number, until)
			}
			for _, m := range []Moment{l.Fitted, l.Removed, l.Crossing} {
				if m.Known && m.Date <= until && math.Abs(m.Km-m.DisplayedKm-v.Truth.Shift(m.Date)) > 1e-6 {
					t.Errorf("%s: %v does not agree with the shift %g", v.Number, m, v.Truth.Shift(m.Date))
				}
			}
		}
	}
}

func TestRoadThereAndBack(t *testing.T) {
	w := newWorld(Options{Seed: 1, Until: until})
	s := &sim{world: w}
	s.vehicle(w.plan(0))
	d := &s.road
	for x := 0.25; x < float64(len(d.km)-1); x += 17.3 {
		if d.at(x) == d.at(math.Floor(x)) {
			continue // it stood: any time of that day is right
		}
		if got := d.when(d.at(x)); math.Abs(got-x) > 1e-6 {
			t.Errorf("got day %g, want %g", got, x)
		}
	}
}

// Shift returns the continuous distance less what the dashboard shows on day d.
func (t *Truth) Shift(d fleet.Date) float64 {
	shift := 0.0
	for _, f := range t.OdometerFaults {
		if f.Kind == clusterSwap && f.Date <= d {
			shift = f.Km - f.WrittenKm
		}
	}
	return shift
}
