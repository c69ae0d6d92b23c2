package rules

import (
	"encoding/json"
	"fmt"

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
