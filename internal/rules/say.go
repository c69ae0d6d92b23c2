package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"brakewear/internal/fleet"
)

// String puts the verdict into words. None of them says that a vehicle is
// safe.
func (v Verdict) String() string {
	switch v {
	case Meets:
		return "meets what is required"
	case Unclear:
		return "unclear"
	case Fails:
		return "fails"
	case Dangerous:
		return "dangerous"
	}
	return "not judged"
}

// measures are the words, unit and decimals of what is checked.
var measures = map[What]struct {
	name, unit string
	decimals   int
}{
	Efficiency:       {"efficiency", "%", 1},
	Imbalance:        {"difference across the axle", "%", 1},
	PedalForce:       {"pedal force", "N", 0},
	MeanDeceleration: {"mean deceleration", "m/s²", 2},
	PeakDeceleration: {"peak deceleration", "m/s²", 2},
	StoppingDistance: {"stopping distance", "m", 1},
}

// Name says what was checked: "axle 1, difference across the axle".
func (c *Check) Name() string {
	name := measures[c.What].name
	if c.Axle > 0 {
		name = fmt.Sprintf("axle %d, %s", c.Axle, name)
	}
	return name
}

// Of writes x as a value of w, with its unit: "58.3 %".
func (w What) Of(x float64) string {
	m := measures[w]
	return strconv.FormatFloat(x, 'f', m.decimals, 64) + "\u00a0" + m.unit
}

// Exact writes x as a value of w with as many decimals as it needs, for a
// limit: "50 %".
func (w What) Exact(x float64) string {
	return Short(math.Round(x*1e4)/1e4) + "\u00a0" + measures[w].unit
}

// String puts the check into a sentence, with the value it is held against.
func (c *Check) String() string {
	var b strings.Builder
	name := c.Name()
	v := c.Bound.Use.Value
	fmt.Fprintf(&b, "%s%s: %s, ", strings.ToUpper(name[:1]), name[1:], c.What.Of(c.Measured))
	if c.Bound.Side == Above {
		fmt.Fprintf(&b, "at most %s (%s)", c.What.Exact(c.Required), v.ID)
	} else {
		fmt.Fprintf(&b, "%s required (%s)", c.What.Exact(c.Required), v.ID)
	}
	share := percentOf(math.Abs(c.Margin)) // of what is required, which may itself be in %
	switch {
	case c.Verdict == Dangerous && c.What == Imbalance:
		fmt.Fprintf(&b, ": dangerous, for it is beyond %s.", c.What.Exact(c.Bound.Limit))
	case c.Verdict == Dangerous:
		fmt.Fprintf(&b, ": dangerous, short by %s of that.", share)
	case c.Verdict == Unclear:
		fmt.Fprintf(&b, ": short by %s of that, with wheels locked.", share)
	case c.Verdict == Fails && c.Bound.Side == Above:
		fmt.Fprintf(&b, ": too much by %s of that.", share)
	case c.Verdict == Fails && c.Margin >= 0:
		b.WriteString(": exactly at it, which fails.")
	case c.Verdict == Fails:
		fmt.Fprintf(&b, ": short by %s of that.", share)
	case c.Margin < 0: // passes all the same, as on locks
		fmt.Fprintf(&b, ": short by %s of that, but it passes on locks.", share)
	case c.Bound.Side == Above:
		b.WriteString(": within it.")
	default:
		fmt.Fprintf(&b, ": over by %s of that.", share)
	}
	return b.String()
}

// Summary puts the judgement into one sentence.
func (j *Judgement) Summary() string {
	switch j.Verdict {
	case NotJudged:
		return "Not judged: nothing is required that this test could be held against."
	case Meets:
		return "Meets what is required by the rule set."
	case Unclear:
		return "Unclear: below what is required, but wheels locked."
	}
	var faults []string
	for _, c := range j.Checks {
		if c.Verdict == j.Verdict {
			faults = append(faults, c.Name())
		}
	}
	word := "Fails"
	if j.Verdict == Dangerous {
		word = "Dangerous"
	}
	return word + ": " + strings.Join(faults, "; ") + "."
}

// explain adds what the judgement rests on.
func (j *Judgement) explain(v *fleet.Vehicle, t *fleet.BrakeTest) {
	switch {
	case j.Set.ID == Unset:
		j.note("No rule set is picked for this fleet, so nothing is required of the test.")
	case v.Category == "":
		j.note("The vehicle's category is not known, so the rule set cannot say what is required.")
	}
	switch j.Basis {
	case fleet.ByPeak:
		j.note("The efficiency is that of the peak deceleration; by the mean it is lower.")
	case fleet.ByDistance:
		j.note("The efficiency is reckoned from speed and distance, counted from the first movement of the pedal: the brakes gave more.")
	}
	seen := map[string]bool{}
	for _, c := range j.Checks {
		u := c.Bound.Use
		if u.Value.Known != Read && !seen[u.Value.ID] {
			seen[u.Value.ID] = true
			j.note("%s is known from memory only: check it before you rely on it.", u.Value.ID)
		}
		if note := c.Bound.Doubt(); note != "" && !seen[note] {
			seen[note] = true
			j.notes(note)
		}
	}
	if d := j.Set.typeApproval(v, t); d != "" {
		j.notes(d)
	}
}

// Doubt says which other values may apply instead, and what would tell; ""
// where only one can.
func (b *Bound) Doubt() string {
	if len(b.Others) == 0 {
		return ""
	}
	var others []string
	for _, u := range b.Others {
		if u.Value.Number() == b.Use.Value.Number() {
			continue
		}
		s := fmt.Sprintf("%s %s (%s", u.Value.Text, u.Value.Unit, u.Value.ID)
		if u.Note != "" {
			s += ", " + u.Note
		}
		others = append(others, s+")")
	}
	if others == nil {
		return ""
	}
	why := "What the program keeps does not tell which applies"
	if len(b.Unknown) > 0 {
		why = "Not known of the vehicle: " + strings.Join(b.Unknown, ", ")
	}
	as := b.Use.Value.ID
	if b.Use.Note != "" {
		as += ", " + b.Use.Note
	}
	return fmt.Sprintf("%s. The strictest was taken (%s); it may be %s.", why, as, strings.Join(others, ", or "))
}

func (j *Judgement) note(format string, args ...any) { j.notes(fmt.Sprintf(format, args...)) }
func (j *Judgement) notes(s string)                  { j.Notes = append(j.Notes, s) }

// percentOf writes a share as a percentage with one decimal: 0.2 is "20 %".
func percentOf(share float64) string { return Short(math.Round(share*1000)/10) + "\u00a0%" }

func axleList(ns []int) string {
	words := make([]string, len(ns))
	for i, n := range ns {
		words[i] = "axle " + strconv.Itoa(n)
	}
	return strings.Join(words, ", ")
}
