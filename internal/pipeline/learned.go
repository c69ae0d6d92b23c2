package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Learned is what the full model learned from the fleet at one time.
type Learned struct {
	At     time.Time
	AsOf   fleet.Date
	Params forecast.Params
}

// Learned returns up to limit of what the full model learned, newest first. It
// belongs to the installation, whose vehicles all borrow from it. The names of
// depots, duties and models are their fleets' own: of these it has the ones that
// vehicles of sc have.
func (s *Service) Learned(ctx context.Context, sc auth.Scope, limit int) ([]Learned, error) {
	ps, err := s.DB.ParametersHistory(ctx, DefaultModel, limit)
	if err != nil {
		return nil, err
	}
	var own []forecast.Vehicle
	if !sc.All() {
		kinds, err := s.DB.VehicleKinds(ctx, sc)
		if err != nil {
			return nil, err
		}
		for i := range kinds {
			own = append(own, *VehicleOf(&store.History{Vehicle: kinds[i].Vehicle, Fleet: kinds[i].Fleet, Depot: kinds[i].Depot}))
		}
	}
	out := make([]Learned, len(ps))
	for i, p := range ps {
		var m forecast.Full
		if err := json.Unmarshal(p.Values, &m); err != nil {
			return nil, fmt.Errorf("parameters %d: %w", p.ID, err)
		}
		if !sc.All() {
			m.Params = m.Params.NamedBy(own)
		}
		out[i] = Learned{p.FittedAt, p.AsOf, m.Params}
	}
	return out, nil
}
