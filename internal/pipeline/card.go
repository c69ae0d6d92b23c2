package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// OpenCard makes the job card of a booking, with the work booked.
func (s *Service) OpenCard(ctx context.Context, sc auth.Scope, by string, bookingID int64) (fleet.Card, error) {
	b, err := s.DB.Booking(ctx, sc, bookingID)
	if err != nil {
		return fleet.Card{}, err
	}
	return s.DB.OpenCard(ctx, sc, by, fleet.Card{
		VehicleID: b.VehicleID, BookingID: b.ID, Day: s.Today(), Work: b.Work,
	})
}

// JobCard returns a card with the history of its vehicle, both for whoever sees the
// card.
func (s *Service) JobCard(ctx context.Context, sc auth.Scope, id int64) (c fleet.Card, h store.History, err error) {
	if c, err = s.DB.Card(ctx, sc, id); err == nil {
		h, err = s.DB.History(ctx, byCard(sc, &c), c.VehicleID)
	}
	return c, h, err
}

// byCard is sc for what is read and done of the vehicle of a card that sc sees, and
// of no other vehicle: what is booked at a workshop is worked on there, at whichever
// depot of the fleet it is at home.
func byCard(sc auth.Scope, c *fleet.Card) auth.Scope {
	if sc.All() {
		return sc
	}
	return auth.ScopeOf(append(slices.Clone(sc.Fleets()), c.FleetID), sc.Depots())
}

// CardFindings returns the open findings of the vehicle of a card that sc sees.
func (s *Service) CardFindings(ctx context.Context, sc auth.Scope, c *fleet.Card) ([]store.FindingRow, error) {
	page, err := s.DB.Findings(ctx, byCard(sc, c), store.FindingQuery{Vehicle: c.VehicleID, States: []fleet.FindingState{fleet.OpenFinding}})
	return page.Rows, err
}

// OpenCardFor makes a job card of no booking.
func (s *Service) OpenCardFor(ctx context.Context, sc auth.Scope, by string, vehicleID int64, work []fleet.WorkItem) (fleet.Card, error) {
	return s.DB.OpenCard(ctx, sc, by, fleet.Card{VehicleID: vehicleID, Day: s.Today(), Work: work})
}

// Fitted is what came off and what went on by a job card.
type Fitted struct {
	OdometerKm *float64
	Off        []fleet.Reading  // position, value, gauge, technician and note of each
	On         []fleet.CardPart // MM 0 = the specification's new value
	Shown      time.Time        // when who enters this was shown the card
}

// FitParts enters what came off and what went on. What came off is a reading that
// ends its segment, what went on a fitment that starts the next, both of the card's
// day; forecasts made before are held against what came off at once. The same
// entries sent again change nothing: what was undone, or corrected to another place or
// day, is fitted anew only by who was shown the card after that, and not by a phone that
// sends once more. It returns the card, or an error with everything that is wrong with
// them, a line each.
func (s *Service) FitParts(ctx context.Context, sc auth.Scope, by string, cardID int64, f Fitted) (fleet.Card, error) {
	c, h, err := s.JobCard(ctx, sc, cardID)
	if err != nil {
		return c, err
	}
	off, wrongOff := readingsOff(&c, f, by)
	on, fitments, wrongOn := fittedOn(&c, &h, f, by)
	if err := errors.Join(wrongOff, wrongOn); err != nil {
		return c, err
	}
	if len(off) == 0 && len(fitments) == 0 {
		return c, fleet.Invalidf("nothing was entered: give what came off, or what went on")
	}
	up := fleet.Upload{Kind: "card", Name: fmt.Sprintf("Job card %d", c.ID), By: by}
	err = s.DB.TakeIn(ctx, byCard(sc, &c), &up, func(w *store.Writer) error {
		if err := w.HoldCard(c.ID); err != nil {
			return err
		}
		rc, err := w.Readings(off)
		if err != nil {
			return err
		}
		// First, as who corrects a fitment: what is there is held before another is added.
		again, err := w.FittedAgain(fitments, f.Shown)
		if err != nil {
			return err
		}
		fc, err := w.Fitments(fitments)
		if err != nil {
			return err
		}
		up.Accepted, up.Repeated = rc.Added+fc.Added+again, rc.Repeated+fc.Repeated-again
		if _, err := w.CardParts(c.ID, on); err != nil || f.OdometerKm == nil {
			return err
		}
		return w.CardOdometer(c.ID, *f.OdometerKm)
	})
	if err != nil {
		return c, err
	}
	if up.Accepted > 0 {
		if err := s.follow(ctx, byCard(sc, &c), c.VehicleID, s.Today()); err != nil {
			return c, err
		}
	}
	return s.DB.Card(ctx, sc, cardID)
}

// OffDoubts are the doubts about what came off by a card, of whose vehicle h is known:
// the wheel is still off, and the part at hand. Where the next part is on record
// already nothing is likely of the one before, and only what no part measures is
// doubted. Differences across a wheel or an axle are what a worn brake has.
func (s *Service) OffDoubts(ctx context.Context, c *fleet.Card, h *store.History, off []fleet.Reading) (doubts []Remark, err error) {
	if len(off) == 0 {
		return nil, nil
	}
	m, _, err := s.fitted(ctx, s.Today())
	if err != nil {
		return nil, err
	}
	known := *h
	sh, err := sheetOf(m, &known, c.Day, nil)
	if err != nil {
		return nil, err
	}
	for _, r := range off {
		renewed := slices.ContainsFunc(c.Parts, func(p fleet.CardPart) bool {
			return p.Undone == nil && p.Axle == r.Position.Axle && p.Part == r.Position.Part && (p.Side == "" || p.Side == r.Position.Side)
		})
		for _, x := range sh.Remarks(Entries{MM: map[fleet.Position]float64{r.Position: r.MM}}) {
			if x.Doubt && (!renewed || strings.HasPrefix(x.Code, "new")) {
				doubts = append(doubts, x)
			}
		}
	}
	return doubts, nil
}

// readingsOff makes readings of what came off.
func readingsOff(c *fleet.Card, f Fitted, by string) (out []fleet.Reading, wrong error) {
	for _, r := range f.Off {
		r.VehicleID, r.Date, r.OdometerKm = c.VehicleID, c.Day, f.OdometerKm
		if r.Technician == "" {
			r.Technician = by
		}
		err := r.Validate()
		if err == nil {
			err = onCard(c, r.Position)
		}
		wrong = errors.Join(wrong, err)
		out = append(out, r)
	}
	return out, wrong
}

// fittedOn makes fitments of what went on.
func fittedOn(c *fleet.Card, h *store.History, f Fitted, by string) (on []fleet.CardPart, fitments []fleet.Fitment, wrong error) {
	for _, p := range f.On {
		pos := fleet.Position{Axle: p.Axle, Part: p.Part, Side: p.Side}
		if err := onCard(c, pos); err != nil {
			wrong = errors.Join(wrong, err)
			continue
		}
		p.Measured = p.MM > 0
		if !p.Measured {
			spec, ok := specOf(h, p.Axle, p.Part)
			if !ok {
				wrong = errors.Join(wrong, fleet.Invalidf("axle %d, %s: no new value is known: measure the new part", p.Axle, p.Part))
				continue
			}
			p.MM = spec.New
		}
		p.By = by
		ft := fleet.Fitment{VehicleID: c.VehicleID, Position: pos, Date: c.Day, OdometerKm: f.OdometerKm, MM: p.MM}
		wrong = errors.Join(wrong, ft.Validate())
		on, fitments = append(on, p), append(fitments, ft)
	}
	return on, fitments, wrong
}

// onCard refuses a position of an axle that the card is not about.
func onCard(c *fleet.Card, p fleet.Position) error {
	if slices.Contains(fleet.Axles(c.Work), p.Axle) {
		return nil
	}
	return fleet.Invalidf("axle %d: job card %d is not about it; open another card for it", p.Axle, c.ID)
}

func specOf(h *store.History, axle int, p fleet.Part) (fleet.Spec, bool) {
	for _, a := range h.Axles {
		if a.Number == axle {
			s, ok := a.Specs[p]
			return s, ok
		}
	}
	return fleet.Spec{}, false
}

// PartRemarks says what a person should look at in the parts fitted: pads and
// linings go in sets of an axle (service manuals).
func PartRemarks(c *fleet.Card) (remarks []string) {
	type set struct {
		axle int
		part fleet.Part
	}
	sides := map[set]map[fleet.Side]bool{}
	for _, p := range c.Parts {
		if p.Undone != nil {
			continue
		}
		k := set{p.Axle, p.Part}
		if sides[k] == nil {
			sides[k] = map[fleet.Side]bool{}
		}
		sides[k][p.Side] = true
	}
	for _, p := range c.Parts {
		k := set{p.Axle, p.Part}
		if s := sides[k]; p.Undone == nil && p.Side != "" && len(s) == 1 {
			remarks = append(remarks, fmt.Sprintf("Axle %d: new %ss on the %s only. Makers ask for both sides of an axle at once; look at the other side.", p.Axle, p.Part, p.Side))
			delete(sides, k)
		}
	}
	return remarks
}

// OdometerOn returns what is known of the odometer on a day beside a reading of it
// that a job card or a brake test has, nil where that is nothing, and what there is
// to remark on the reading; km is nil where it was not read. Such forms ask for
// the reader's own unit, and offer no other.
func OdometerOn(h *store.History, day fleet.Date, km *float64, inMiles bool) (*SheetOdometer, []Remark) {
	v := VehicleOf(h)
	v.Odometer = slices.DeleteFunc(v.Odometer, func(o forecast.Odometer) bool {
		return km != nil && fleet.Date(o.Day) == day && o.Km == *km
	})
	sh := &Sheet{Day: day, Odometer: sheetOdometer(v, day)}
	return sh.Odometer, sh.Remarks(Entries{OdometerKm: km, InMiles: inMiles, NoUnit: true})
}

// UndoPart sets the fitment of a part aside, so that the segment before goes on;
// the card keeps the part, with why and by whom. It returns the card, and what was
// done.
func (s *Service) UndoPart(ctx context.Context, sc auth.Scope, cardID, partID int64, why fleet.Reason) (c fleet.Card, done fleet.Correction, err error) {
	if c, err = s.DB.Card(ctx, sc, cardID); err != nil {
		return c, done, err
	}
	i := slices.IndexFunc(c.Parts, func(p fleet.CardPart) bool { return p.ID == partID })
	if i < 0 {
		return c, done, fleet.NotFoundf("job card %d: no part %d was fitted by it", cardID, partID)
	}
	done, err = s.SetAside(ctx, byCard(sc, &c), fleet.Record{Kind: fleet.FitmentRecord, ID: c.Parts[i].FitmentID}, why, s.Today())
	if err == nil {
		c, err = s.DB.Card(ctx, sc, cardID)
	}
	return c, done, err
}

// CardTests are the brake tests of a card's day and after, judged by the rule set
// of the vehicle's fleet.
type CardTests struct {
	Before, After *fleet.BrakeTest // latest of each stage; nil = none
	JudgedBefore  *rules.Judgement
	JudgedAfter   *rules.Judgement
}

// CardTests returns the brake tests that belong to a card that sc sees.
func (s *Service) CardTests(ctx context.Context, sc auth.Scope, c *fleet.Card) (CardTests, error) {
	var out CardTests
	h, err := s.DB.History(ctx, byCard(sc, c), c.VehicleID)
	if err != nil {
		return out, err
	}
	for i := range h.BrakeTests {
		t := &h.BrakeTests[i]
		if t.System != fleet.ServiceBrake {
			continue
		}
		switch {
		case t.Stage == fleet.BeforeJob && t.Date <= c.Day && c.Day-t.Date <= beforeDays:
			out.Before, out.JudgedBefore = t, JudgeBrakeTest(&h, t)
		case t.Stage == fleet.AfterJob && t.Date >= c.Day && (c.ClosedAt == nil || t.Date <= s.dayOf(*c.ClosedAt)):
			out.After, out.JudgedAfter = t, JudgeBrakeTest(&h, t)
		}
	}
	return out, nil
}

// beforeDays is how long before a job a test still shows how the brakes were.
// Judgement.
const beforeDays = 14

// Against returns what stands against passing a card, a sentence each: safety
// steps that are not settled, parts that stay on at their limit, and the brake test
// after the job.
func Against(c *fleet.Card, h *store.History, t CardTests) []string {
	against := append(c.Open(), atLimit(c, h)...)
	if !slices.ContainsFunc(c.Steps, func(s fleet.CardStep) bool { return s.Key == fleet.TestStep }) {
		return against
	}
	switch {
	case t.After == nil:
		against = append(against, "no brake test after the job is entered")
	case t.JudgedAfter.Verdict == rules.Fails || t.JudgedAfter.Verdict == rules.Dangerous || t.JudgedAfter.Verdict == rules.Unclear:
		against = append(against, "the brake test after the job: "+t.JudgedAfter.Summary())
	}
	return against
}

// CloseCard closes a job card. It is passed only when nothing stands against it;
// a booked card ends its booking.
func (s *Service) CloseCard(ctx context.Context, sc auth.Scope, by string, id int64, state fleet.CardState, note string) (fleet.Card, error) {
	c, h, err := s.JobCard(ctx, sc, id)
	if err != nil {
		return c, err
	}
	if state == fleet.CardPassed {
		tests, err := s.CardTests(ctx, sc, &c)
		if err != nil {
			return c, err
		}
		if against := Against(&c, &h, tests); len(against) > 0 {
			return c, fleet.Conflictf("job card %d cannot be closed as passed: %s", id, against[0])
		}
	}
	c, err = s.DB.CloseCard(ctx, sc, by, id, state, note)
	if err != nil {
		return c, err
	}
	return c, s.follow(ctx, byCard(sc, &c), c.VehicleID, s.Today()) // what was noted on it may be a finding
}
