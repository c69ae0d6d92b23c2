package rules

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
)

// A judgement read back is the one that was given, of every set, and speaks the
// same words; one by a set that there is no longer keeps its name. The vehicle
// and its tests are invented.
func TestKept(t *testing.T) {
	v := &fleet.Vehicle{Category: "M3", Year: 2019}
	wheels := []fleet.WheelEffort{{Axle: 1, Side: fleet.Left, N: 9000}, {Axle: 1, Side: fleet.Right, N: 5000, Locked: true}, {Axle: 2, Side: fleet.Left, N: 8000}, {Axle: 2, Side: fleet.Right, N: 8000}}
	tests := []*fleet.BrakeTest{
		{Method: fleet.Roller, System: fleet.ServiceBrake, WeightKg: 12000, Wheels: wheels, PedalN: 800},
		{Method: fleet.Decelerometer, System: fleet.ServiceBrake, Peak: 6.5, Mean: 5.2},
		{Method: fleet.MeasuredStop, System: fleet.ServiceBrake, SpeedKmh: 60, DistanceM: 30},
	}
	for _, s := range append(Sets(), unset) {
		for _, b := range tests {
			want := s.Judge(v, []int{1, 2}, b)
			kept, err := want.Keep()
			if err != nil {
				t.Fatal(err)
			}
			got, err := Kept(kept)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(want, got, cmp.AllowUnexported(Set{})); d != "" {
				t.Errorf("%s, %s: %s", s.ID, b.Method, d)
			}
			if got.Summary() != want.Summary() {
				t.Errorf("%s, %s: %q, want %q", s.ID, b.Method, got.Summary(), want.Summary())
			}
			said := *b
			said.Said = &fleet.Said{Judgement: kept}
			if j := unset.Judged(v, []int{1, 2}, &said); j.Set != s {
				t.Errorf("%s: judged by %s", s.ID, j.Set.ID)
			}
			said.Said.Judgement = []byte("{")
			if j := unset.Judged(v, []int{1, 2}, &said); j.Set != unset {
				t.Errorf("what cannot be read: judged by %s", j.Set.ID)
			}
		}
	}
	got, err := Kept([]byte(`{"set":"moon","name":"Rules of the moon","verdict":1}`))
	if err != nil || got.Set.Name != "Rules of the moon" || got.Verdict != Meets {
		t.Errorf("got %+v, %v", got, err)
	}
	for _, bad := range []string{"", "[]", `{"checks":[{}]}`} {
		if j, err := Kept([]byte(bad)); err == nil {
			t.Errorf("%q: got %+v", bad, j)
		}
	}
}
