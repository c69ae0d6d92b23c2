package fleet

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// Every section's own steps stand the check that a workshop's do.
func TestDefaultSteps(t *testing.T) {
	for _, s := range Sections {
		steps := DefaultSteps(s)
		if err := ValidateSteps(steps); err != nil {
			t.Errorf("%s: %v", s, err)
		}
		for _, st := range steps {
			if st.Source == "" {
				t.Errorf("%s, %s: it does not say what it rests on", s, st.Key)
			}
		}
		if s.Words() == string(s) {
			t.Errorf("%s has no words", s)
		}
	}
	if got := DefaultSteps("other"); got != nil {
		t.Errorf("an unknown section has %d steps", len(got))
	}
}

func TestCardStepsFor(t *testing.T) {
	steps := map[Section][]Step{}
	for _, s := range Sections {
		steps[s] = DefaultSteps(s)
	}
	keys := func(work ...WorkItem) string {
		var ks []string
		for i, s := range CardSteps(work, map[int]Brake{1: DiscBrake, 2: DrumBrake}, steps, nil) {
			if s.Seq != i+1 {
				t.Errorf("step %d has the number %d", i+1, s.Seq)
			}
			ks = append(ks, s.Key)
		}
		return strings.Join(ks, " ")
	}
	pads := keys(WorkItem{Axle: 1, Item: ItemPads})
	for _, no := range []string{"rotor_off", "hoses", "bled", "drum_off"} {
		if strings.Contains(pads, no) {
			t.Errorf("pads alone: %s in %s", no, pads)
		}
	}
	all := keys(WorkItem{Axle: 1, Item: ItemPads}, WorkItem{Axle: 1, Item: ItemRotors}, WorkItem{Axle: 1, Item: ItemHoses}, WorkItem{Axle: 2, Item: ItemLinings})
	last := -1
	for _, want := range []string{"stands", "rotor_off", "hoses", "pads", "drum_off", "linings", "bled", "topped", "nuts_on", "bedded", TestStep, "final"} {
		at := strings.Index(all, want)
		if at <= last {
			t.Errorf("%s at %d, want it behind %d in %s", want, at, last, all)
		}
		last = at
	}
}

// The limits are those of the steps: WP-05.1 and WP-04.2 (service manuals), 8 to
// 10 strokes (common practice, no source). At the limit a value passes.
func TestOutside(t *testing.T) {
	low, high := 8.0, 10.0
	runout := 0.05
	for _, c := range []struct {
		m    Measure
		x    float64
		want string
	}{
		{Measure{Name: "runout", Unit: "mm", High: &runout}, .05, ""},
		{Measure{Name: "runout", Unit: "mm", High: &runout}, .06, "runout: 0.06 mm is over 0.05 mm"},
		{Measure{Name: "strokes", Low: &low, High: &high}, 7, "strokes: 7 is under 8"},
		{Measure{Name: "strokes", Low: &low, High: &high}, math.NaN(), ""},
		{Measure{Name: "wheel nuts"}, 1e9, ""},
	} {
		if got := c.m.Outside(c.x); got != c.want {
			t.Errorf("%+v, %g: got %q, want %q", c.m, c.x, got, c.want)
		}
	}
}

// The maker's value of the axle goes before that of any axle, and another axle's or
// another measure's is none. Invented values.
func TestMakersValues(t *testing.T) {
	ours, any, own := 1.0, 2.0, 3.0
	wide := MakersValue{Measure: "runout", High: &any}
	second := MakersValue{Measure: "runout", Axle: 2, High: &own, Unit: "1/100 mm"}
	torque := MakersValue{Measure: "torque", High: &own}
	for _, c := range []struct {
		name   string
		makers []MakersValue
		axle   int
		want   string
	}{
		{"none", nil, 2, "1 mm"},
		{"another measure", []MakersValue{torque}, 2, "1 mm"},
		{"another axle", []MakersValue{second}, 1, "1 mm"},
		{"any axle", []MakersValue{torque, wide}, 1, "2 mm"},
		{"the axle after any", []MakersValue{wide, second}, 2, "3 1/100 mm"},
		{"the axle before any", []MakersValue{second, wide}, 2, "3 1/100 mm"},
	} {
		steps := map[Section][]Step{SectionDisc: {{Key: "a", Measures: []Measure{{Name: "runout", Unit: "mm", High: &ours, Makers: true}}}}}
		got := CardSteps([]WorkItem{{Axle: c.axle, Item: ItemPads}}, nil, steps, c.makers)
		if m := got[0].Measures[0]; fmt.Sprint(*m.High, " ", m.Unit) != c.want {
			t.Errorf("%s: got %g %s, want %s", c.name, *m.High, m.Unit, c.want)
		}
		if m := steps[SectionDisc][0].Measures[0]; *m.High != ours {
			t.Errorf("%s: the section's own step has become %+v", c.name, m)
		}
	}
}

func TestOpenOnCard(t *testing.T) {
	high := .05
	step := func(key string, safety bool, e *StepEntry) CardStep {
		return CardStep{Axle: 1, Step: Step{Key: key, Text: key, Safety: safety, Measures: []Measure{{Name: "runout", High: &high}, {Name: "strokes", High: &high, Advice: true}}}, Entry: e}
	}
	done := func(values ...float64) *StepEntry { return &StepEntry{State: StepDone, Values: values} }
	c := Card{Steps: []CardStep{
		step("well", true, done(.05, 3)), // over an advised value only
		step("free", false, nil),
		step("none", true, nil),
		step("skipped", true, &StepEntry{State: StepSkipped}),
		step("over", true, done(.06)),
		step(TestStep, true, nil),
	}}
	got := c.Open()
	want := []string{"axle 1, not entered: none", "axle 1, skipped: skipped", "axle 1, runout: 0.06 is over 0.05: over"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if r := c.Steps[0].Remarks(); len(r) != 1 {
		t.Errorf("got remarks %q", r)
	}
}

func TestValidateStepsRefuses(t *testing.T) {
	low, high := 2.0, 1.0
	for _, c := range []struct {
		name  string
		steps []Step
	}{
		{"none", nil},
		{"no words", []Step{{Key: "a", Text: " "}}},
		{"key twice", []Step{{Key: "a", Text: "x"}, {Key: "a", Text: "y"}}},
		{"unknown item", []Step{{Key: "a", Text: "x", Items: []Item{"wings"}}}},
		{"value without name", []Step{{Key: "a", Text: "x", Measures: []Measure{{}}}}},
		{"least above most", []Step{{Key: "a", Text: "x", Measures: []Measure{{Name: "m", Low: &low, High: &high}}}}},
	} {
		if err := ValidateSteps(c.steps); err == nil {
			t.Errorf("%s was taken", c.name)
		}
	}
}
