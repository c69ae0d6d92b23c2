package fleet

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Section is a part of a job card whose steps a workshop keeps.
type Section string

const (
	SectionStart      Section = "start"      // before anything is taken apart
	SectionDisc       Section = "disc"       // an axle with disc brakes
	SectionDrum       Section = "drum"       // an axle with drum brakes
	SectionHydraulics Section = "hydraulics" // of the vehicle, where its fluid was let out
	SectionFinish     Section = "finish"     // before the vehicle goes
)

// Sections in the order the work is done.
var Sections = []Section{SectionStart, SectionDisc, SectionDrum, SectionHydraulics, SectionFinish}

// Words names the section.
func (s Section) Words() string {
	switch s {
	case SectionStart:
		return "Before anything is taken apart"
	case SectionDisc:
		return "An axle with disc brakes"
	case SectionDrum:
		return "An axle with drum brakes"
	case SectionHydraulics:
		return "Hydraulics"
	case SectionFinish:
		return "Before the vehicle goes"
	}
	return string(s)
}

// Step is one step of a section, as a workshop keeps it.
type Step struct {
	// Key names the step to the program and stays when its words are edited.
	Key  string `json:"key"`
	Text string `json:"text"`
	// Items: only where one of these is done to the axle, or to the vehicle;
	// none = always.
	Items []Item `json:"items,omitempty"`
	// Safety: while it is failed, skipped or open the card cannot be passed.
	Safety   bool      `json:"safety,omitempty"`
	Measures []Measure `json:"measures,omitempty"`
	Source   string    `json:"source,omitempty"` // what the step, or its check values, rest on
}

// Measure is a value to note in a step.
type Measure struct {
	Name string `json:"name"`
	Unit string `json:"unit,omitempty"`
	// Check values; nil = none on that side.
	Low  *float64 `json:"low,omitempty"`
	High *float64 `json:"high,omitempty"`
	// Makers: the check values are the vehicle maker's, kept by the workshop per
	// make and model.
	Makers bool `json:"makers,omitempty"`
	// Advice: a value outside is a remark, not a fault.
	Advice bool `json:"advice,omitempty"`
}

// Outside says in words that x lies outside the check values; "" when it does
// not, or there are none.
func (m *Measure) Outside(x float64) string {
	switch {
	case m.High != nil && x > *m.High:
		return fmt.Sprintf("%s: %g%s is over %g%s", m.Name, x, m.unit(), *m.High, m.unit())
	case m.Low != nil && x < *m.Low:
		return fmt.Sprintf("%s: %g%s is under %g%s", m.Name, x, m.unit(), *m.Low, m.unit())
	}
	return ""
}

func (m *Measure) unit() string {
	if m.Unit == "" {
		return ""
	}
	return " " + m.Unit
}

// Bounds of a workshop's steps.
const (
	maxSteps    = 60
	maxStepText = 500
	maxMeasures = 12
)

// ValidateSteps reports the first fault of a section's steps.
func ValidateSteps(steps []Step) error {
	if len(steps) == 0 || len(steps) > maxSteps {
		return Invalidf("steps: want 1 to %d, not %d", maxSteps, len(steps))
	}
	seen := map[string]bool{}
	for i := range steps {
		s := &steps[i]
		switch {
		case strings.TrimSpace(s.Text) == "" || longer(s.Text, maxStepText):
			return Invalidf("step %d: want words, of at most %d characters", i+1, maxStepText)
		case s.Key == "" || seen[s.Key]:
			return Invalidf("step %d: its key %q is blank or twice there", i+1, s.Key)
		case len(s.Measures) > maxMeasures:
			return Invalidf("step %d: at most %d values, not %d", i+1, maxMeasures, len(s.Measures))
		}
		seen[s.Key] = true
		for _, it := range s.Items {
			if !slices.Contains(Items, it) {
				return Invalidf("step %d: item %q is not known", i+1, it)
			}
		}
		for _, m := range s.Measures {
			if strings.TrimSpace(m.Name) == "" {
				return Invalidf("step %d: a value to note needs a name", i+1)
			}
			if m.Low != nil && m.High != nil && *m.Low > *m.High {
				return Invalidf("step %d, %s: the least, %g, is above the most, %g", i+1, m.Name, *m.Low, *m.High)
			}
		}
	}
	return nil
}

// StepPlan is one version of a section's steps. Version 0 is the program's own.
type StepPlan struct {
	FleetID int64
	Section Section
	Version int
	Steps   []Step
	By      string
	At      time.Time
}

// MakersValue is a check value of a vehicle's maker, kept by the workshop.
type MakersValue struct {
	FleetID     int64
	Make, Model string // blank: any
	Axle        int    // 0: any
	Measure     string // name of the measure
	Low, High   *float64
	Unit        string
	Source      string // where it was read
}

// CardState says how a card stands.
type CardState string

const (
	CardOpen      CardState = "open"
	CardPassed    CardState = "passed"     // the work is done and the brakes proved
	CardNotPassed CardState = "not passed" // closed, but the vehicle may not go
	CardDropped   CardState = "dropped"    // nothing was done
)

// EntryState is what became of a step.
type EntryState string

const (
	StepDone    EntryState = "done"
	StepFailed  EntryState = "failed"
	StepSkipped EntryState = "skipped"
	// StepTakenBack says that the step was marked by mistake: it is as if nothing was
	// entered, and the entries before are kept.
	StepTakenBack EntryState = ""
)

// StepEntry is what somebody entered for a step. A later one stands instead; all
// are kept.
type StepEntry struct {
	State  EntryState
	Values []float64 // of the step's measures, in their order; NaN = not noted
	Note   string
	By     string
	At     time.Time
	// Key is the sender's own name for the entry, so that one sent again is known.
	Key string
}

// CardStep is a step on a card, with its latest entry.
type CardStep struct {
	Seq     int
	Section Section
	Axle    int // 0: the whole vehicle
	Step
	Entry   *StepEntry // nil: nothing entered yet
	Earlier int        // entries that no longer stand
}

// Faults says in words what is outside its check values and counts.
func (s *CardStep) Faults() (faults []string) { return s.outside(false) }

// Remarks says what is outside check values that are advice only.
func (s *CardStep) Remarks() (remarks []string) { return s.outside(true) }

func (s *CardStep) outside(advice bool) (words []string) {
	if s.Entry == nil {
		return nil
	}
	for i := range s.Measures {
		m := &s.Measures[i]
		if i < len(s.Entry.Values) && m.Advice == advice {
			if w := m.Outside(s.Entry.Values[i]); w != "" {
				words = append(words, w)
			}
		}
	}
	return words
}

// Settled says whether the step was done with every value that counts inside.
func (s *CardStep) Settled() bool {
	return s.Entry != nil && s.Entry.State == StepDone && len(s.Faults()) == 0
}

// CardPart is a part that was fitted by a card.
type CardPart struct {
	ID        int64
	Axle      int
	Part      Part
	Side      Side // blank: both
	Number    string
	Batch     string
	MM        float64 // when new; measured or nominal
	Measured  bool
	FitmentID int64
	By        string
	At        time.Time
	// Undone: set aside with its fitment, by whom and why.
	Undone *Aside
}

// Card is the sheet a technician works from.
type Card struct {
	ID         int64
	FleetID    int64
	VehicleID  int64
	DepotID    int64
	BookingID  int64 // 0: of no booking
	Day        Date
	OdometerKm *float64
	Work       []WorkItem
	State      CardState
	OpenedBy   string
	OpenedAt   time.Time
	ClosedBy   string
	ClosedAt   *time.Time
	Note       string // on closing
	Steps      []CardStep
	Parts      []CardPart
	// Names, filled where cards are read.
	Vehicle, Plate, Depot string
	TimeZone              string // of the depot's clock, an IANA name
}

// TestStep is the key of the step that the brake test after the job settles.
const TestStep = "brake_test"

// NotFitted names the wearing parts that the card was to renew and of which nothing
// is entered as gone on, neither by it nor, from its day on, in another way; known
// are the vehicle's fitments.
func (c *Card) NotFitted(known []Fitment) []string {
	var out []string
	for _, w := range c.Work {
		part := w.Item.Part()
		fitted := slices.ContainsFunc(c.Parts, func(p CardPart) bool { return p.Axle == w.Axle && p.Part == part && p.Undone == nil }) ||
			slices.ContainsFunc(known, func(f Fitment) bool {
				return f.Date >= c.Day && f.Position.Axle == w.Axle && f.Position.Part == part
			})
		if part != "" && !fitted {
			out = append(out, fmt.Sprintf("axle %d %s", w.Axle, w.Item.Words()))
		}
	}
	return out
}

// Open returns what stands against passing the card, a sentence each: safety steps
// that are failed, skipped or not entered. The brake test is judged elsewhere.
func (c *Card) Open() (open []string) {
	for i := range c.Steps {
		s := &c.Steps[i]
		if !s.Safety || s.Key == TestStep || s.Settled() {
			continue
		}
		where := ""
		if s.Axle > 0 {
			where = fmt.Sprintf("axle %d, ", s.Axle)
		}
		switch {
		case s.Entry == nil:
			open = append(open, where+"not entered: "+s.Text)
		case s.Entry.State != StepDone:
			open = append(open, where+string(s.Entry.State)+": "+s.Text)
		default:
			open = append(open, where+strings.Join(s.Faults(), "; ")+": "+s.Text)
		}
	}
	return open
}

// CardSteps puts the steps of a card together: the start, a section for each axle
// worked on, the hydraulics and the finish, each with the steps that what is done
// there asks for. brakes are those of the vehicle's axles, by number; steps the
// sections; makers what the vehicle's maker asks for.
func CardSteps(work []WorkItem, brakes map[int]Brake, steps map[Section][]Step, makers []MakersValue) []CardStep {
	var out []CardStep
	add := func(section Section, axle int, items []Item) {
		for _, s := range steps[section] {
			if len(s.Items) > 0 && !slices.ContainsFunc(s.Items, func(i Item) bool { return slices.Contains(items, i) }) {
				continue
			}
			s.Measures = slices.Clone(s.Measures)
			for i := range s.Measures {
				asked(&s.Measures[i], axle, makers)
			}
			out = append(out, CardStep{Seq: len(out) + 1, Section: section, Axle: axle, Step: s})
		}
	}
	var all []Item
	for _, w := range work {
		all = append(all, w.Item)
	}
	add(SectionStart, 0, all)
	axles := Axles(work)
	slices.Sort(axles)
	for _, axle := range slices.Compact(axles) {
		var items []Item
		for _, w := range work {
			if w.Axle == axle {
				items = append(items, w.Item)
			}
		}
		section := SectionDisc
		if brakes[axle] == DrumBrake {
			section = SectionDrum
		}
		add(section, axle, items)
	}
	if slices.ContainsFunc(all, func(i Item) bool { return i == ItemFluid || i == ItemHoses || i == ItemCalipers }) {
		add(SectionHydraulics, 0, all)
	}
	add(SectionFinish, 0, all)
	return out
}

// asked puts the maker's check values into a measure, of the axle before those of
// any axle; the caller has left only those of the vehicle.
func asked(m *Measure, axle int, makers []MakersValue) {
	if !m.Makers {
		return
	}
	best := -1
	for i, v := range makers {
		if v.Measure != m.Name || v.Axle != 0 && v.Axle != axle {
			continue
		}
		if best < 0 || v.Axle != 0 && makers[best].Axle == 0 {
			best = i
		}
	}
	if best >= 0 {
		m.Low, m.High = makers[best].Low, makers[best].High
		if makers[best].Unit != "" {
			m.Unit = makers[best].Unit
		}
	}
}
