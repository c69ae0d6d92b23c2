package dashboard

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// by is who did what a form tells of: a second pair of hands may share the
// phone of whoever is signed in.
func by(c *gin.Context) (string, error) {
	name := strings.TrimSpace(c.PostForm("by"))
	if name == "" {
		return "", fleet.Invalidf("name: say who enters this")
	}
	return name, nil
}

// cardSent returns the id of the card that a form is about, and who sends it.
func cardSent(c *gin.Context) (id int64, who string, err error) {
	if id, err = web.PathID(c, "job card"); err != nil {
		return 0, "", err
	}
	who, err = by(c)
	return id, who, err
}

// took answers a form that was taken in: on to a page, or where to go for a script.
func took(c *gin.Context, to string) error {
	if web.WantsJSON(c) {
		return sendJSON(c, http.StatusOK, map[string]string{"to": to})
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// twoWays is a number that may be meant in thousands, as pages write them, or
// with three decimals.
var twoWays = regexp.MustCompile(`^-?[1-9]\d{0,2},\d{3}$`)

// decimal reads a number with a point or a comma before its decimals.
func decimal(text string) (float64, error) {
	if twoWays.MatchString(text) {
		return 0, fleet.Invalidf("“%s” may be %s or %s: write it as one of them", text, strings.Replace(text, ",", "", 1), strings.Replace(text, ",", ".", 1))
	}
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, fleet.Invalidf("“%s” is no number: write digits, such as 12.5", text)
	}
	return x, nil
}

// fitParts takes in what came off and what went on.
func (d *Dashboard) fitParts(c *gin.Context) error {
	ctx, sc := c.Request.Context(), d.scope(c)
	id, who, err := cardSent(c)
	if err != nil {
		return err
	}
	card, h, err := d.svc.JobCard(ctx, sc, id)
	if err != nil {
		return err
	}
	f, faults, err := partsForm(c, &card, &h)
	if err != nil {
		return err
	}
	if len(faults) == 0 {
		doubts, err := d.partDoubts(c, &card, &h, f)
		if err != nil {
			return err
		}
		if !confirmed(doubts, c.PostForm("sure")) {
			return d.cardAgain(c, http.StatusUnprocessableEntity, card.ID, doubts, formAnswer{Sure: sureOf(doubts)})
		}
	}
	if len(faults) == 0 {
		_, err = d.svc.FitParts(ctx, sc, who, card.ID, f)
		if isKind(err, fleet.ErrInvalid, fleet.ErrConflict) {
			for line := range strings.Lines(reader(c).Days(err.Error())) {
				faults = append(faults, CardFault{Text: strings.TrimSpace(line)})
			}
		} else if err != nil {
			return err
		}
	}
	if len(faults) > 0 {
		return d.cardAgain(c, refusal(err), card.ID, faults, formAnswer{})
	}
	return took(c, fmt.Sprintf("/cards/%d#parts", card.ID))
}

// partDoubts says what of the parts that came off and went on wants a second look.
func (d *Dashboard) partDoubts(c *gin.Context, card *fleet.Card, h *store.History, f pipeline.Fitted) (doubts []CardFault, err error) {
	if card.State != fleet.CardOpen {
		return nil, nil // it takes none of them
	}
	tell := reader(c)
	for _, p := range f.On {
		name := fmt.Sprintf("on_%d_%s", p.Axle, p.Part)
		if q := pipeline.OnAlready(card, p); q != nil {
			doubts = append(doubts, CardFault{name, fmt.Sprintf("axle %d, new %ss: %s has entered them already (%s). Undo those if they are wrong; enter these only if they were changed once more.",
				p.Axle, p.Part, q.By, stamp(tell, card, q.At)), c.PostForm(name)})
		}
		name += "_mm"
		for _, r := range pipeline.OnDoubts(h, []fleet.CardPart{p}) {
			doubts = append(doubts, CardFault{name, fmt.Sprintf("axle %d, new %ss: %s", p.Axle, p.Part, tell.TextOf(string(p.Part), r.Text, card.Day)), c.PostForm(name)})
		}
	}
	remarks, err := d.svc.OffDoubts(c.Request.Context(), card, h, f.Off)
	for _, r := range remarks {
		for i := range f.Off {
			if pos := f.Off[i].Position; pipeline.FieldOf(pos) == r.Field {
				name := "off_" + posKey(pos)
				doubts = append(doubts, CardFault{name, fmt.Sprintf("%s, off: %s", pos, tell.TextOf(string(pos.Part), r.Text, card.Day)), c.PostForm(name)})
			}
		}
	}
	return doubts, err
}

// sureOf names the doubted values, as they were typed: whoever has read them twice
// sends it along.
func sureOf(doubts []CardFault) string {
	var words []string
	for _, f := range doubts {
		words = append(words, f.Field+" "+f.Typed)
	}
	return strings.Join(words, ", ")
}

// confirmed says whether each doubted value is among those that were read twice. There
// are fewer when a form is sent again whose answer was lost: what it entered is known.
func confirmed(doubts []CardFault, sure string) bool {
	read := ", " + sure + ", "
	return !slices.ContainsFunc(doubts, func(f CardFault) bool { return !strings.Contains(read, ", "+sureOf([]CardFault{f})+", ") })
}

// cardAgain sends a card back with what could not be taken of what was entered; a is
// what a script is told besides.
func (d *Dashboard) cardAgain(c *gin.Context, status int, id int64, faults []CardFault, a formAnswer) error {
	for i := range faults {
		faults[i].Text = capital(faults[i].Text)
	}
	if !web.WantsJSON(c) {
		return d.showCard(c, status, id, faults, a.Sure)
	}
	a.Faults = map[string]string{}
	var words []string
	for _, f := range faults {
		words = append(words, f.Text)
		if f.Field != "" {
			a.Faults[f.Field] = f.Text
		}
	}
	a.Message = strings.Join(words, "; ")
	return sendJSON(c, status, a)
}

// refusal is the status of a card's form that is not taken, for err or, nil, for
// what cannot be read.
func refusal(err error) int {
	if errors.Is(err, fleet.ErrConflict) {
		return http.StatusConflict
	}
	return http.StatusBadRequest
}

// partsForm reads the form of what came off and what went on, and says
// everything in it that cannot be read.
func partsForm(c *gin.Context, card *fleet.Card, h *store.History) (f pipeline.Fitted, faults []CardFault, err error) {
	in, err := sentIn(c)
	if err != nil {
		return f, nil, err
	}
	if shown, err := strconv.ParseInt(c.PostForm("shown"), 10, 64); err == nil {
		f.Shown = time.UnixMicro(shown)
	}
	if text := strings.TrimSpace(c.PostForm("odometer_km")); text != "" {
		km, err := readKm(in, text)
		if err != nil {
			faults = append(faults, CardFault{Field: "odometer_km", Text: fmt.Sprintf("odometer: %v", err)})
		}
		f.OdometerKm = &km
	}
	axles := fleet.Axles(card.Work)
	slices.Sort(axles)
	for _, axle := range slices.Compact(axles) {
		a := cardAxle(in, card, h, axle)
		for _, field := range a.Off {
			text := strings.TrimSpace(c.PostForm(field.Name))
			if text == "" {
				continue
			}
			part := strings.Split(field.Name, "_") // off, axle, part, side, face
			x, err := ingest.ParseThickness(text, in.GaugeUnit(part[2]))
			if err != nil {
				faults = append(faults, CardFault{Field: field.Name, Text: fmt.Sprintf("axle %d, %s, off: %v", axle, strings.ToLower(field.Label), err)})
			}
			f.Off = append(f.Off, fleet.Reading{
				Position: fleet.Position{Axle: axle, Part: fleet.Part(part[2]), Side: fleet.Side(part[3]), Face: fleet.Face(part[4])},
				MM:       x.MM, Given: x.Given, Unit: x.Unit,
			})
		}
		for _, on := range a.On {
			sides := c.PostForm(on.Name)
			if sides == "" {
				if strings.TrimSpace(c.PostForm(on.Name+"_mm")+c.PostForm(on.Name+"_number")+c.PostForm(on.Name+"_batch")) != "" {
					faults = append(faults, CardFault{Field: on.Name, Text: fmt.Sprintf("axle %d, new %s: say on which side they went, or clear what is given of them", axle, on.Part)})
				}
				continue
			}
			p := fleet.CardPart{
				Axle: axle, Part: fleet.Part(strings.TrimSuffix(on.Part, "s")),
				Number: strings.TrimSpace(c.PostForm(on.Name + "_number")), Batch: strings.TrimSpace(c.PostForm(on.Name + "_batch")),
			}
			switch fleet.Side(sides) {
			case fleet.Left, fleet.Right:
				p.Side = fleet.Side(sides)
			}
			if text := strings.TrimSpace(c.PostForm(on.Name + "_mm")); text != "" {
				x, err := ingest.ParseThickness(text, in.GaugeUnit(string(p.Part)))
				if err != nil {
					faults = append(faults, CardFault{Field: on.Name + "_mm", Text: fmt.Sprintf("axle %d, new %s: %v", axle, on.Part, err)})
				}
				p.MM = x.MM
			}
			f.On = append(f.On, p)
		}
	}
	return f, faults, nil
}

func (d *Dashboard) undoPart(c *gin.Context) error {
	id, err := web.PathID(c, "job card")
	if err != nil {
		return err
	}
	part, err := strconv.ParseInt(c.PostForm("part"), 10, 64)
	if err != nil {
		return fleet.Invalidf("part %q: want its number", c.PostForm("part"))
	}
	why := fleet.Reason{Why: c.PostForm("why"), By: c.PostForm("by")}
	_, done, err := d.svc.UndoPart(c.Request.Context(), d.scope(c), id, part, why)
	if err != nil {
		return err
	}
	to := fmt.Sprintf("/cards/%d", id)
	if done.Shelf != "" {
		to += "?shelf=" + string(done.Shelf)
	}
	c.Redirect(http.StatusSeeOther, to+"#parts")
	return nil
}

func (d *Dashboard) closeCard(c *gin.Context) error {
	id, err := web.PathID(c, "job card")
	if err != nil {
		return err
	}
	who, err := by(c)
	if err == nil {
		state := fleet.CardState(cmp.Or(c.PostForm("state"), string(fleet.CardPassed)))
		_, err = d.svc.CloseCard(c.Request.Context(), d.scope(c), who, id, state, strings.TrimSpace(c.PostForm("note")))
	}
	switch {
	case isKind(err, fleet.ErrInvalid, fleet.ErrConflict) && !web.WantsJSON(c):
		// The card shows how it stands now, and keeps what was typed.
		return d.showCard(c, refusal(err), id, []CardFault{{Text: faultWords(c, err)}}, "")
	case err != nil:
		return err
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("/cards/%d", id))
	return nil
}
