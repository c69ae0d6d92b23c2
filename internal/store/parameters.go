package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/jmoiron/sqlx"

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

// SaveParameters adds p and sets p.ID, and p.FittedAt to now when it is zero.
func (db *DB) SaveParameters(ctx context.Context, p *Parameters) error {
	if err := p.valid(); err != nil {
		return err
	}
	return db.tend(ctx, "keep parameters", func(t *tx) error { return t.saveParameters(p) })
}

func (p *Parameters) valid() error {
	if p.Model == "" || !json.Valid(p.Values) || !json.Valid(p.Diagnostics) {
		return fleet.Invalidf("parameters of model %q: want a name, and JSON for values and diagnostics", p.Model)
	}
	return nil
}

func (t *tx) saveParameters(p *Parameters) error {
	if p.FittedAt.IsZero() {
		p.FittedAt = t.db.now()
	}
	return t.one([]any{&p.ID}, `
		insert into model_parameters (model, fitted_at, as_of, learned, diagnostics)
		values (?, ?, ?, ?, ?)
		returning id`,
		p.Model, instant(p.FittedAt), p.AsOf, string(p.Values), string(p.Diagnostics))
}

// LatestParameters returns what the model learned last; only its ID where that is
// known, the id of those that the caller has (0 = none).
func (db *DB) LatestParameters(ctx context.Context, model string, known int64) (Parameters, error) {
	ps, err := db.parameters(ctx, model, known, 1)
	switch {
	case err != nil:
		return Parameters{}, err
	case len(ps) > 0:
		return ps[0], nil
	case known != 0:
		return Parameters{ID: known}, nil // rows are never changed or taken away
	}
	return Parameters{}, fleet.NotFoundf("model %q: it has learned nothing yet", model)
}

// ParametersHistory returns up to limit of what the model learned, newest
// first.
func (db *DB) ParametersHistory(ctx context.Context, model string, limit int) ([]Parameters, error) {
	return db.parameters(ctx, model, 0, limit)
}

// parameters returns those with an id above after, newest first.
func (db *DB) parameters(ctx context.Context, model string, after int64, limit int) (ps []Parameters, err error) {
	err = db.ask(ctx, "read parameters", func(r *sqlx.Rows) error {
		var p Parameters
		err := r.Scan(p.scan()...)
		ps = append(ps, p)
		return err
	}, parametersQuery, model, after, limitOf(limit))
	return ps, err
}

// parametersQuery finds those of a model with an id above one, newest first, up to so
// many.
const parametersQuery = `
	select
		id,
		model,
		fitted_at,
		as_of,
		learned,
		diagnostics
	from model_parameters
	where model = ? and id > ?
	order by id desc
	limit ?`

func (p *Parameters) scan() []any {
	return []any{
		&p.ID,
		&p.Model,
		(*instant)(&p.FittedAt),
		&p.AsOf,
		(*[]byte)(&p.Values),
		(*[]byte)(&p.Diagnostics),
	}
}
