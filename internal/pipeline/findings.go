package pipeline

import (
	"context"

	"brakewear/forecast"
	"brakewear/internal/findings"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// keepFindings works out what there is to look at on vehicles just forecast.
// fs are their forecasts, in the same order.
func (s *Service) keepFindings(ctx context.Context, sc fleet.Scope, hs []store.History, fs []store.AxleForecast, m forecast.Model, asOf fleet.Date) error {
	thresholds := map[int64]rules.Thresholds{} // by fleet
	ids := make([]int64, len(hs))
	var found []fleet.Finding
	for i := range hs {
		h := &hs[i]
		ids[i] = h.Vehicle.ID
		of := h.Vehicle.FleetID
		if thresholds[of] == nil {
			var err error
			if thresholds[of], err = s.Thresholds(ctx, sc, of); err != nil {
				return err
			}
		}
		v := findings.Vehicle{
			Vehicle:    h.Vehicle,
			Axles:      h.Axles,
			Limits:     h.Limits,
			Odometers:  h.Odometers,
			Readings:   h.Readings,
			Fitments:   h.Fitments,
			Conditions: h.Conditions,
			Rotors:     h.Rotors,
			BrakeTests: h.BrakeTests,
			Model:      m,
			Known:      VehicleOf(h),
			Rules:      rules.Or(h.RuleSet),
			Thresholds: thresholds[of],
		}
		for ; len(fs) > 0 && fs[0].VehicleID == h.Vehicle.ID; fs = fs[1:] {
			v.Forecasts = append(v.Forecasts, &fs[0].AxleForecast)
		}
		found = append(found, findings.Of(&v)...)
	}
	return s.DB.SaveFindings(ctx, sc, ids, found, asOf)
}

// ConfirmFitment records the fitment that a finding suggests, with the day,
// odometer and value given, and forecasts the vehicle anew.
func (s *Service) ConfirmFitment(ctx context.Context, sc fleet.Scope, findingID int64, fit fleet.Fitment, note fleet.Reason, asOf fleet.Date) error {
	vehicle, err := s.DB.ConfirmFitment(ctx, sc, findingID, fit, note)
	if err != nil {
		return err
	}
	return s.follow(ctx, sc, vehicle, asOf)
}

// RefuseFitment keeps that there was no such change of parts, and forecasts the
// vehicle anew without it.
func (s *Service) RefuseFitment(ctx context.Context, sc fleet.Scope, findingID int64, note fleet.Reason, asOf fleet.Date) error {
	vehicle, err := s.DB.RefuseFitment(ctx, sc, findingID, note)
	if err != nil {
		return err
	}
	return s.follow(ctx, sc, vehicle, asOf)
}
