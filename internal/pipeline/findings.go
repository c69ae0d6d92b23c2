package pipeline

import (
	"context"
	"sync"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/findings"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// lookout works out what there is to look at on vehicles just forecast.
type lookout struct {
	s     *Service
	sc    auth.Scope
	model forecast.Model

	standing *store.Standing // of all the vehicles, see keep

	mu         sync.Mutex
	thresholds map[int64]rules.Thresholds // by fleet
}

// know reads what the fleets of vehicles hold them to.
func (l *lookout) know(ctx context.Context, hs []*store.History) (err error) {
	l.thresholds = map[int64]rules.Thresholds{}
	for _, h := range hs {
		ts := rules.ThresholdsWith(nil)
		if h.Thresholds { // to ask a server for none takes as long as to read the vehicle
			if ts, err = l.of(ctx, h.Vehicle.FleetID); err != nil {
				return err
			}
		}
		l.thresholds[h.Vehicle.FleetID] = ts
	}
	return nil
}

// at is a looker.
func (l *lookout) at(ctx context.Context, h *store.History, known *forecast.Vehicle, fs []store.AxleForecast) ([]fleet.Finding, error) {
	thresholds, err := l.of(ctx, h.Vehicle.FleetID)
	if err != nil {
		return nil, err
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
		Model:      l.model,
		Known:      known,
		Rules:      rules.Or(h.RuleSet),
		Thresholds: thresholds,
	}
	for i := range fs {
		v.Forecasts = append(v.Forecasts, &fs[i].AxleForecast)
	}
	return findings.Of(&v), nil
}

// of returns what a fleet holds its vehicles to.
func (l *lookout) of(ctx context.Context, fleetID int64) (rules.Thresholds, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if ts := l.thresholds[fleetID]; ts != nil {
		return ts, nil
	}
	ts, err := l.s.Thresholds(ctx, l.sc, fleetID)
	if err != nil {
		return nil, err
	}
	if l.thresholds == nil {
		l.thresholds = map[int64]rules.Thresholds{}
	}
	l.thresholds[fleetID] = ts
	return ts, nil
}

func vehiclesOf(hs []store.History) []int64 {
	ids := make([]int64, len(hs))
	for i := range hs {
		ids[i] = hs[i].Vehicle.ID
	}
	return ids
}

// ConfirmFitment records the fitment that a finding suggests, with the day,
// odometer and value given, and forecasts the vehicle anew.
func (s *Service) ConfirmFitment(ctx context.Context, sc auth.Scope, findingID int64, fit fleet.Fitment, note fleet.Reason, asOf fleet.Date) error {
	vehicle, err := s.DB.ConfirmFitment(ctx, sc, findingID, fit, note)
	if err != nil {
		return err
	}
	return s.follow(ctx, sc, vehicle, asOf)
}

// RefuseFitment keeps that there was no such change of parts, and forecasts the
// vehicle anew without it.
func (s *Service) RefuseFitment(ctx context.Context, sc auth.Scope, findingID int64, note fleet.Reason, asOf fleet.Date) error {
	vehicle, err := s.DB.RefuseFitment(ctx, sc, findingID, note)
	if err != nil {
		return err
	}
	return s.follow(ctx, sc, vehicle, asOf)
}
