package rules

import (
	"fmt"
	"math"

	"brakewear/internal/fleet"
)

// alikeWithin is how near the efficiencies of two tests must be, as a share of
// the higher, for their pedal forces to be those of a like stop. Judgement: a
// person stops again within about that when asked to.
const alikeWithin = 0.1

// Change is a test set against an earlier one.
type Change struct {
	Before, After *fleet.BrakeTest
	// Like says that the two are of a like stop: the same method and brake,
	// and about the same efficiency.
	Like bool
	// Efficiency is the rise of the efficiency in % points; NaN when it is not
	// known of both.
	Efficiency float64
	// Pedal is the change of the pedal force, −0.465 for 46.5 % less; NaN when
	// it is not known of both.
	Pedal float64
	// PerBefore and PerAfter are the efficiencies in % by 100 N of pedal force;
	// 0 = not known.
	PerBefore, PerAfter float64
}

// Compare sets after against before; ok is false for tests that cannot be: of
// different methods or brakes.
func Compare(before, after *fleet.BrakeTest) (c Change, ok bool) {
	if before.Method != after.Method || before.System != after.System {
		return c, false
	}
	c = Change{
		Before:     before,
		After:      after,
		Efficiency: math.NaN(),
		Pedal:      math.NaN(),
		PerBefore:  before.PerHundredN(),
		PerAfter:   after.PerHundredN(),
	}
	b, a := before.Efficiency(), after.Efficiency()
	if a > 0 && b > 0 {
		c.Efficiency = a - b
		c.Like = math.Abs(a-b) <= alikeWithin*math.Max(a, b)
	}
	if before.PedalN > 0 && after.PedalN > 0 {
		c.Pedal = after.PedalN/before.PedalN - 1
	}
	return c, true
}

// Says puts the change into sentences.
func (c *Change) Says() (says []string) {
	add := func(format string, args ...any) { says = append(says, fmt.Sprintf(format, args...)) }
	now, then := "now", "last time"
	if c.Before.Stage == fleet.BeforeJob && c.After.Stage == fleet.AfterJob {
		now, then = "after", "before"
	}
	if !math.IsNaN(c.Efficiency) {
		word := "up"
		if c.Efficiency < 0 {
			word = "down"
		}
		add("Efficiency %s %s, %s %s: %s %.1f points.", Efficiency.Of(c.After.Efficiency()), now, Efficiency.Of(c.Before.Efficiency()), then,
			word, math.Abs(c.Efficiency))
	}
	if !math.IsNaN(c.Pedal) {
		word := "more"
		if c.Pedal < 0 {
			word = "less"
		}
		stop := "for a like stop"
		if !c.Like {
			stop = "but not for a like stop, so compare by 100 N"
		}
		add("Pedal force %.0f N %s, %.0f N %s: %s %s, %s.", c.After.PedalN, now, c.Before.PedalN, then, percentOf(math.Abs(c.Pedal)), word, stop)
	}
	if c.PerBefore > 0 && c.PerAfter > 0 {
		add("Each 100 N on the pedal gave %.1f %% %s, %.1f %% %s.", c.PerAfter, now, c.PerBefore, then)
	}
	return says
}
