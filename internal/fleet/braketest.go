package fleet

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Method is how brakes are tested.
type Method string

const (
	Roller        Method = "roller"
	Plate         Method = "plate"
	Decelerometer Method = "decelerometer"
	MeasuredStop  Method = "stop"
)

// Methods in the order they are offered to people.
var Methods = []Method{Roller, Plate, Decelerometer, MeasuredStop}

// ByForce says whether the method measures the force at each wheel.
func (m Method) ByForce() bool { return m == Roller || m == Plate }

// Stage is when a test was done in respect of a job.
type Stage string

const (
	Routine   Stage = "" // of no job
	BeforeJob Stage = "before"
	AfterJob  Stage = "after"
)

// Stages in the order of the day.
var Stages = []Stage{BeforeJob, Routine, AfterJob}

// BrakeSystems in the order they are offered to people.
var BrakeSystems = []BrakeSystem{ServiceBrake, SecondaryBrake, ParkingBrake}

// BrakeTest is one test of a vehicle's brakes. A value that was not measured
// is 0.
type BrakeTest struct {
	ID         int64
	VehicleID  int64
	Date       Date
	Method     Method
	System     BrakeSystem
	Stage      Stage
	OdometerKm *float64

	// Roller and plate.
	WeightKg float64 // what the efficiency is of: by most rules not the weight on the rollers
	Wheels   []WheelEffort
	// ForceUnit is the unit in which the forces were written: N, kN, kgf, lbf.
	ForceUnit string

	// Decelerometer, m/s².
	Mean, Peak float64

	// Measured stop.
	SpeedKmh  float64 // when the pedal first moved
	DistanceM float64 // from there to standstill
	// BeginM and EndM are the distances from there at which the speed had
	// fallen to 0.8 and to 0.1 of it.
	BeginM, EndM float64

	PedalN     float64
	Technician string
	Note       string

	UploadID int64
	Line     int    // first line of the upload's file; 0 for a form
	Lines    int    // how many lines of it tell of the test
	Aside    *Aside // it no longer counts; nil for what counts
	Said     *Said  // by the rules in force then; nil: not judged yet
}

// Said is what was said of a brake test when it was judged.
type Said struct {
	Number    int    // how often it had been judged before
	RuleSet   string // id
	Verdict   string
	Judgement []byte // JSON, read by the rules
	Facts     string // of the vehicle, that it rests on: JSON of the rules; blank = not kept
	Why       string // it was judged anew; blank the first time
	At        time.Time
}

// WheelEffort is the highest braking force at one wheel.
type WheelEffort struct {
	Axle   int // 1 = front
	Side   Side
	N      float64
	Locked bool // the wheel stopped on the rollers, so it could have given more
}

// Bounds of what a brake test can believably measure: the heaviest road trains,
// the hardest stop of a racing car, the strongest leg.
const (
	maxTestKg    = 250_000
	maxEffortN   = 150_000
	maxDecel     = 20
	maxTestKmh   = 200
	maxStopM     = 2_000
	maxPedalN    = 3_000
	maxTestShare = 150 // efficiency, %: beyond it a unit is wrong
)

// Validate reports the first fault of t in words for the person entering it.
func (t *BrakeTest) Validate() error {
	within := func(x, most float64) bool { return x >= 0 && x <= most }
	switch {
	case !slices.Contains(Methods, t.Method):
		return Invalidf("method %q: want roller, plate, decelerometer or stop", t.Method)
	case !slices.Contains(BrakeSystems, t.System):
		return Invalidf("brake %q: want service, secondary or parking", t.System)
	case !slices.Contains(Stages, t.Stage):
		return Invalidf("stage %q: want before, after, or blank for a test of no job", t.Stage)
	case !within(t.WeightKg, maxTestKg):
		return Invalidf("weight %g kg: want 0 to %d kg", t.WeightKg, maxTestKg)
	case !within(t.Mean, maxDecel) || !within(t.Peak, maxDecel):
		return Invalidf("deceleration: mean %g and peak %g m/s²: want 0 to %d; is the unit right?", t.Mean, t.Peak, maxDecel)
	case t.Peak > 0 && t.Mean > t.Peak:
		return Invalidf("deceleration: the mean of %.2f m/s² is above the peak of %.2f: are they exchanged?", t.Mean, t.Peak)
	case !within(t.SpeedKmh, maxTestKmh):
		return Invalidf("speed %g km/h: want 0 to %d", t.SpeedKmh, maxTestKmh)
	case !within(t.DistanceM, maxStopM) || !within(t.BeginM, maxStopM) || !within(t.EndM, maxStopM):
		return Invalidf("distance %g m: want 0 to %d", max(t.DistanceM, t.BeginM, t.EndM), maxStopM)
	case !within(t.PedalN, maxPedalN):
		return Invalidf("pedal force %.0f N: want 0 to %d; is the unit right?", t.PedalN, maxPedalN)
	}
	if err := validOdometer(t.OdometerKm); err != nil {
		return err
	}
	if err := t.validMethod(); err != nil {
		return err
	}
	if e := t.Efficiency(); e > maxTestShare {
		return Invalidf("an efficiency of %.0f %% cannot be: check the units, and that the weight is the whole vehicle's", e)
	}
	return nil
}

// validMethod reports a test without the values of its method.
func (t *BrakeTest) validMethod() error {
	switch t.Method {
	case Decelerometer:
		if t.Mean == 0 && t.Peak == 0 {
			return Invalidf("a decelerometer test needs a mean or a peak deceleration")
		}
	case MeasuredStop:
		switch {
		case t.SpeedKmh == 0:
			return Invalidf("a measured stop needs the speed at which braking began")
		case (t.BeginM > 0) != (t.EndM > 0):
			return Invalidf("a measured stop needs both distances, at 0.8 and at 0.1 of the speed, or neither")
		case t.EndM > 0 && t.EndM <= t.BeginM:
			return Invalidf("the distance at 0.1 of the speed, %g m, must be above that at 0.8, %g m", t.EndM, t.BeginM)
		case t.DistanceM > 0 && t.EndM > t.DistanceM:
			return Invalidf("the distance at 0.1 of the speed, %g m, is beyond the whole stop of %g m", t.EndM, t.DistanceM)
		case t.DistanceM == 0 && t.EndM == 0 && t.Mean == 0:
			return Invalidf("a measured stop needs its distance")
		}
	default:
		return t.validWheels()
	}
	if len(t.Wheels) > 0 {
		return Invalidf("forces at the wheels are of a roller or plate test, not of a %s", t.Method)
	}
	return nil
}

func (t *BrakeTest) validWheels() error {
	if len(t.Wheels) == 0 {
		return Invalidf("a %s test needs the braking force of each wheel", t.Method)
	}
	seen := map[WheelEffort]bool{}
	for _, w := range t.Wheels {
		at := WheelEffort{Axle: w.Axle, Side: w.Side}
		switch {
		case w.Axle < 1 || w.Axle > MaxAxle:
			return Invalidf("axle %d: want 1 (front) to %d", w.Axle, MaxAxle)
		case w.Side != Left && w.Side != Right:
			return Invalidf("axle %d: the force of which side? want left or right", w.Axle)
		case !(w.N >= 0) || w.N > maxEffortN:
			return Invalidf("axle %d %s: %.0f N: want 0 to %d; is the unit right?", w.Axle, w.Side, w.N, maxEffortN)
		case seen[at]:
			return Invalidf("axle %d %s: two forces for one wheel", w.Axle, w.Side)
		}
		seen[at] = true
	}
	return nil
}

// Gravity is standard gravity in m/s² (3rd CGPM, 1901).
const Gravity = 9.80665

// Efficiency returns the braking force as % of the weight, or what the
// deceleration stands for; 0 when it cannot be told. It is exact in g: where a
// manual reckons with g = 10, its figures come out 2 % lower here.
//
//	100 · sum of efforts [N] / (weight [kg] · g)
func (t *BrakeTest) Efficiency() float64 {
	if t.Method.ByForce() {
		if t.WeightKg == 0 {
			return 0
		}
		sum := 0.0
		for _, w := range t.Wheels {
			sum += w.N
		}
		return 100 * sum / (t.WeightKg * Gravity)
	}
	a, _ := t.Deceleration()
	return EfficiencyOf(a)
}

// EfficiencyOf returns the efficiency in % that a deceleration in m/s² shows.
func EfficiencyOf(a float64) float64 { return 100 * a / Gravity }

// DecelerationOf returns the deceleration in m/s² of an efficiency in %.
func DecelerationOf(percent float64) float64 { return percent / 100 * Gravity }

// Basis says how a deceleration was found.
type Basis string

const (
	ByMean     Basis = "mean deceleration measured"
	ByPeak     Basis = "peak deceleration only"
	ByMFDD     Basis = "mean fully developed deceleration"
	ByDistance Basis = "speed and stopping distance"
	ByForces   Basis = "forces at the wheels"
)

// Deceleration returns the mean deceleration in m/s² and how it was found, 0
// when it cannot be told.
func (t *BrakeTest) Deceleration() (a float64, by Basis) {
	switch {
	case t.Method.ByForce():
		return DecelerationOf(t.Efficiency()), ByForces
	case t.Method == MeasuredStop && t.EndM > 0:
		return MFDD(t.SpeedKmh, t.BeginM, t.EndM), ByMFDD
	case t.Mean > 0:
		return t.Mean, ByMean
	case t.Method == MeasuredStop && t.DistanceM > 0:
		return StopDeceleration(t.SpeedKmh, t.DistanceM), ByDistance
	}
	return t.Peak, ByPeak
}

// MFDD returns the mean fully developed deceleration in m/s² of a stop from v
// km/h, between the distances sb and se in m at which the speed was 0.8 v and
// 0.1 v (UN Regulation 13 Annex 4, 1.1.2).
//
//	(vb² − ve²) / (25.92 (se − sb))
func MFDD(v, sb, se float64) float64 {
	vb, ve := 0.8*v, 0.1*v
	return (vb*vb - ve*ve) / (25.92 * (se - sb))
}

// StopDeceleration returns the even deceleration in m/s² that stops from v
// km/h within s m. Measured from the first movement of the pedal, s is longer
// than the braking itself, so that this is less than the brakes gave.
//
//	v² / (25.92 s)
func StopDeceleration(v, s float64) float64 { return v * v / (25.92 * s) }

// StopDistance returns the distance in m from v km/h at an even a m/s².
func StopDistance(v, a float64) float64 { return v * v / (25.92 * a) }

// Across is the two wheels of one axle against each other.
type Across struct {
	Axle        int
	Left, Right float64 // N
	Percent     float64 // difference, of the higher
	// LowerLocked says that the wheel of the lower effort had locked, so that
	// the difference is not its brake's.
	LowerLocked bool
}

// Imbalances returns the axles of which both wheels were measured, by number.
//
//	100 · (higher − lower) / higher
func (t *BrakeTest) Imbalances() []Across {
	byAxle := map[int]map[Side]WheelEffort{}
	var numbers []int
	for _, w := range t.Wheels {
		if byAxle[w.Axle] == nil {
			byAxle[w.Axle] = map[Side]WheelEffort{}
			numbers = append(numbers, w.Axle)
		}
		byAxle[w.Axle][w.Side] = w
	}
	slices.Sort(numbers)
	var out []Across
	for _, n := range numbers {
		l, okL := byAxle[n][Left]
		r, okR := byAxle[n][Right]
		if !okL || !okR {
			continue
		}
		a := Across{Axle: n, Left: l.N, Right: r.N, Percent: ImbalanceOf(l.N, r.N)}
		a.LowerLocked = l.N < r.N && l.Locked || r.N < l.N && r.Locked
		out = append(out, a)
	}
	return out
}

// ImbalanceOf returns the difference of two efforts in % of the higher; 0 when
// neither brakes.
func ImbalanceOf(a, b float64) float64 {
	hi, lo := math.Max(a, b), math.Min(a, b)
	if hi == 0 {
		return 0
	}
	return 100 * (hi - lo) / hi
}

// LockedShare returns how many of the wheels measured locked, in %.
func (t *BrakeTest) LockedShare() float64 {
	if len(t.Wheels) == 0 {
		return 0
	}
	n := 0
	for _, w := range t.Wheels {
		if w.Locked {
			n++
		}
	}
	return 100 * float64(n) / float64(len(t.Wheels))
}

// PerHundredN returns the efficiency in % that 100 N on the pedal gave, 0 when
// it cannot be told.
func (t *BrakeTest) PerHundredN() float64 {
	if t.PedalN == 0 {
		return 0
	}
	return 100 * t.Efficiency() / t.PedalN
}

// String names the test: "roller test of 3 Mar 2026".
func (t *BrakeTest) String() string {
	return fmt.Sprintf("%s test of %s", t.Method, t.Date.Time().Format("2 Jan 2006"))
}
