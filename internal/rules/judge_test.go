package rules

import (
	"math"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/fleet"
)

// efforts returns a roller test of the service brake with the efforts in N of
// the axles from the front, left before right.
func efforts(kg float64, ns ...float64) *fleet.BrakeTest {
	t := &fleet.BrakeTest{Method: fleet.Roller, System: fleet.ServiceBrake, WeightKg: kg}
	for i, n := range ns {
		t.Wheels = append(t.Wheels, fleet.WheelEffort{Axle: i/2 + 1, Side: []fleet.Side{fleet.Left, fleet.Right}[i%2], N: n})
	}
	return t
}

// even returns a roller test of two axles that comes to so many % of 1000 kg.
func even(percent, pedal float64) *fleet.BrakeTest {
	n := percent / 100 * 1000 * fleet.Gravity / 4
	t := efforts(1000, n, n, n, n)
	t.PedalN = pedal
	return t
}

func decel(mean, peak float64) *fleet.BrakeTest {
	return &fleet.BrakeTest{Method: fleet.Decelerometer, System: fleet.ServiceBrake, Mean: mean, Peak: peak}
}

func stop(kmh, m float64) *fleet.BrakeTest {
	return &fleet.BrakeTest{Method: fleet.MeasuredStop, System: fleet.ServiceBrake, SpeedKmh: kmh, DistanceM: m}
}

const ft = 0.3048

// TestJudge holds tests against the rules. CV: the check vectors that go with
// the published values; the required values are theirs (values.csv).
func TestJudge(t *testing.T) {
	car := fleet.Vehicle{Category: "M1", FirstUsed: fleet.NewDate(2020, 5, 4)}
	oldCar := fleet.Vehicle{Category: "M1", FirstUsed: fleet.NewDate(2005, 5, 4)}
	truck := fleet.Vehicle{Category: "N3", FirstUsed: fleet.NewDate(2020, 5, 4)}
	locked := func(b *fleet.BrakeTest, wheels ...int) *fleet.BrakeTest {
		for _, i := range wheels {
			b.Wheels[i].Locked = true
		}
		return b
	}
	parking := efforts(1000, 2000, 2000, 2000, 2000)
	parking.System, parking.Wheels = fleet.ParkingBrake, []fleet.WheelEffort{parking.Wheels[3], parking.Wheels[0]}
	mfdd := stop(60, 45)
	mfdd.BeginM, mfdd.EndM = 12, 40
	for _, c := range []struct {
		name string
		set  string
		v    fleet.Vehicle
		test *fleet.BrakeTest
		want Verdict
		says string // in the summary, the checks or the notes
	}{
		{"CV-02: 56.08 % fails 58 %", "eu", car, efforts(1500, 2700, 2600, 1500, 1450), Fails, "56.1\u00a0%, 58\u00a0% required (EU-01): short by 3.3\u00a0%"},
		{"CV-02: and passes 50 %", "eu", oldCar, efforts(1500, 2700, 2600, 1500, 1450), Meets, "over by 12.2\u00a0%"},
		{"exactly at it", "eu", car, even(58, 0), Meets, "over by 0\u00a0%"},
		{"60 % against 50 %: common practice, no source", "eu", oldCar, even(60, 0), Meets, "60.0\u00a0%, 50\u00a0% required (EU-07): over by 20\u00a0%"},
		{"below half of it (EU-11)", "eu", car, even(28.9, 0), Dangerous, "dangerous, short by 50.2\u00a0%"},
		{"which is said first", "eu", car, even(28.9, 0), Dangerous, "Dangerous: efficiency."},
		{"exactly half of it", "eu", car, even(29, 0), Fails, "short by 50\u00a0%"},
		{"CV-04: 30 % passes", "eu", car, efforts(500, 1000, 700, 1000, 700), Meets, "30.0\u00a0%, at most 30\u00a0% (EU-14): within it"},
		{"CV-04: 1000 against 699 N fails", "eu", car, efforts(500, 1000, 699, 1000, 700), Fails, "Fails: axle 1, difference"},
		{"CV-05: 50.10 % on a steered axle", "eu", car, efforts(500, 1000, 499, 1000, 900), Dangerous, "beyond 50\u00a0%"},
		{"the same on the rear", "eu", car, efforts(500, 1000, 900, 1000, 499), Fails, "axle 2"},
		{"lower wheel locked (UK-14)", "uk", oldCar, locked(efforts(500, 1000, 499, 1000, 900), 1), Meets, "the difference of 50.1 % is not held against it"},
		{"507 N on the pedal of a car", "eu", car, even(60, 507), Fails, "507\u00a0N, at most 500\u00a0N (UN-01F): too much by 1.4\u00a0%"},
		{"271 N", "eu", car, even(60, 271), Meets, "271\u00a0N, at most 500\u00a0N"},
		{"exactly 500 N", "eu", car, even(60, 500), Meets, "within it"},
		{"507 N on that of a truck", "eu", truck, even(60, 507), Meets, "at most 700"},
		{"an axle left out", "eu", car, efforts(1000, 3000, 3000), Meets, "No force is recorded for axle 2"},
		{"no weight", "eu", car, efforts(0, 3000, 3000, 2000, 2000), Meets, "No weight"},
		{"no weight and no pair", "eu", car, efforts(0, 3000), NotJudged, "recorded for axle 1, axle 2, so"},
		{"one wheel of an axle that is not known", "eu", car, efforts(1000, 3000, 3000, 3000, 3000, 2000), Meets, "recorded for axle 3, so"},
		{"a parking brake by single wheels", "eu", car, parking, NotJudged, "recorded for axle 1, axle 2, so"},
		{"passes on locks (UK-15)", "uk", truck, locked(even(40, 0), 0, 1, 2), Meets, "It passes on locks: 75 % of the wheels locked, and more than 50 % is enough (UK-15)"},
		{"passes on locks, and is short all the same", "uk", truck, locked(even(40, 0), 0, 1, 2), Meets, "short by 20\u00a0% of that, but it passes on locks."},
		{"half of the wheels is not more than half", "uk", truck, locked(even(40, 0), 0, 1), Unclear, "could have given more"},
		{"by how much it is short with wheels locked", "uk", truck, locked(even(40, 0), 0, 1), Unclear, "short by 20\u00a0% of that, with wheels locked."},
		{"UK-19.1 from memory", "uk", truck, even(60, 0), Meets, "UK-19.1 is known from memory only"},
		{"decelerometer", "eu", car, decel(0.58*fleet.Gravity, 8), Meets, "over by 0\u00a0%"},
		{"peak only", "eu", car, decel(0, 0.6*fleet.Gravity), Meets, "by the mean it is lower"},
		{"peak only where the mean is asked", "au", fleet.Vehicle{Category: "M1", GrossKg: 1900}, decel(0, 6), Meets, "Only the peak"},
		{"AU-10.1, AU-11.1", "au", fleet.Vehicle{Category: "M1", GrossKg: 1900}, decel(3.8, 5.7), Fails, "Fails: peak deceleration."},
		{"AU by forces", "au", fleet.Vehicle{Category: "N3"}, even(40, 0), Meets, "3.92\u00a0m/s², 2.8\u00a0m/s² required (AU-10.2)"},
		{"CV-09: 12.437 m from 35 km/h at 3.8 m/s²", "au", fleet.Vehicle{Category: "M1", GrossKg: 1900}, stop(35, 12.437), Meets, "at most 12.5\u00a0m (AU-09.1)"},
		{"CV-08: 16.879 m is beyond 16.5", "au", fleet.Vehicle{Category: "N3"}, stop(35, 16.879), Fails, "at most 16.5\u00a0m"},
		{"CV-07: 30.73 ft within 35", "us-393", fleet.Vehicle{Category: "M3"}, stop(20*1.609344, 30.73*ft), Meets, "at most 10.668\u00a0m (US-22c): within it"},
		{"35 ft is 12.3 ft/s², but 14 is of the brakes alone", "us-393", fleet.Vehicle{Category: "M3"}, stop(20*1.609344, 35*ft), Meets, "within it"},
		{"36 ft", "us-393", fleet.Vehicle{Category: "M3"}, stop(20*1.609344, 36*ft), Fails, "too much by 2.9\u00a0%"},
		{"from 21 mph, by the square", "us-393", fleet.Vehicle{Category: "M3"}, stop(21*1.609344, 38*ft), Meets, "10.5\u00a0m"},
		{"from 18 mph: too slow", "us-393", fleet.Vehicle{Category: "M3"}, stop(18*1.609344, 20*ft), Meets, "required from 32.2 km/h; this stop began at 29, too slow to be held against it"},
		{"from 98 % of 20 mph (UN Regulation 13 Annex 4, 1.1.2)", "us-393", fleet.Vehicle{Category: "M3"}, stop(.98*20*1.609344, 36*ft), Fails, "too much by 2.9\u00a0%"},
		{"CV-06.14: 43.5 % is 13.996 ft/s²", "us-393", fleet.Vehicle{Category: "M3"}, decel(13.996*ft, 0), Fails, "4.27\u00a0m/s², 4.2672\u00a0m/s² required (US-22b)"},
		{"but 43.5 % by force", "us-393", fleet.Vehicle{Category: "M3"}, even(43.5, 0), Meets, "US-22a"},
		{"CV-13 MFDD 3.125", "eu", truck, mfdd, Fails, "31.9\u00a0%, 50\u00a0% required (EU-04)"},
		{"CV-11 beside a stop", "eu", truck, stop(60, 30), Fails, "within 36.7 m (UN-16)"},
		{"a stop by speed and distance", "eu", car, stop(100, 60), Meets, "counted from the first movement of the pedal: the brakes gave more"},
		{"CV-12 beside a stop", "eu", car, stop(100, 60), Meets, "within 70.0 m (UN-17)"},
		{"semi-trailer or drawbar", "eu", fleet.Vehicle{Category: "O4", Year: 2020}, even(47, 0), Fails, "it may be 45 % (EU-05, semi-trailer)"},
		{"no first use", "eu", fleet.Vehicle{Category: "M1"}, even(55, 0), Fails, "Not known of the vehicle: the day of its first use. The strictest was taken (EU-01)"},
		{"both axles by a value from memory", "us-393", fleet.Vehicle{Category: "N3"}, efforts(1000, 3000, 2900, 3000, 2900), Meets, "US-30 is known from memory only"},
		{"no rule set", "", car, even(20, 600), NotJudged, "No rule set is picked"},
		{"maker's values only", "maker", car, even(20, 600), NotJudged, "nothing is required"},
		{"no category", "eu", fleet.Vehicle{}, even(60, 0), NotJudged, "category is not known"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := find(t, c.set)
			j := s.Judge(&c.v, []int{1, 2}, c.test)
			says := []string{j.Summary()}
			for i := range j.Checks {
				says = append(says, j.Checks[i].String())
			}
			all := strings.Join(append(says, j.Notes...), "\n")
			if j.Verdict != c.want || !strings.Contains(all, c.says) {
				t.Errorf("got %s, want %s; it says\n%s\nwant among it %q", j.Verdict, c.want, all, c.says)
			}
			for i, n := range j.Notes {
				if slices.Contains(j.Notes[:i], n) {
					t.Errorf("it says twice: %s", n)
				}
				if id, _, of := strings.Cut(n, " is known from memory only"); of && mustValue(id).Known != Memory {
					t.Errorf("%s, which was read, is noted as known from memory", id)
				}
			}
			if strings.Contains(strings.ToLower(all), "safe") {
				t.Errorf("it says safe:\n%s", all)
			}
		})
	}
}

// TestParkingBrakeOfOneAxle: it need not work on the others, so its efficiency can be told:
// 1800 N of 1000 kg.
func TestParkingBrakeOfOneAxle(t *testing.T) {
	rear := efforts(1000, 0, 0, 900, 900)
	rear.System, rear.Wheels = fleet.ParkingBrake, rear.Wheels[2:]
	j := find(t, "eu").Judge(&fleet.Vehicle{Category: "M1"}, []int{1, 2}, rear)
	if want := 1800 / fleet.Gravity / 10; math.Abs(j.Efficiency-want) > 1e-9 || len(j.Notes) != 0 {
		t.Errorf("got %g %% with %q, want %g %%", j.Efficiency, j.Notes, want)
	}
}

// TestSecondaryDistance: CV-10, N3 from 40 km/h.
func TestSecondaryDistance(t *testing.T) {
	v, ok := Lookup("UN-10")
	if !ok {
		t.Fatal("no UN-10")
	}
	if got, ok := v.At(40); !ok || math.Abs(got-33.826) > 0.0005 {
		t.Errorf("got %.4f m, want 33.826", got)
	}
	if _, ok := mustValue("US-01").At(40); ok {
		t.Error("a plain number passed for a formula")
	}
}

// TestCompare: 271 N after against 507 N before for a like stop is 46.5 % less
// (common practice, no source).
func TestCompare(t *testing.T) {
	before, after := even(58, 507), even(60, 271)
	before.Stage, after.Stage = fleet.BeforeJob, fleet.AfterJob
	c, ok := Compare(before, after)
	if !ok || !c.Like || math.Abs(c.Pedal+0.465) > 0.0005 || math.Abs(c.Efficiency-2) > 1e-9 {
		t.Errorf("got %+v", c)
	}
	want := []string{
		"Efficiency 60.0\u00a0% after, 58.0\u00a0% before: up 2.0 points.",
		"Pedal force 271 N after, 507 N before: 46.5\u00a0% less, for a like stop.",
		"Each 100 N on the pedal gave 22.1 % after, 11.4 % before.", // 100·60/271, 100·58/507
	}
	if got := c.Says(); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := (&Change{Before: after, After: after, Efficiency: -2, Pedal: math.NaN()}).Says(); len(got) != 1 || got[0] != "Efficiency 60.0\u00a0% now, 60.0\u00a0% last time: down 2.0 points." {
		t.Errorf("of no job: got %q", got)
	}
	c, ok = Compare(even(40, 300), even(60, 300))
	if !ok || c.Like || !strings.Contains(strings.Join(c.Says(), " "), "not for a like stop") {
		t.Errorf("40 %% and 60 %% pass for a like stop: %+v", c)
	}
	if c, _ = Compare(even(60, 0), even(60, 300)); !math.IsNaN(c.Pedal) || len(c.Says()) != 1 {
		t.Errorf("the force is known of one only, but it says %q", c.Says())
	}
	for _, after := range []float64{55.1, 54.9} { // within 10 % of 61: judgement
		if c, _ = Compare(even(61, 300), even(after, 300)); c.Like != (after == 55.1) {
			t.Errorf("%g %% after 61 %%: alike is %v", after, c.Like)
		}
	}
	if _, ok := Compare(even(40, 300), decel(5, 6)); ok {
		t.Error("a roller test was set against a decelerometer's")
	}
	c, _ = Compare(even(40, 0), efforts(0, 1, 1))
	if got := c.Says(); got != nil {
		t.Errorf("nothing is known of both, but it says %q", got)
	}
}
