package pipeline

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// VehicleOf turns what the store knows of a vehicle into what the forecast
// works on. Odometer values given with readings, fitments and brake tests join
// the odometer readings proper; limits are those in force, see LimitOf.
func VehicleOf(h *store.History) *forecast.Vehicle {
	v := &forecast.Vehicle{
		ID:       h.Vehicle.Number,
		Class:    string(h.Vehicle.Category),
		Duty:     strings.ToLower(strings.TrimSpace(h.Vehicle.Duty)),
		Model:    strings.TrimSpace(h.Vehicle.Make + " " + h.Vehicle.Model),
		Depot:    h.Depot,
		Odometer: make([]forecast.Odometer, 0, len(h.Odometers)+len(h.Readings)/4),
		Axles:    make([]forecast.Axle, len(h.Axles)),
		Memory:   h.Memory,
	}
	for _, o := range h.Odometers {
		v.Odometer = append(v.Odometer, forecast.Odometer{Day: forecast.Day(o.Date), Km: o.Km})
	}
	for _, s := range h.Swaps {
		v.Swaps = append(v.Swaps, forecast.DeclaredSwap{Day: forecast.Day(s.Date), Old: s.OldKm, New: s.NewKm})
	}
	at := make(map[int]*forecast.Axle, len(h.Axles))
	many := make(map[int]int, len(h.Axles)) // readings: lists of them are made once
	for i := range h.Readings {
		many[h.Readings[i].Position.Axle]++
	}
	for i, a := range h.Axles {
		specs := make(map[forecast.Part]forecast.Spec, len(a.Specs))
		for p, s := range a.Specs {
			l, _ := LimitOf(h, &a, p)
			specs[forecast.Part(p)] = forecast.Spec{New: s.New, Limit: l.MM}
		}
		v.Axles[i] = forecast.Axle{Number: a.Number, Specs: specs, Readings: slices.Grow([]forecast.Reading(nil), many[a.Number])}
		at[a.Number] = &v.Axles[i]
	}
	for i := range h.Readings {
		r := &h.Readings[i]
		a := at[r.Position.Axle]
		if a == nil {
			continue
		}
		a.Readings = append(a.Readings, forecast.Reading{
			Day:     forecast.Day(r.Date),
			Km:      withOdometer(v, r.Date, r.OdometerKm),
			Pos:     placeOf(r.Position),
			MM:      r.MM,
			Step:    GaugeStep(r.Gauge),
			Depot:   h.Depot,
			Tripped: r.Tripped,
		})
	}
	for _, f := range h.Fitments {
		a := at[f.Position.Axle]
		if a == nil {
			continue
		}
		a.Fitments = append(a.Fitments, forecast.Fitment{
			Day: forecast.Day(f.Date),
			Km:  withOdometer(v, f.Date, f.OdometerKm),
			Pos: placeOf(f.Position),
			MM:  f.MM,
		})
	}
	for _, b := range h.BrakeTests {
		withOdometer(v, b.Date, b.OdometerKm)
	}
	for _, r := range h.Refused {
		if a := at[r.Position.Axle]; a != nil {
			a.Kept = append(a.Kept, forecast.Kept{
				Part: forecast.Part(r.Position.Part), After: forecast.Day(r.After), Before: forecast.Day(r.Before),
			})
		}
	}
	return v
}

// withOdometer adds an odometer value read beside a thickness to v's odometer
// readings, once a day, and returns it; NaN when none was given.
func withOdometer(v *forecast.Vehicle, d fleet.Date, km *float64) float64 {
	if km == nil {
		return math.NaN()
	}
	o := forecast.Odometer{Day: forecast.Day(d), Km: *km}
	// Readings come in date order, so the same visit's value is the last one.
	if n := len(v.Odometer); n == 0 || v.Odometer[n-1] != o {
		v.Odometer = append(v.Odometer, o)
	}
	return *km
}

func placeOf(p fleet.Position) forecast.Position {
	return forecast.Position{Part: forecast.Part(p.Part), Side: string(p.Side), Face: string(p.Face)}
}

// GaugeStep reads a gauge's smallest step in mm from its name ("0.1 mm
// caliper"); 0 where the name does not tell. It runs for every reading of a refit.
func GaugeStep(gauge string) float64 {
	before, _, ok := strings.Cut(gauge, "mm")
	if !ok {
		return 0
	}
	before = strings.TrimRight(before, " \t")
	digits := strings.TrimRight(before, "0123456789.")
	step, err := strconv.ParseFloat(strings.Trim(before[len(digits):], "."), 64)
	if err != nil || step > 5 { // no gauge is that coarse: the number means something else
		return 0
	}
	return step
}
