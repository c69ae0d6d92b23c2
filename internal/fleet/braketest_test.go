package fleet

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// roller returns a test of the service brake with the efforts in N of the
// axles from the front, left before right.
func roller(kg float64, efforts ...float64) *BrakeTest {
	t := &BrakeTest{Method: Roller, System: ServiceBrake, WeightKg: kg}
	for i, n := range efforts {
		t.Wheels = append(t.Wheels, WheelEffort{Axle: i/2 + 1, Side: []Side{Left, Right}[i%2], N: n})
	}
	return t
}

// TestBrakeFigures checks formulas by the check vectors (CV) that go with the
// published values; the formulas' sources are in their comments.
func TestBrakeFigures(t *testing.T) {
	const ft = 0.3048
	mph := func(v float64) float64 { return v * 1.609344 }
	for _, c := range []struct {
		name      string
		got, want float64
		within    float64 // half of the last digit given
	}{
		{"CV-01 efficiency", roller(1500, 2700, 2600, 1500, 1450).Efficiency(), 56.08, 0.005},
		{"CV-03 imbalance", ImbalanceOf(2700, 2600), 3.70, 0.005},
		{"CV-04 imbalance", ImbalanceOf(1000, 700), 30, 1e-12},
		{"CV-05 imbalance", ImbalanceOf(499, 1000), 50.10, 1e-9},
		{"CV-06.14 ft/s2", DecelerationOf(43.5) / ft, 13.996, 0.0005},
		{"CV-06.17 ft/s2", DecelerationOf(52.8) / ft, 16.988, 0.0005},
		{"CV-06.21 ft/s2", DecelerationOf(65.2) / ft, 20.977, 0.0005},
		{"CV-07 ft", StopDistance(mph(20), 14*ft) / ft, 30.73, 0.005},
		{"CV-08 m", StopDistance(35, 2.8), 16.879, 0.0005},
		{"CV-09 m", StopDistance(35, 3.8), 12.437, 0.0005},
		{"CV-13 MFDD", MFDD(60, 12, 40), 3.1250, 0.00005},
		{"CV-14 dm of v²/130", StopDeceleration(60, 60*60/130.0), 5.015, 0.0005},
		{"CV-14 dm of v²/150", StopDeceleration(80, 80*80/150.0), 5.787, 0.0005},
		{"CV-14 dm of 2v²/115", StopDeceleration(40, 2*40*40/115.0), 2.218, 0.0005},
		{"CV-18.10 ft/s2", StopDeceleration(mph(10), 9.3*ft) / ft, 11.57, 0.005},
		{"CV-18.15 ft/s2", StopDeceleration(mph(15), 20.8*ft) / ft, 11.63, 0.005},
		{"CV-18.20 ft/s2", StopDeceleration(mph(20), 37.0*ft) / ft, 11.63, 0.005},
		{"CV-18.25 ft/s2", StopDeceleration(mph(25), 58.0*ft) / ft, 11.59, 0.005},
		{"CV-18.30 ft/s2", StopDeceleration(mph(30), 83.3*ft) / ft, 11.62, 0.005},
		{"CV-19 exact g", roller(1000, 2900, 2900).Efficiency(), 59.14, 0.005},
		{"PH-01, PH-02", EfficiencyOf(DecelerationOf(58)), 58, 1e-12},
		{"neither wheel brakes", ImbalanceOf(0, 0), 0, 0},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s: got %.5f, want %g within %g", c.name, c.got, c.want, c.within)
		}
	}
}

// TestKgf: UK test efforts are in kgf, so g cancels (trap 4 of the published
// values): 580 kgf on 1000 kg is 58 %.
func TestKgf(t *testing.T) {
	if got := roller(1000, 290*Gravity, 290*Gravity).Efficiency(); math.Abs(got-58) > 1e-9 {
		t.Errorf("got %g %%, want 58", got)
	}
}

// TestDeceleration wants the best of what was measured, and what it was.
// Invented values.
func TestDeceleration(t *testing.T) {
	for _, c := range []struct {
		test BrakeTest
		want float64
		by   Basis
	}{
		{BrakeTest{Method: Decelerometer, Mean: 5.2, Peak: 7}, 5.2, ByMean},
		{BrakeTest{Method: Decelerometer, Peak: 7}, 7, ByPeak},
		{BrakeTest{Method: MeasuredStop, SpeedKmh: 60, DistanceM: 45, BeginM: 12, EndM: 40}, 3.125, ByMFDD},
		{BrakeTest{Method: MeasuredStop, SpeedKmh: 60, DistanceM: 45, Mean: 3.3}, 3.3, ByMean},
		{BrakeTest{Method: MeasuredStop, SpeedKmh: 36, DistanceM: 10}, 5, ByDistance}, // (10 m/s)² / (2 · 10 m)
		{*roller(1000, 2451.6625, 2451.6625), 4.903325, ByForces},
	} {
		got, by := c.test.Deceleration()
		if math.Abs(got-c.want) > 1e-9 || by != c.by {
			t.Errorf("%s: got %g by %s, want %g by %s", c.test.Method, got, by, c.want, c.by)
		}
	}
}

// TestImbalances: an axle with one wheel measured has none, and a lower wheel
// that locked is marked (MOT change notice Dec 2013).
func TestImbalances(t *testing.T) {
	b := roller(1500, 2000, 1000, 900, 1000, 500)
	b.Wheels[1].Locked = true // axle 1 right, the lower
	b.Wheels[3].Locked = true // axle 2 right, the higher
	slices.Reverse(b.Wheels)
	got := b.Imbalances()
	want := []Across{
		{Axle: 1, Left: 2000, Right: 1000, Percent: 50, LowerLocked: true},
		{Axle: 2, Left: 900, Right: 1000, Percent: 10},
	}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %+v, want %+v", got, want)
	}
	alike := roller(1500, 900, 900, 800, 900)
	alike.Wheels[0].Locked, alike.Wheels[2].Locked = true, true
	if got := alike.Imbalances(); got[0].LowerLocked || !got[1].LowerLocked {
		t.Errorf("got %+v, want the lower locked on axle 2 only", got)
	}
	if got := b.LockedShare(); got != 40 {
		t.Errorf("locked: got %g %%, want 40", got)
	}
}

func TestBrakeTestValidate(t *testing.T) {
	good := func() *BrakeTest { return roller(1500, 2700, 2600) }
	if err := good().Validate(); err != nil {
		t.Fatal(err)
	}
	stop := func(change func(*BrakeTest)) func(*BrakeTest) {
		return func(b *BrakeTest) {
			*b = BrakeTest{Method: MeasuredStop, System: ServiceBrake, SpeedKmh: 60, DistanceM: 45}
			change(b)
		}
	}
	for _, c := range []struct {
		name   string
		change func(*BrakeTest)
		want   string // in the message; "" = good
	}{
		{"no method", func(b *BrakeTest) { b.Method = "" }, "method"},
		{"no system", func(b *BrakeTest) { b.System = "" }, "brake"},
		{"stage", func(b *BrakeTest) { b.Stage = "during" }, "stage"},
		{"kN written as N", func(b *BrakeTest) { b.WeightKg = 1.5 }, "efficiency"},
		{"no wheels", func(b *BrakeTest) { b.Wheels = nil }, "force of each wheel"},
		{"no weight: kept, the difference across counts", func(b *BrakeTest) { b.WeightKg = 0 }, ""},
		{"no side", func(b *BrakeTest) { b.Wheels[0].Side = "" }, "side"},
		{"twice", func(b *BrakeTest) { b.Wheels[1].Side = Left }, "two forces"},
		{"axle", func(b *BrakeTest) { b.Wheels[0].Axle = 13 }, "axle 13"},
		{"negative", func(b *BrakeTest) { b.Wheels[0].N = -1 }, "-1 N"},
		{"not a number", func(b *BrakeTest) { b.PedalN = math.NaN() }, "pedal force"},
		{"pedal", func(b *BrakeTest) { b.PedalN = 50_000 }, "pedal force"},
		{"decelerometer without", func(b *BrakeTest) { *b = BrakeTest{Method: Decelerometer, System: ServiceBrake} }, "mean or a peak"},
		{"exchanged", func(b *BrakeTest) { *b = BrakeTest{Method: Decelerometer, System: ServiceBrake, Mean: 7, Peak: 5} }, "exchanged"},
		{"g as m/s2 by a hundred", func(b *BrakeTest) { *b = BrakeTest{Method: Decelerometer, System: ServiceBrake, Mean: 58} }, "unit"},
		{"wheels of a decelerometer", func(b *BrakeTest) { b.Method, b.Mean = Decelerometer, 5 }, "roller or plate"},
		{"stop", stop(func(*BrakeTest) {}), ""},
		{"no speed", stop(func(b *BrakeTest) { b.SpeedKmh = 0 }), "speed"},
		{"no distance", stop(func(b *BrakeTest) { b.DistanceM = 0 }), "distance"},
		{"one of two", stop(func(b *BrakeTest) { b.BeginM = 12 }), "neither"},
		{"backwards", stop(func(b *BrakeTest) { b.BeginM, b.EndM = 40, 12 }), "above that at 0.8"},
		{"beyond the stop", stop(func(b *BrakeTest) { b.BeginM, b.EndM = 12, 60 }), "beyond the whole stop"},
		{"the two alike", stop(func(b *BrakeTest) { b.BeginM, b.EndM = 40, 40 }), "above that at 0.8"},
		{"up to the stop's end", stop(func(b *BrakeTest) { b.BeginM, b.EndM = 12, 45 }), ""},
		{"two distances and not the whole", stop(func(b *BrakeTest) { b.BeginM, b.EndM, b.DistanceM = 12, 40, 0 }), ""},
		{"a mean and no distance", stop(func(b *BrakeTest) { b.Mean, b.DistanceM = 5, 0 }), ""},
		{"a long stop", stop(func(b *BrakeTest) { b.DistanceM = maxStopM + 1 }), "distance"},
		{"a long way to its begin", stop(func(b *BrakeTest) { b.BeginM, b.EndM = maxStopM+1, maxStopM+2 }), "distance"},
		{"only a peak", func(b *BrakeTest) { *b = BrakeTest{Method: Decelerometer, System: ServiceBrake, Peak: 7} }, ""},
		{"only a mean", func(b *BrakeTest) { *b = BrakeTest{Method: Decelerometer, System: ServiceBrake, Mean: 5} }, ""},
		{"a peak beyond any", func(b *BrakeTest) { *b = BrakeTest{Method: Decelerometer, System: ServiceBrake, Peak: 21} }, "unit"},
		{"axle 0", func(b *BrakeTest) { b.Wheels[0].Axle = 0 }, "axle 0"},
		{"a wheel that does not brake", func(b *BrakeTest) { b.Wheels[0].N = 0 }, ""},
		{"a wheel of kN by a thousand twice", func(b *BrakeTest) { b.WeightKg, b.Wheels[0].N = 0, maxEffortN+1 }, "unit"},
		{"odometer", func(b *BrakeTest) { b.OdometerKm = new(-1.0) }, "odometer"},
	} {
		b := good()
		c.change(b)
		err := b.Validate()
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: got %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: got %v, want a message with %q", c.name, err, c.want)
		}
	}
}

func TestPerHundredN(t *testing.T) {
	b := roller(1000, 0.3*1000*Gravity, 0.3*1000*Gravity) // 60 %
	if got := b.PerHundredN(); got != 0 {
		t.Errorf("without a pedal force: got %g", got)
	}
	b.PedalN = 300
	if got := b.PerHundredN(); math.Abs(got-20) > 1e-9 {
		t.Errorf("got %g %%, want 20 per 100 N", got)
	}
}
