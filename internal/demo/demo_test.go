package demo

import (
	"reflect"
	"testing"

	"brakewear/internal/fleet"

	"github.com/google/go-cmp/cmp"
)

func collect(opt Options) []*Vehicle {
	var vs []*Vehicle
	for v := range Generate(opt) {
		vs = append(vs, v)
	}
	return vs
}

func TestSameFleetWhateverTheWorkers(t *testing.T) {
	opt := Options{Vehicles: 200, Seed: 3, Until: until, Workers: 1}
	want := collect(opt)
	for _, workers := range []int{1, 2, 5} {
		opt.Workers = workers
		if got := collect(opt); !reflect.DeepEqual(want, got) {
			t.Errorf("%d workers, -one +several:\n%.2000s", workers, cmp.Diff(want, got))
		}
	}
	opt.Seed = 4
	if reflect.DeepEqual(want[0].Truth.Lives, collect(opt)[0].Truth.Lives) {
		t.Error("another seed gives the same vehicle")
	}
}

func TestVehicleDoesNotDependOnTheOthers(t *testing.T) {
	many := collect(Options{Vehicles: 150, Seed: 9, Until: until})
	few := collect(Options{Vehicles: 7, Seed: 9, Until: until})
	if len(many) != 150 || len(few) != 7 {
		t.Fatalf("got %d and %d vehicles, want 150 and 7", len(many), len(few))
	}
	if !reflect.DeepEqual(many[:7], few) {
		t.Errorf("-of 150 +of 7:\n%.2000s", cmp.Diff(many[:7], few))
	}
}

func TestGenerateStopsEarly(t *testing.T) {
	n := 0
	for range Generate(Options{Vehicles: 100000, Seed: 1, Until: until, Workers: 3}) {
		if n++; n == 40 {
			break
		}
	}
	for range Generate(Options{Vehicles: 0, Seed: 1, Until: until}) {
		t.Error("got a vehicle of a fleet of none")
	}
}

// TestRecordsAreValid wants every record to pass the checks that a workshop's
// own would have to pass.
func TestRecordsAreValid(t *testing.T) {
	plates := map[string]string{}
	for v := range Generate(Options{Vehicles: 800, Seed: 5, Until: until}) {
		entry := fleet.Vehicle{Number: v.Number, Category: v.Category, Year: v.Year}
		if err := entry.Validate(); err != nil {
			t.Errorf("%s: %v", v.Number, err)
		}
		if other := plates[v.Plate]; other != "" {
			t.Errorf("%s and %s both have plate %s", v.Number, other, v.Plate)
		}
		plates[v.Plate] = v.Number
		for i := range v.Axles {
			if err := v.Axles[i].Validate(); err != nil {
				t.Errorf("%s axle %d: %v", v.Number, i+1, err)
			}
		}
		var last fleet.Date
		for i := range v.Readings {
			r := &v.Readings[i]
			if err := r.Validate(); err != nil {
				t.Errorf("%s %s: %v", v.Number, r.Date, err)
			}
			if r.Date < last || r.Date < v.Truth.Entry || r.Date > until {
				t.Errorf("%s: a reading of %s after one of %s; records from %s to %s", v.Number, r.Date, last, v.Truth.Entry, until)
			}
			last = r.Date
		}
		for i := range v.Fitments {
			if err := v.Fitments[i].Validate(); err != nil {
				t.Errorf("%s %s: %v", v.Number, v.Fitments[i].Date, err)
			}
		}
		for i, o := range v.Odometer {
			if o.Date > until || i > 0 && o.Date < v.Odometer[i-1].Date || o.Km < 0 || o.Km > fleet.MaxOdometerKm {
				t.Errorf("%s: odometer %g km on %s", v.Number, o.Km, o.Date)
			}
		}
	}
}

func TestNoPlaceIsReadTwiceADay(t *testing.T) {
	type key struct {
		day fleet.Date
		pos fleet.Position
	}
	for v := range Generate(Options{Vehicles: 800, Seed: 6, Until: until}) {
		seen := map[key]bool{}
		for _, r := range v.Readings {
			k := key{r.Date, r.Position}
			if seen[k] {
				t.Errorf("%s: %s read twice on %s", v.Number, r.Position, r.Date)
			}
			seen[k] = true
		}
	}
}
