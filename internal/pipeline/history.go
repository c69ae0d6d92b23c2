package pipeline

import (
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
		Depot:    depotOf(h),
		Odometer: odometersOf(h),
		Swaps:    swapsOf(h),
		Axles:    make([]forecast.Axle, len(h.Axles)),
		Memory:   h.Memory,
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
	gauge, step := "", 0.0 // most visits have the same
	for i := range h.Readings {
		r := &h.Readings[i]
		a := at[r.Position.Axle]
		if a == nil {
			continue
		}
		if r.Gauge != gauge {
			gauge, step = r.Gauge, GaugeStep(r.Gauge)
		}
		a.Readings = append(a.Readings, forecast.Reading{
			Day:     forecast.Day(r.Date),
			Km:      orNaN(r.OdometerKm),
			Pos:     placeOf(r.Position),
			MM:      r.MM,
			Step:    step,
			Depot:   v.Depot,
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
			Km:  orNaN(f.OdometerKm),
			Pos: placeOf(f.Position),
			MM:  f.MM,
		})
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

// depotOf names a vehicle's depot for what is learned of it: another fleet may have one of
// the same name.
func depotOf(h *store.History) string {
	if h.Fleet == "" || h.Depot == "" {
		return h.Depot
	}
	return h.Fleet + "/" + h.Depot
}

// odometersOf returns the odometer readings of a vehicle, and the values given with what
// else was done to its axles.
func odometersOf(h *store.History) []forecast.Odometer {
	os := make([]forecast.Odometer, 0, len(h.Odometers)+len(h.Readings)/4)
	for _, o := range h.Odometers {
		os = append(os, forecast.Odometer{Day: forecast.Day(o.Date), Km: o.Km})
	}
	add := func(d fleet.Date, km *float64) {
		if km == nil {
			return
		}
		o := forecast.Odometer{Day: forecast.Day(d), Km: *km}
		// Readings come in date order, so the same visit's value is the last one.
		if n := len(os); n == 0 || os[n-1] != o {
			os = append(os, o)
		}
	}
	known := func(axle int) bool {
		for i := range h.Axles {
			if h.Axles[i].Number == axle {
				return true
			}
		}
		return false
	}
	for i := range h.Readings {
		if r := &h.Readings[i]; known(r.Position.Axle) {
			add(r.Date, r.OdometerKm)
		}
	}
	for _, f := range h.Fitments {
		if known(f.Position.Axle) {
			add(f.Date, f.OdometerKm)
		}
	}
	for _, b := range h.BrakeTests {
		add(b.Date, b.OdometerKm)
	}
	return os
}

// swapsOf returns the changes of its instrument cluster.
func swapsOf(h *store.History) (swaps []forecast.DeclaredSwap) {
	for _, s := range h.Swaps {
		swaps = append(swaps, forecast.DeclaredSwap{Day: forecast.Day(s.Date), Old: s.OldKm, New: s.NewKm})
	}
	return swaps
}

func placeOf(p fleet.Position) forecast.Position {
	return forecast.Position{Part: forecast.Part(p.Part), Side: string(p.Side), Face: string(p.Face)}
}

// GaugeStep reads a gauge's smallest step in mm from its name ("0.1 mm
// caliper"); 0 where the name does not tell.
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
