package dashboard

import (
	"crypto/sha256"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Fields of a step in a card's form.
func stateField(seq int) string    { return fmt.Sprintf("state_%d", seq) }
func noteField(seq int) string     { return fmt.Sprintf("note_%d", seq) }
func wasField(seq int) string      { return fmt.Sprintf("was_%d", seq) }
func valueField(seq, i int) string { return fmt.Sprintf("value_%d_%d", seq, i) }

// stepSays puts everything that a form says of a step with so many measures into
// one text.
func stepSays(seq, measures int, field func(name string) string) string {
	says := []string{field(stateField(seq)), field(noteField(seq))}
	for i := range measures {
		says = append(says, field(valueField(seq, i)))
	}
	return strings.Join(says, "|")
}

// formSays is what a form that was sent says of a step.
func formSays(c *gin.Context, seq, measures int) string {
	return stepSays(seq, measures, func(name string) string { return strings.TrimSpace(c.PostForm(name)) })
}

// untouched says that a form that says this of a step was shown with the same. A page
// may be hours old, on a phone without a network: what a colleague entered since must
// not be undone by whoever only entered something else.
func untouched(was, says string) bool { return was != "" && was == says }

// takenBack says that a form has no mark any more of a step that it was shown with, and
// leaves the rest as it was or blank.
func takenBack(was, says string) bool {
	mark, rest, ok := strings.Cut(was, "|")
	return ok && mark != "" && (says == "|"+rest || strings.Trim(says, "|") == "")
}

// asShown is what a form says of a step with its values as a page writes them: 12.5
// for a typed 12,5.
func asShown(in units.Reader, s *fleet.CardStep, says string) string {
	parts := strings.Split(says, "|")
	first := len(parts) - len(s.Measures) // a note may hold the sign, too
	for i := range s.Measures {
		if first < 2 {
			break
		}
		if x, err := measured(in, s, i, parts[first+i]); err == nil {
			parts[first+i] = measureField(in, &s.Measures[i], x)
		}
	}
	return strings.Join(parts, "|")
}

// enterSteps takes the steps of a card's form in. Steps that say what they said
// before add nothing.
func (d *Dashboard) enterSteps(c *gin.Context) error {
	ctx, sc := c.Request.Context(), d.scope(c)
	id, who, err := cardSent(c)
	if err != nil {
		return err
	}
	card, err := d.svc.DB.Card(ctx, sc, id)
	if err != nil {
		return err
	}
	in, err := sentIn(c)
	if err != nil {
		return err
	}
	nonce := c.PostForm("nonce")
	var faults []CardFault
	entries, known := map[int]fleet.StepEntry{}, map[string]string{}
	for i := range card.Steps {
		s := &card.Steps[i]
		was := asShown(in, s, c.PostForm(wasField(s.Seq)))
		says := asShown(in, s, formSays(c, s.Seq, len(s.Measures)))
		if untouched(was, says) {
			continue
		}
		e, given, fault := stepEntry(c, in, s)
		if takenBack(was, says) {
			e, given, fault = fleet.StepEntry{State: fleet.StepTakenBack}, true, enteredAnew(in, &card, s, was)
		}
		if fault != nil {
			faults = append(faults, *fault)
			continue
		}
		if !given {
			continue
		}
		// Also of what was taken in before, when no answer was heard.
		known[wasField(s.Seq)] = says
		if sameEntry(s.Entry, &e) {
			continue
		}
		e.By = who
		if nonce != "" {
			// A form sent again from a phone that heard no answer says the same of the same.
			// Notes are longer than an index takes.
			e.Key = fmt.Sprintf("%x", sha256.Sum256(fmt.Appendf(nil, "%s %s %s %v %s", nonce, c.PostForm(wasField(s.Seq)), e.State, e.Values, e.Note)))
		}
		entries[s.Seq] = e
	}
	// What can be read is kept, whatever is wrong with the rest.
	if len(entries) > 0 {
		if _, err := d.svc.DB.EnterSteps(ctx, sc, card.ID, entries); err != nil {
			return err
		}
	}
	if len(faults) > 0 {
		return d.cardAgain(c, http.StatusBadRequest, card.ID, faults, formAnswer{Was: known})
	}
	return took(c, fmt.Sprintf("/cards/%d", card.ID))
}

// stepEntry reads what a form says of a step; given is false when it says nothing.
func stepEntry(c *gin.Context, in units.Reader, s *fleet.CardStep) (e fleet.StepEntry, given bool, fault *CardFault) {
	e.State = fleet.EntryState(c.PostForm(stateField(s.Seq)))
	e.Note = strings.TrimSpace(c.PostForm(noteField(s.Seq)))
	noted := false
	for i := range s.Measures {
		x := math.NaN()
		name := valueField(s.Seq, i)
		if text := strings.TrimSpace(c.PostForm(name)); text != "" {
			var err error
			if x, err = measured(in, s, i, text); err != nil {
				return e, false, &CardFault{Field: name, Text: fmt.Sprintf("Step %d, %s: %v", s.Seq, s.Measures[i].Name, err)}
			}
			noted = true
		}
		e.Values = append(e.Values, x)
	}
	if e.State == "" && (noted || e.Note != "") {
		return e, false, &CardFault{Field: stateField(s.Seq), Text: fmt.Sprintf("Step %d: say whether it is done, failed or skipped", s.Seq)}
	}
	return e, e.State != "", nil
}

// enteredAnew is what is wrong with taking back a step that was shown as it was, where
// somebody has entered something else of it since.
func enteredAnew(in units.Reader, card *fleet.Card, s *fleet.CardStep, was string) *CardFault {
	now := stepView(in, card, s)
	if s.Entry == nil || now.Was == was {
		return nil
	}
	return &CardFault{Field: stateField(s.Seq), Text: fmt.Sprintf(
		"Step %d was entered anew meanwhile, as %s (%s), and stands as it is: load the page again, and take that back if it is wrong", s.Seq, now.State, now.By)}
}

// measured reads the value of a step's measure i. What is left as it stood in the
// form is the value that it stood for, to the last bit.
func measured(in units.Reader, s *fleet.CardStep, i int, text string) (float64, error) {
	m := &s.Measures[i]
	if s.Entry != nil && i < len(s.Entry.Values) && text == measureField(in, m, s.Entry.Values[i]) {
		return s.Entry.Values[i], nil
	}
	x, err := decimal(text)
	if err == nil && inInches(in, m) {
		x = in.ToMM(string(fleet.Rotor), x)
	}
	return x, err
}

func sameEntry(old, e *fleet.StepEntry) bool {
	return old != nil && old.State == e.State && old.Note == e.Note &&
		slices.EqualFunc(old.Values, e.Values, func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) })
}

func cardSections(tell units.Reader, card *fleet.Card) (out []CardSection) {
	for _, s := range card.Steps {
		title := s.Section.Words()
		if s.Axle > 0 {
			title = fmt.Sprintf("Axle %d", s.Axle)
		}
		if len(out) == 0 || out[len(out)-1].Title != title {
			out = append(out, CardSection{Title: title})
		}
		to := &out[len(out)-1]
		to.Steps = append(to.Steps, stepView(tell, card, &s))
	}
	return out
}

func stepView(tell units.Reader, card *fleet.Card, s *fleet.CardStep) CardStepView {
	v := CardStepView{Seq: s.Seq, Text: s.Text, Safety: s.Safety, Earlier: s.Earlier}
	if s.Source != fleet.Practice { // which is said once, above them all
		v.Source = s.Source
	}
	for i := range s.Measures {
		m := &s.Measures[i]
		f := CardField{Name: valueField(s.Seq, i), Label: measureName(tell, m), Check: checkValues(tell, m)}
		if s.Entry != nil && i < len(s.Entry.Values) && !math.IsNaN(s.Entry.Values[i]) {
			f.Value = measureField(tell, m, s.Entry.Values[i])
		}
		v.Fields = append(v.Fields, f)
	}
	if e := s.Entry; e != nil {
		v.State, v.Marked, v.Note = string(e.State), string(e.State), e.Note
		shown := map[string]string{stateField(s.Seq): v.Marked, noteField(s.Seq): strings.TrimSpace(v.Note)}
		for _, f := range v.Fields {
			shown[f.Name] = f.Value
		}
		v.Was = stepSays(s.Seq, len(s.Measures), func(name string) string { return shown[name] })
		v.By = strings.TrimPrefix(e.By+", "+stamp(tell, card, e.At), ", ")
	}
	v.Faults, v.Remarks = tellAll(tell, s.Faults(), card.Day), tellAll(tell, s.Remarks(), card.Day)
	return v
}
