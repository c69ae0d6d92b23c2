package pipeline

import (
	"context"
	"math"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Ahead are the distances in days over which promises are held against what came
// off.
var Ahead = [...]int{30, 60, 90}

const (
	// staleDays: a forecast stands for the one that would have been made so many
	// days later. Judgement: the log is written at least once a month.
	staleDays = 45
	// replayedAfter: a forecast stored so many days after the day it is for was
	// no promise then, though it knows no more than was known that day.
	replayedAfter = 7
)

// keepRecord brings the track record of some vehicles up to date: what came off
// them, and what had been forecast of it.
func (s *Service) keepRecord(ctx context.Context, sc auth.Scope, st *store.Standing, hs []store.History, asOf fleet.Date) error {
	type vehicle struct {
		id    int64
		off   []forecast.Removal
		track forecast.Track
	}
	var changed []vehicle
	var changedIDs []int64
	for i := range hs {
		v := vehicle{id: hs[i].Vehicle.ID}
		if len(hs[i].Fitments) > 0 {
			v.off, v.track = forecast.Removals(VehicleOf(&hs[i]), forecast.Day(asOf))
		}
		if !sameRemovals(st.Removals[v.id], v.off) {
			changed = append(changed, v)
			changedIDs = append(changedIDs, v.id)
		}
	}
	if len(changed) == 0 {
		return nil
	}
	promises, err := s.DB.Promises(ctx, sc, changedIDs)
	if err != nil {
		return err
	}
	made := make(map[store.AxleKey][]store.Promise)
	for _, p := range promises {
		key := store.AxleKey{VehicleID: p.VehicleID, Axle: p.Axle}
		made[key] = append(made[key], p)
	}
	var fresh []store.Kept
	for _, v := range changed {
		for _, r := range v.off {
			for _, ahead := range Ahead {
				fresh = append(fresh, keptOf(v.id, r, ahead, made[store.AxleKey{VehicleID: v.id, Axle: r.Axle}], v.track))
			}
		}
	}
	return s.DB.KeepRecord(ctx, sc, changedIDs, fresh)
}

// sameRemovals says whether what is kept of a vehicle is what came off it. The
// day of a crossing moves as the odometer goes on: by less than a day it does not
// matter.
func sameRemovals(kept []store.Kept, off []forecast.Removal) bool {
	if len(kept) != len(off) {
		return false
	}
	at := make(map[forecast.Removal]store.Kept, len(kept)) // by axle, part and day
	for _, k := range kept {
		at[forecast.Removal{Axle: k.Axle, Part: forecast.Part(k.Part), Removed: forecast.Day(k.Removed)}] = k
	}
	for _, r := range off {
		k, ok := at[forecast.Removal{Axle: r.Axle, Part: r.Part, Removed: r.Removed}]
		if !ok || k.Fitted != fleet.Date(r.Fitted) || k.LeftMM != r.LeftMM || !near(k.CrossDay, r.CrossDay, 1) || !near(k.CrossKm, r.CrossKm, 1) {
			return false
		}
	}
	return true
}

func near(a, b, by float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < by
}

// keptOf holds a removal against the last forecast made so many days before it,
// of the same set.
func keptOf(vehicleID int64, r forecast.Removal, ahead int, made []store.Promise, track forecast.Track) store.Kept {
	nan := math.NaN()
	k := store.Kept{
		VehicleID: vehicleID, Axle: r.Axle, Part: fleet.Part(r.Part),
		Fitted: fleet.Date(r.Fitted), Removed: fleet.Date(r.Removed),
		LeftMM: r.LeftMM, LeftShare: r.LeftShare, CrossDay: r.CrossDay, CrossKm: r.CrossKm,
		Ahead: ahead, AtKm: nan, Day: [3]float64{nan, nan, nan}, Km: [3]float64{nan, nan, nan},
	}
	latest := k.Removed - fleet.Date(ahead)
	for i := len(made) - 1; i >= 0; i-- {
		p := &made[i]
		if p.AsOf > latest {
			continue
		}
		// On the day of fitting a forecast may still be of the set before.
		if p.AsOf > k.Fitted && latest-p.AsOf <= staleDays {
			day := p.AsOf
			k.Promised = &day
			k.Replayed = fleet.DateOf(p.LoggedAt)-p.AsOf > replayedAfter
			k.Day = p.Day
			shift := track.ShiftOn(forecast.Day(p.AsOf))
			k.AtKm = p.OdometerKm + shift
			for j, km := range p.Km {
				k.Km[j] = km + shift
			}
		}
		break
	}
	return k
}
