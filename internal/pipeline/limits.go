package pipeline

import (
	"context"
	"math"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// LimitOf returns the limit that holds for a part of an axle: the stricter of
// the maker's and of the fleet's rule set's, or what the workshop has set. ok is
// false for a part without a specification.
func LimitOf(h *store.History, a *fleet.Axle, p fleet.Part) (l rules.Limit, ok bool) {
	spec, ok := a.Specs[p]
	if !ok {
		return l, false
	}
	return rules.Or(h.RuleSet).Limit(&h.Vehicle, a.Number, p, spec, ownLimit(h, a.Number, p)), true
}

// SpecInForce returns the specification of a part of an axle with the limit
// that holds in the place of its own, and where that comes from.
func SpecInForce(h *store.History, a *fleet.Axle, p fleet.Part) (spec fleet.Spec, ok bool) {
	l, ok := LimitOf(h, a, p)
	if !ok {
		return spec, false
	}
	return fleet.Spec{New: a.Specs[p].New, Limit: l.MM, Source: l.Source()}, true
}

// ownLimit is what the workshop has set, 0 = nothing.
func ownLimit(h *store.History, axle int, p fleet.Part) float64 {
	for _, l := range h.Limits {
		if l.Axle == axle && l.Part == p {
			return l.MM
		}
	}
	return 0
}

// PickRules gives a fleet a rule set and forecasts the vehicles anew whose
// limits it changes.
func (s *Service) PickRules(ctx context.Context, sc auth.Scope, c store.RuleChoice, asOf fleet.Date) (RefitReport, error) {
	set, err := rules.Find(c.RuleSet)
	if err != nil {
		return RefitReport{}, err
	}
	fs, err := s.DB.Fleets(ctx, sc)
	if err != nil {
		return RefitReport{}, err
	}
	was := rules.Unset
	for _, f := range fs {
		if f.ID == c.FleetID {
			was = f.RuleSet
		}
	}
	if err := s.DB.PickRules(ctx, sc, c); err != nil {
		return RefitReport{}, err
	}
	ids := []int64{}
	err = s.DB.EachHistory(ctx, auth.ScopeOf([]int64{c.FleetID}, nil), nil, func(h *store.History) error {
		before := *h
		before.RuleSet, h.RuleSet = was, set.ID
		if !sameLimits(&before, h) {
			ids = append(ids, h.Vehicle.ID)
		}
		return nil
	})
	var report RefitReport
	if err != nil {
		ids = nil // which, is not known
	} else if len(ids) > 0 {
		report, err = s.Refit(ctx, sc, ids, asOf)
	}
	if s.Desk.later(err, ids) { // the choice is kept: asking again would find nothing to do
		return RefitReport{}, nil
	}
	return report, err
}

func sameLimits(a, b *store.History) bool {
	for i := range a.Axles {
		for p := range a.Axles[i].Specs {
			x, _ := LimitOf(a, &a.Axles[i], p)
			y, _ := LimitOf(b, &b.Axles[i], p)
			if x.MM != y.MM {
				return false
			}
		}
	}
	return true
}

// SetAxleLimit keeps a workshop's own limit of a part of an axle, 0 mm to
// withdraw it, and forecasts the vehicle anew. One that leaves more room than
// the maker's or the rule set's needs a reason.
func (s *Service) SetAxleLimit(ctx context.Context, sc auth.Scope, l fleet.AxleLimit, asOf fleet.Date) error {
	h, err := s.DB.History(ctx, sc, l.VehicleID)
	if err != nil {
		return err
	}
	if err := checkAxleLimit(&h, &l); err != nil {
		return err
	}
	if err := s.DB.SetAxleLimit(ctx, sc, l); err != nil {
		return err
	}
	return s.follow(ctx, sc, l.VehicleID, asOf)
}

func checkAxleLimit(h *store.History, l *fleet.AxleLimit) error {
	i := slices.IndexFunc(h.Axles, func(a fleet.Axle) bool { return a.Number == l.Axle })
	if i < 0 {
		return fleet.Invalidf("axle %d: the vehicle has none known", l.Axle)
	}
	spec, ok := h.Axles[i].Specs[l.Part]
	switch {
	case !ok:
		return fleet.Invalidf("axle %d has no specification of its %s: give its new and limit values in an axles file first", l.Axle, l.Part)
	case l.MM == 0 && ownLimit(h, l.Axle, l.Part) == 0:
		return fleet.Invalidf("axle %d, %s: there is no limit of your own to withdraw", l.Axle, l.Part)
	case l.MM == 0:
		return nil
	}
	if err := (fleet.Spec{New: spec.New, Limit: l.MM}).Validate(l.Part); err != nil {
		return err
	}
	held := rules.Or(h.RuleSet).Limit(&h.Vehicle, l.Axle, l.Part, spec, 0)
	looser := l.MM < held.MM
	if l.Part.Grows() {
		looser = l.MM > held.MM
	}
	if looser && l.Why == "" {
		return fleet.Invalidf("%s mm leaves more room than the %s mm that hold (%s): write down why, or keep to them",
			rules.Short(l.MM), rules.Short(held.MM), held.Source())
	}
	return nil
}

// Thresholds returns the thresholds of findings in force in a fleet.
func (s *Service) Thresholds(ctx context.Context, sc auth.Scope, fleetID int64) (rules.Thresholds, error) {
	os, err := s.DB.OwnThresholds(ctx, sc, fleetID)
	if err != nil {
		return nil, err
	}
	own := map[string]float64{}
	for _, o := range os {
		if o.X != nil {
			own[o.ValueID] = *o.X
		}
	}
	return rules.ThresholdsWith(own), nil
}

// SetThreshold puts a workshop's threshold in the place of a published value.
func (s *Service) SetThreshold(ctx context.Context, sc auth.Scope, o store.OwnThreshold) error {
	known := slices.ContainsFunc(rules.ThresholdsWith(nil), func(t rules.Threshold) bool { return t.Published.ID == o.ValueID })
	switch {
	case !known:
		return fleet.Invalidf("threshold %q: there is none of this id", o.ValueID)
	case o.X != nil && (!(*o.X > 0) || math.IsInf(*o.X, 0)):
		return fleet.Invalidf("threshold %g: want a number above 0", *o.X)
	}
	return s.DB.SetThreshold(ctx, sc, o)
}
