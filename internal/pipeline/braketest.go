package pipeline

import (
	"context"
	"errors"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// JudgeBrakeTest returns what was said of a test of a vehicle when it was
// judged; of one that was not, what its fleet's rule set says now.
func JudgeBrakeTest(h *store.History, b *fleet.BrakeTest) *rules.Judgement {
	return rules.Or(h.RuleSet).Judged(&h.Vehicle, axlesOf(h), b)
}

// JudgeAnew holds a test of a vehicle against its fleet's rule set as it is now,
// whatever was said before.
func JudgeAnew(h *store.History, b *fleet.BrakeTest) *rules.Judgement {
	return rules.Or(h.RuleSet).Judge(&h.Vehicle, axlesOf(h), b)
}

func axlesOf(h *store.History) (axles []int) {
	for _, a := range h.Axles {
		axles = append(axles, a.Number)
	}
	return axles
}

// keepVerdicts keeps what the rule sets in force say of the brake tests that
// nothing was said of yet, and judges those anew whose vehicle's facts were
// corrected. A test that nothing is required of is left, for it may be judged once
// something is.
func (s *Service) keepVerdicts(ctx context.Context, sc auth.Scope, hs []store.History) error {
	said := map[int64]fleet.Said{}
	for i := range hs {
		h := &hs[i]
		if len(h.BrakeTests) == 0 {
			continue
		}
		axles := axlesOf(h)
		facts, err := rules.FactsOf(&h.Vehicle, axles).Keep()
		if err != nil {
			return err
		}
		for k := range h.BrakeTests {
			b := &h.BrakeTests[k]
			var j *rules.Judgement
			var x fleet.Said
			if b.Said == nil {
				if j = JudgeAnew(h, b); j.Verdict == rules.NotJudged {
					continue
				}
			} else {
				if j, x.Why = rules.Anew(&h.Vehicle, axles, b); j == nil {
					continue
				}
				x.Number = b.Said.Number + 1
			}
			if x.Judgement, err = j.Keep(); err != nil {
				return err
			}
			x.RuleSet, x.Verdict, x.Facts = j.Set.ID, j.Verdict.String(), facts
			said[b.ID] = x
		}
	}
	return s.DB.SaveVerdicts(ctx, sc, said)
}

// Earlier returns the last like test of h that was done before b, nil where
// there is none: before a job if b is after one.
func Earlier(h *store.History, b *fleet.BrakeTest) *fleet.BrakeTest {
	var found *fleet.BrakeTest
	for i := range h.BrakeTests {
		x := &h.BrakeTests[i]
		if x.ID == b.ID {
			break
		}
		if x.Method == b.Method && x.System == b.System && x.Date <= b.Date {
			found = x
		}
	}
	return found
}

// AddBrakeTest keeps one test that was entered by hand, and works out anew what
// hangs on it; the same again changes nothing.
func (s *Service) AddBrakeTest(ctx context.Context, sc auth.Scope, b fleet.BrakeTest, by string, asOf fleet.Date) (got fleet.BrakeTest, added bool, err error) {
	if err := s.notAhead(b.Date); err != nil {
		return b, false, err
	}
	got, added, err = s.DB.AddBrakeTest(ctx, sc, b, by)
	if err == nil && added {
		err = s.follow(ctx, sc, b.VehicleID, asOf)
	}
	return got, added, err
}

// AddCardTest is AddBrakeTest for the vehicle of a job card that is open, which
// whoever sees the card may test; card 0, or one of another vehicle, is none.
func (s *Service) AddCardTest(ctx context.Context, sc auth.Scope, card int64, b fleet.BrakeTest, by string, asOf fleet.Date) (got fleet.BrakeTest, added bool, err error) {
	if card != 0 {
		c, err := s.DB.Card(ctx, sc, card)
		if err != nil && !errors.Is(err, fleet.ErrNotFound) {
			return b, false, err
		}
		if err == nil && c.VehicleID == b.VehicleID && c.State == fleet.CardOpen {
			sc = byCard(sc, &c)
		}
	}
	return s.AddBrakeTest(ctx, sc, b, by, asOf)
}

// CorrectBrakeTest puts another test in the place of one, which is kept, and
// forecasts the vehicle anew.
func (s *Service) CorrectBrakeTest(ctx context.Context, sc auth.Scope, id int64, b fleet.BrakeTest, why fleet.Reason, asOf fleet.Date) (fleet.Correction, error) {
	if err := s.notAhead(b.Date); err != nil {
		return fleet.Correction{}, err
	}
	c, err := s.DB.CorrectBrakeTest(ctx, sc, id, b, why)
	if err != nil {
		return c, err
	}
	return c, s.follow(ctx, sc, c.VehicleID, asOf)
}

// notAhead refuses a day that has not come yet.
func (s *Service) notAhead(d fleet.Date) error {
	if today := s.Today(); d > today {
		return fleet.Invalidf("date %s: it lies after today, %s", d.Written(), today.Written())
	}
	return nil
}

// BrakeTrends returns what a vehicle's successive brake tests show: a falling
// efficiency, a growing pedal force.
func BrakeTrends(h *store.History, ts rules.Thresholds) []rules.BrakeTrend {
	tests := make([]*fleet.BrakeTest, len(h.BrakeTests))
	for i := range h.BrakeTests {
		tests[i] = &h.BrakeTests[i]
	}
	return ts.BrakeTrends(h.Vehicle.Category, tests)
}
