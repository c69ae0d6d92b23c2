package forecast

import (
	"math"
	"testing"
)

// All vehicles in this file are invented.

// TestRotorLeftOn: a rotor that nobody measures was not past its limit at the last inspection of
// the pads; after ten sets of them, at a tenth of their pace (0.2 mm in 10,000 km, 2 mm to wear),
// it was probably renewed.
func TestRotorLeftOn(t *testing.T) {
	for _, c := range []struct {
		end     Day
		renewed bool
	}{{2000, false}, {4000, false}, {4500, true}} {
		v := padVehicle(pad12, c.end, nil, []Fitment{fitment(0, Position{Part: Rotor})})
		a := &v.Axles[0]
		a.Specs[Rotor] = Spec{New: 25, Limit: 23}
		seen := Day(0)
		for d := Day(0); d < c.end-100; d += 450 {
			a.Fitments = append(a.Fitments, fitment(d, Position{Part: Pad}))
			for _, r := range steady(.01, 100, 200, 300, 400) {
				if r.Day += d; r.Day <= c.end {
					seen, a.Readings = r.Day, append(a.Readings, r)
				}
			}
		}
		f := one(t, newFull(), v, c.end)
		if f.Has(PartChange) != c.renewed {
			t.Errorf("day %d: taken as renewed %v, want %v: %v", c.end, !c.renewed, c.renewed, f.Warnings)
		}
		for _, p := range f.Positions {
			if p.Pos.Part != Rotor {
				continue
			}
			if least := p.Crossing.Km.X[0]; least < 50*float64(seen)-1 {
				t.Errorf("day %d: past its limit from %g km on, want none before %g, where it was left on", c.end, least, 50*float64(seen))
			}
			if c.renewed && p.ThicknessMM < 24 {
				t.Errorf("day %d: %g mm of one renewed with the last pads", c.end, p.ThicknessMM)
			}
			// Its value, its path and its date say the same: half of what is left at half the way.
			left, far := p.ThicknessMM-23, p.Crossing.Km.Quantile(.5)-f.OdometerKm
			mid, half, ok := pathAt(p.Path, f.OdometerKm+far/2)
			if !c.renewed && (left < .1 || math.Abs(left-p.RatePer10000*far/10_000) > .35*left) || !ok || math.Abs(mid-23-left/2) > .35*left || !(half > 0) {
				t.Errorf("day %d: %g mm now, %g in 10,000 km, %g ± %g half the way of %g km (%v)", c.end, p.ThicknessMM, p.RatePer10000, mid, half, far, ok)
			}
		}
	}
}

// TestRotorLeftOnDoubted: read near its limit, a rotor that is still on after many kilometres more
// cannot be: that is doubted, and what is shown of it stays as it was.
func TestRotorLeftOnDoubted(t *testing.T) {
	fs := []Fitment{fitment(0, Position{Part: Rotor}), fitment(600, Position{Part: Pad})}
	rs := []Reading{reading(700, Position{Part: Rotor, Side: "left"}, 23.1), reading(700, Position{Part: Rotor, Side: "right"}, 23.1)}
	for _, r := range steady(.01, 400, 600, 850) {
		r.Day += 600
		rs = append(rs, r)
	}
	for _, mm := range []float64{23.02, 23.1, 23.3, 23.6, 24} {
		rs[0].MM, rs[1].MM = mm, mm
		checkLeftOn(t, newFull(), rs, fs, 1450)
	}
}
