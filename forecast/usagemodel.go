package forecast

import "iter"

// UsageModel is what a fleet teaches about distance driven.
type UsageModel struct{}

// DefaultUsage returns the model used when no fleet is known.
func DefaultUsage() UsageModel { return UsageModel{} }

// TrainUsage learns the model from the odometers of a fleet up to asOf.
func TrainUsage(seq iter.Seq[*Vehicle], asOf Day) UsageModel { return DefaultUsage() }

// Forecast forecasts one vehicle of a class from asOf on.
func (m *UsageModel) Forecast(t Track, class string, asOf Day) Usage { return SimpleUsage(t, asOf) }
