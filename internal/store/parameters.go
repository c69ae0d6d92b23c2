package store

import (
	"context"
	"encoding/json"
	"time"

	"brakewear/internal/fleet"
)

// Parameters are what a forecast model learned. They belong to the
// installation, not to one fleet.
type Parameters struct {
	ID          int64
	Model       string
	FittedAt    time.Time
	AsOf        fleet.Date
	Values      json.RawMessage
	Diagnostics json.RawMessage
}

// SaveParameters adds p, and sets p.ID and, when it is zero, p.FittedAt.
func (db *DB) SaveParameters(ctx context.Context, p *Parameters) error { return errUnfinished }

// LatestParameters returns what the model learned last.
func (db *DB) LatestParameters(ctx context.Context, model string) (Parameters, error) {
	return Parameters{}, errUnfinished
}

// ParametersHistory returns up to limit of what the model learned, newest
// first.
func (db *DB) ParametersHistory(ctx context.Context, model string, limit int) ([]Parameters, error) {
	return nil, errUnfinished
}
