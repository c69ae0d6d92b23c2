package demo

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// TestReadTruth wants back what was written, to the digits of the files.
func TestReadTruth(t *testing.T) {
	opt := Options{Vehicles: 200, Seed: 4, Until: until}
	dir := t.TempDir()
	if err := WriteCSV(dir, opt); err != nil {
		t.Fatal(err)
	}
	truth, err := ReadTruth(dir)
	if err != nil {
		t.Fatal(err)
	}
	opt.ToCome = true
	toCome := 0
	for v := range Generate(opt) {
		got := truth[v.Number]
		if got == nil || len(got.Lives) != len(v.Truth.Lives) {
			t.Fatalf("%s: got %v, want %d lives", v.Number, got, len(v.Truth.Lives))
		}
		for i := range v.Truth.Lives {
			l, g := &v.Truth.Lives[i], &got.Lives[i]
			removed := forecast.Day(forecast.NotRemoved)
			if l.Removed.Known {
				removed = forecast.Day(l.Removed.Date)
			}
			if g.Axle != l.Axle || string(g.Part) != string(l.Part) || int(g.Fitted) != int(l.Fitted.Date) || g.Removed != removed || g.Declared != l.Declared {
				t.Errorf("%s: got %+v, want %+v", v.Number, g, l)
			}
			if math.IsNaN(g.CrossKm) == l.Crossing.Known || l.Crossing.Known && math.Abs(g.CrossKm-l.Crossing.Km) > .051 {
				t.Errorf("%s: limit at %g km, want %+v", v.Number, g.CrossKm, l.Crossing)
			}
			// The group rate has four decimals.
			if math.Abs(g.Km10*l.GroupRate/1e5-1) > .01 {
				t.Errorf("%s: 10 mm take %g km at %g mm per 10,000 km", v.Number, g.Km10, l.GroupRate)
			}
			if len(g.ToCome) != len(l.ToCome) {
				t.Fatalf("%s: %d readings to come, want %d", v.Number, len(g.ToCome), len(l.ToCome))
			}
			for k := range l.ToCome {
				r, x := &l.ToCome[k], &g.ToCome[k]
				read := r.OdometerKm != nil && x.Km == *r.OdometerKm || r.OdometerKm == nil && math.IsNaN(x.Km)
				if int(x.Day) != int(r.Date) || !read || x.Pos.String() != placed(r.Position) || x.MM != r.MM || x.Tripped != r.Tripped || (x.Step > 0) == r.Tripped {
					t.Errorf("%s: got %+v, want %+v", v.Number, x, r)
				}
				toCome++
			}
		}
		if !got.GoesOn || len(got.OdometerToCome) != len(v.Truth.OdometerToCome) || len(got.Path) != len(v.Truth.Distance) {
			t.Errorf("%s: %d odometer values to come and %d on the way, want %d and %d", v.Number, len(got.OdometerToCome), len(got.Path), len(v.Truth.OdometerToCome), len(v.Truth.Distance))
		}
		if last := len(got.Shifts) - 1; last >= 0 {
			if want := v.Truth.Shift(until); math.Abs(got.Shifts[last].Km-want) > .11 {
				t.Errorf("%s: got shift %g, want %g", v.Number, got.Shifts[last].Km, want)
			}
		}
	}
	if toCome < 1000 {
		t.Errorf("%d readings to come: too few to test anything", toCome)
	}
	if err := os.Remove(filepath.Join(dir, "truth", "odometer-to-come.csv")); err != nil {
		t.Fatal(err)
	}
	if truth, err = ReadTruth(dir); err != nil || truth["V000001"].GoesOn {
		t.Errorf("truth of files without what is to come: %v", err)
	}
}

// placed names a position without its axle.
func placed(p fleet.Position) string {
	return forecast.Position{Part: forecast.Part(p.Part), Side: string(p.Side), Face: string(p.Face)}.String()
}
