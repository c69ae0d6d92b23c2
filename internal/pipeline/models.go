package pipeline

import (
	"cmp"
	"encoding/json"
	"iter"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// DefaultModel is the model used unless another is asked for.
const DefaultModel = "full"

// kind is a kind of model: how it is learned and how it is loaded again.
type kind struct {
	name string
	// shares: it is learned from shares of the fleet, by forecast.Learner;
	// else by one process from the whole.
	shares bool
	train  func(vs iter.Seq[*forecast.Vehicle], asOf forecast.Day) (forecast.Model, error)
	load   func(values []byte) (forecast.Model, error)
}

// kinds are the models people can choose from. Adding a model is adding a row.
var kinds = []kind{
	{
		name: "line",
		train: func(iter.Seq[*forecast.Vehicle], forecast.Day) (forecast.Model, error) {
			return forecast.Line{}, nil
		},
		load: func([]byte) (forecast.Model, error) { return forecast.Line{}, nil },
	},
	{
		name: "pooled",
		train: func(vs iter.Seq[*forecast.Vehicle], asOf forecast.Day) (forecast.Model, error) {
			return forecast.TrainPooled(vs, asOf)
		},
		load: loadAs[forecast.Pooled],
	},
	{
		name:   "full",
		shares: true,
		train: func(vs iter.Seq[*forecast.Vehicle], asOf forecast.Day) (forecast.Model, error) {
			return forecast.TrainFull(vs, asOf)
		},
		load: loadAs[forecast.Full],
	},
}

// yardsticks are models that only serve to be compared with: what a workshop
// does without a forecast.
var yardsticks = []kind{
	{
		name: "two-point",
		train: func(vs iter.Seq[*forecast.Vehicle], asOf forecast.Day) (forecast.Model, error) {
			return forecast.TrainTwoPoint(vs, asOf), nil
		},
	},
	{
		name: "fixed",
		train: func(vs iter.Seq[*forecast.Vehicle], asOf forecast.Day) (forecast.Model, error) {
			return forecast.TrainFixedInterval(vs, asOf), nil
		},
	},
}

// loadAs reads a model from the JSON it was kept in.
func loadAs[T any, P interface {
	*T
	forecast.Model
}](values []byte) (forecast.Model, error) {
	m := P(new(T))
	return m, json.Unmarshal(values, m)
}

// ModelNames lists the models that can be asked for.
func ModelNames() []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = k.name
	}
	return names
}

// kind is the kind of model the service forecasts with.
func (s *Service) kind() (kind, error) { return kindOf(cmp.Or(s.Model, DefaultModel)) }

// kindOf returns the kind of a name.
func kindOf(name string) (kind, error) {
	for _, k := range kinds {
		if k.name == name {
			return k, nil
		}
	}
	return kind{}, fleet.Invalidf("model %q: want one of %s", name, strings.Join(ModelNames(), ", "))
}
