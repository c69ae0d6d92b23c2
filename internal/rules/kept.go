package rules

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"brakewear/internal/fleet"
)

// keptJudgement is a judgement as it is kept: with the published values that it
// rests on, as they were.
type keptJudgement struct {
	Set        string      `json:"set"`
	Name       string      `json:"name"` // of the set
	Verdict    Verdict     `json:"verdict"`
	Checks     []Check     `json:"checks"`
	Efficiency float64     `json:"efficiency"`
	Basis      fleet.Basis `json:"basis"`
	Notes      []string    `json:"notes"`
}

// Keep puts the judgement into JSON, to be read by Kept.
func (j *Judgement) Keep() ([]byte, error) {
	return json.Marshal(keptJudgement{j.Set.ID, j.Set.Name, j.Verdict, j.Checks, j.Efficiency, j.Basis, j.Notes})
}

// Kept returns a judgement as it was given then, whatever the rules are now. A
// set that there is no longer has its name and nothing else.
func Kept(b []byte) (*Judgement, error) {
	var k keptJudgement
	if err := json.Unmarshal(b, &k); err != nil {
		return nil, fmt.Errorf("judgement of a brake test: %w", err)
	}
	for i := range k.Checks {
		if c := &k.Checks[i]; c.Bound == nil || c.Bound.Use == nil || c.Bound.Use.Value == nil {
			return nil, fmt.Errorf("judgement of a brake test: check %d names no value", i+1)
		}
	}
	set, err := Find(k.Set)
	if err != nil {
		set = &Set{ID: k.Set, Name: k.Name}
	}
	return &Judgement{Set: set, Verdict: k.Verdict, Checks: k.Checks, Efficiency: k.Efficiency, Basis: k.Basis, Notes: k.Notes}, nil
}

// Judged returns what was said of a test when it was judged; where nothing was
// yet, what the set says of it now.
func (s *Set) Judged(v *fleet.Vehicle, axles []int, t *fleet.BrakeTest) *Judgement {
	if t.Said != nil {
		if j, err := Kept(t.Said.Judgement); err == nil {
			return j
		}
	}
	return s.Judge(v, axles, t)
}

// Facts are what a judgement rests on beside the test: of its vehicle, as far as
// they are known.
type Facts struct {
	Category  fleet.Category  `json:"category"`
	Year      int             `json:"year"` // of manufacture
	FirstUsed *fleet.Date     `json:"first_used"`
	Actuation fleet.Actuation `json:"actuation"`
	GrossKg   float64         `json:"gross_kg"`
	Axles     []int           `json:"axles"`
}

// FactsOf returns the facts of a vehicle with axles of these numbers.
func FactsOf(v *fleet.Vehicle, axles []int) Facts {
	f := Facts{Category: v.Category, Year: v.Year, Actuation: v.Actuation, GrossKg: v.GrossKg, Axles: slices.Sorted(slices.Values(axles))}
	if v.FirstUsed != 0 {
		f.FirstUsed = &v.FirstUsed
	}
	return f
}

// Keep puts the facts into JSON, the same for the same facts.
func (f Facts) Keep() (string, error) {
	b, err := json.Marshal(f)
	return string(b), err
}

// Since says in words what is other than it was.
func (f Facts) Since(was Facts) string {
	var says []string
	add := func(what, now, then string) {
		if now != then {
			says = append(says, fmt.Sprintf("%s %s, before %s", what, cmp.Or(now, "not known"), cmp.Or(then, "not known")))
		}
	}
	year := func(n int) string { return strings.TrimPrefix(fmt.Sprint(n), "0") }
	day := func(d *fleet.Date) string {
		if d == nil {
			return ""
		}
		return d.String()
	}
	mass := func(kg float64) string {
		if kg == 0 {
			return ""
		}
		return Short(kg) + " kg"
	}
	add("category", string(f.Category), string(was.Category))
	add("greatest mass", mass(f.GrossKg), mass(was.GrossKg))
	add("day of first use", day(f.FirstUsed), day(was.FirstUsed))
	add("year", year(f.Year), year(was.Year))
	add("actuation", string(f.Actuation), string(was.Actuation))
	add("axles", strings.Trim(fmt.Sprint(f.Axles), "[]"), strings.Trim(fmt.Sprint(was.Axles), "[]"))
	return strings.Join(says, "; ")
}

// Anew judges a test once more where what is known of its vehicle was corrected
// since it was judged: by the rule set that it was judged by, whichever is picked
// now. nil where the same comes out, or where that set or what was said can no
// longer be read. why says what was corrected.
func Anew(v *fleet.Vehicle, axles []int, t *fleet.BrakeTest) (j *Judgement, why string) {
	facts := FactsOf(v, axles)
	if now, err := facts.Keep(); err != nil || now == t.Said.Facts {
		return nil, ""
	}
	old, err := Kept(t.Said.Judgement)
	if err != nil {
		return nil, ""
	}
	set, err := Find(old.Set.ID)
	if err != nil {
		return nil, ""
	}
	j = set.Judge(v, axles, t)
	a, errA := j.Keep()
	b, errB := old.Keep()
	if errA != nil || errB != nil || bytes.Equal(a, b) {
		return nil, ""
	}
	// What it rested on was not always kept.
	var was Facts
	if t.Said.Facts == "" || json.Unmarshal([]byte(t.Said.Facts), &was) != nil {
		return j, "facts of the vehicle, or values of the rule set, are others than they were"
	}
	return j, facts.Since(was)
}
