package rules

import (
	"math"
	"slices"

	"brakewear/internal/fleet"
)

// Verdict is what a check of a brake test comes to, the worst last.
type Verdict int

const (
	NotJudged Verdict = iota // nothing to hold it against
	Meets
	Unclear // below what is required, but wheels locked
	Fails
	Dangerous
)

// Check is one value of a test against what is required.
type Check struct {
	What     What
	Axle     int // of an imbalance; 0 = the vehicle
	Measured float64
	Required float64 // the limit as it holds for this test
	Bound    *Bound
	Verdict  Verdict
	// Margin is measured/required − 1 of what must be reached, and
	// 1 − measured/required of what must not be exceeded: above 0 is on the
	// right side.
	Margin float64
}

// Judgement is a brake test held against a rule set.
type Judgement struct {
	Set        *Set
	Verdict    Verdict // the worst of the checks
	Checks     []Check
	Efficiency float64 // %; 0 = cannot be told
	Basis      fleet.Basis
	// Notes are what a person should know of it, a sentence each.
	Notes []string
}

// prescribedShare is how near to the prescribed speed a stop must begin for
// its distance to count (UN Regulation 13 Annex 4, 1.1.2: 98 %).
const prescribedShare = 0.98

// Judge holds a test of v's brakes against the set. axles are the vehicle's,
// by number, as far as they are known: a roller test that leaves one out says
// nothing of the whole.
func (s *Set) Judge(v *fleet.Vehicle, axles []int, t *fleet.BrakeTest) *Judgement {
	j := &Judgement{Set: s}
	missed := missedAxles(axles, t)
	switch {
	case len(missed) > 0:
		j.note("No force is recorded for %s, so the efficiency of the whole vehicle cannot be told.", axleList(missed))
	case t.Method.ByForce() && t.WeightKg == 0:
		j.note("No weight is recorded, so the efficiency cannot be told.")
	default:
		j.Efficiency = t.Efficiency()
		_, j.Basis = t.Deceleration()
		s.judgeEffort(j, v, t)
	}
	s.judgeAcross(j, v, t)
	if b := s.Bound(v, t.System, PedalForce); b != nil && t.PedalN > 0 {
		j.check(Check{What: PedalForce, Measured: t.PedalN, Required: b.Limit, Bound: b})
	}
	for _, c := range j.Checks {
		j.Verdict = max(j.Verdict, c.Verdict)
	}
	j.explain(v, t)
	return j
}

// judgeEffort checks how strongly the whole vehicle brakes.
func (s *Set) judgeEffort(j *Judgement, v *fleet.Vehicle, t *fleet.BrakeTest) {
	a, by := t.Deceleration()
	byEfficiency := s.Bound(v, t.System, Efficiency)
	byMean := s.Bound(v, t.System, MeanDeceleration)
	distance := s.judgeDistance(j, v, t)
	switch {
	case distance && by == fleet.ByDistance:
		// The same measurement a second time, with the time the brakes take
		// to come on counted against it.
	case by == fleet.ByPeak && byMean != nil:
		j.note("Only the peak deceleration is recorded: the mean, which is required, is not known.")
	case byMean != nil && (!t.Method.ByForce() || byEfficiency == nil):
		j.check(Check{What: MeanDeceleration, Measured: a, Required: byMean.Limit, Bound: byMean})
	case byEfficiency != nil:
		j.checkEfficiency(byEfficiency, s.Bound(v, t.System, EfficiencyDanger), s.Bound(v, t.System, PassesOnLocks), t)
	}
	if b := s.Bound(v, t.System, PeakDeceleration); b != nil && t.Peak > 0 {
		j.check(Check{What: PeakDeceleration, Measured: t.Peak, Required: b.Limit, Bound: b})
	}
}

// checkEfficiency checks the efficiency, with what locked wheels mean for it.
func (j *Judgement) checkEfficiency(least, danger, locks *Bound, t *fleet.BrakeTest) {
	c := Check{What: Efficiency, Measured: j.Efficiency, Required: least.Limit, Bound: least}
	j.check(c)
	last := &j.Checks[len(j.Checks)-1]
	locked := t.LockedShare()
	switch {
	case last.Verdict == Meets:
	case locks != nil && locks.Fails(locked): // more than the share that passes
		last.Verdict = Meets
		j.note("It passes on locks: %s %% of the wheels locked, and more than %s %% is enough (%s).",
			Short(math.Round(locked)), Short(locks.Limit), locks.Use.Value.ID)
	case locked > 0:
		last.Verdict = Unclear
		j.note("Wheels locked, so they could have given more: an efficiency below what is required is then not by itself a failed brake. Test again with more load.")
	case danger != nil && danger.Fails(100*j.Efficiency/least.Limit):
		last.Verdict = Dangerous
	}
}

// judgeDistance checks a stopping distance where the set gives one, and says
// whether it did.
func (s *Set) judgeDistance(j *Judgement, v *fleet.Vehicle, t *fleet.BrakeTest) bool {
	b := s.Bound(v, t.System, StoppingDistance)
	if b == nil || t.Method != fleet.MeasuredStop || t.DistanceM == 0 {
		return false
	}
	from := b.Use.SpeedKmh
	if t.SpeedKmh < prescribedShare*from {
		j.note("The stopping distance is required from %s km/h; this stop began at %s, too slow to be held against it.", Short(math.Round(from*10)/10), Short(math.Round(t.SpeedKmh*10)/10))
		return false
	}
	measured := t.DistanceM
	if t.SpeedKmh > from {
		// From a higher speed the same brakes need a distance that grows with
		// its square.
		measured *= from * from / (t.SpeedKmh * t.SpeedKmh)
	}
	j.check(Check{What: StoppingDistance, Measured: measured, Required: b.Limit, Bound: b})
	return true
}

// judgeAcross checks the two wheels of each axle against each other.
func (s *Set) judgeAcross(j *Judgement, v *fleet.Vehicle, t *fleet.BrakeTest) {
	for _, a := range t.Imbalances() {
		fails, danger := s.Across(v, t.System, a.Axle)
		switch {
		case fails == nil:
			continue
		case a.LowerLocked:
			j.note("Axle %d: the wheel of the lower force had locked, so the difference of %s %% is not held against it (UK-14).", a.Axle, Short(math.Round(a.Percent*10)/10))
			continue
		}
		j.check(Check{What: Imbalance, Axle: a.Axle, Measured: a.Percent, Required: fails.Limit, Bound: fails})
		if danger != nil && danger.Fails(a.Percent) {
			last := &j.Checks[len(j.Checks)-1]
			last.Verdict, last.Bound = Dangerous, danger
		}
	}
}

// check adds c with its verdict and margin.
func (j *Judgement) check(c Check) {
	c.Verdict = Meets
	if c.Bound.Side.Fails(c.Measured, c.Required) {
		c.Verdict = Fails
	}
	c.Margin = c.Measured/c.Required - 1
	if c.Bound.Side == Above {
		c.Margin = 1 - c.Measured/c.Required
	}
	j.Checks = append(j.Checks, c)
}

// missedAxles returns the axles of which a test by force has not both wheels.
// A parking or secondary brake need not work on all of them.
func missedAxles(axles []int, t *fleet.BrakeTest) (missed []int) {
	if !t.Method.ByForce() {
		return nil
	}
	if t.System != fleet.ServiceBrake {
		axles = nil
	}
	var both []int
	for _, a := range t.Imbalances() {
		both = append(both, a.Axle)
	}
	for _, n := range axles {
		if !slices.Contains(both, n) {
			missed = append(missed, n)
		}
	}
	for _, w := range t.Wheels { // one wheel of an axle that is not known
		if !slices.Contains(both, w.Axle) && !slices.Contains(missed, w.Axle) {
			missed = append(missed, w.Axle)
		}
	}
	slices.Sort(missed)
	return missed
}
