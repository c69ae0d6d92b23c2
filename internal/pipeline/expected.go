package pipeline

import (
	"context"
	"math"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Expected is what a reading of one position is likely to show.
type Expected struct {
	Position fleet.Position
	Spec     fleet.Spec // new and limit value; its source is left out
	// LastDate and LastMM are the last reading of the part that is on, nil
	// when it was never read.
	LastDate *fleet.Date
	LastMM   *float64
	// Median and the range outside of which a value is doubtful, mm.
	Median, Low, High float64
}

// Expected returns what the positions of a vehicle are likely to read on a day,
// by axle and position: those that are read apart, or of a part never read all
// it has. An axle without a specification has none.
func (s *Service) Expected(ctx context.Context, sc auth.Scope, vehicleID int64, day fleet.Date) ([]Expected, error) {
	h, err := s.DB.History(ctx, sc, vehicleID)
	if err != nil {
		return nil, err
	}
	m, err := s.latest(ctx)
	if err != nil {
		return nil, err
	}
	return expected(m, &h, day, nil), nil
}

// expected is Expected for what is known of a vehicle, with the odometer on
// the day where it was read, of some parts or of all.
func expected(m forecast.Model, h *store.History, day fleet.Date, km *float64, of ...forecast.AxlePart) []Expected {
	at := math.NaN()
	if km != nil {
		at = *km
	}
	var out []Expected
	for _, e := range forecast.Expect(m, VehicleOf(h), forecast.Day(day), at, of...) {
		x := Expected{
			Position: fleet.Position{
				Axle: e.Axle,
				Part: fleet.Part(e.Pos.Part),
				Side: fleet.Side(e.Pos.Side),
				Face: fleet.Face(e.Pos.Face),
			},
			Spec:   fleet.Spec{New: e.Spec.New, Limit: e.Spec.Limit},
			Median: e.Median, Low: e.Low, High: e.High,
		}
		if e.Last != nil {
			d, mm := fleet.Date(e.Last.Day), e.Last.MM
			x.LastDate, x.LastMM = &d, &mm
		}
		out = append(out, x)
	}
	return out
}
