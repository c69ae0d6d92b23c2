package pipeline

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// Learned is what the full model learned from the fleet at one time.
type Learned struct {
	At     time.Time
	AsOf   fleet.Date
	Params forecast.Params
}

// Learned returns up to limit of what the full model learned, newest first. It
// belongs to the installation, whose vehicles all borrow from it.
func (s *Service) Learned(ctx context.Context, limit int) ([]Learned, error) {
	ps, err := s.DB.ParametersHistory(ctx, DefaultModel, limit)
	if err != nil {
		return nil, err
	}
	out := make([]Learned, len(ps))
	for i, p := range ps {
		var m forecast.Full
		if err := json.Unmarshal(p.Values, &m); err != nil {
			return nil, fmt.Errorf("parameters %d: %w", p.ID, err)
		}
		out[i] = Learned{p.FittedAt, p.AsOf, m.Params}
	}
	return out, nil
}
