package pipeline

import (
	"math"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/store"
)

// coneAlpha is the half width of the alpha-lambda cone: a forecast is inside when
// it is off by at most this share of the time that was left. The usual value of
// Saxena et al., Metrics for Offline Evaluation of Prognostic Performance (2010).
const coneAlpha = .2

// RecordScore sums up a track record.
type RecordScore struct {
	Removed   int     // sets
	PastLimit int     // of them at or past their limit
	LeftMM    float64 // median of the usable lining left; NaN when none came off
	LeftShare float64
	Judged    int // worn enough to say where they met or would have met their limit
	Ahead     [len(Ahead)]AheadScore
	// Horizon counts the judged sets by how far ahead forecasts had come within
	// the cone and stayed so: Horizon[i] are those of Ahead[i] days or more. Only
	// sets forecast at all distances count, WithAll of them.
	Horizon [len(Ahead)]int
	WithAll int
}

// AheadScore is how forecasts made so many days ahead did.
type AheadScore struct {
	Days                 int // ahead
	N                    int // judged sets that were forecast then
	Replayed             int // of these, worked out afterwards
	InsideDays, InsideKm int // within the 80 % interval
	InCone               int
	ErrorDays, ErrorKm   float64 // median of the absolute error; NaN for none
}

// ScoreRecord sums up lines of the track record, which hold the distances of
// Ahead of each set.
func ScoreRecord(rows []store.Kept) RecordScore {
	var s RecordScore
	for i, d := range Ahead {
		s.Ahead[i].Days = d
	}
	var leftMM, leftShare []float64
	var days, kms [len(Ahead)][]float64
	type set struct {
		vehicle int64
		axle    int
		part    string
		removed int
	}
	inside := make(map[set]*[len(Ahead)]int8) // 1 in the cone, -1 outside, 0 not forecast
	for i := range rows {
		k := &rows[i]
		a := slices.Index(Ahead[:], k.Ahead)
		if a < 0 {
			continue
		}
		judged := !math.IsNaN(k.CrossDay)
		if a == 0 {
			s.Removed++
			leftMM, leftShare = append(leftMM, k.LeftMM), append(leftShare, k.LeftShare)
			if k.LeftMM <= 0 {
				s.PastLimit++
			}
			if judged {
				s.Judged++
			}
		}
		if !judged || k.Promised == nil || math.IsNaN(k.Day[1]) {
			continue
		}
		score := &s.Ahead[a]
		score.N++
		if k.Replayed {
			score.Replayed++
		}
		if k.Day[0] <= k.CrossDay && k.CrossDay <= k.Day[2] {
			score.InsideDays++
		}
		if k.Km[0] <= k.CrossKm && k.CrossKm <= k.Km[2] {
			score.InsideKm++
		}
		days[a] = append(days[a], math.Abs(k.Day[1]-k.CrossDay))
		kms[a] = append(kms[a], math.Abs(k.Km[1]-k.CrossKm))
		key := set{k.VehicleID, k.Axle, string(k.Part), int(k.Removed)}
		if inside[key] == nil {
			inside[key] = new([len(Ahead)]int8)
		}
		from := float64(*k.Promised)
		inside[key][a] = -1
		if forecast.InCone(k.Day[1]-from, k.CrossDay-from, coneAlpha) {
			score.InCone++
			inside[key][a] = 1
		}
	}
	s.LeftMM, s.LeftShare = median(leftMM), median(leftShare)
	for a := range Ahead {
		s.Ahead[a].ErrorDays, s.Ahead[a].ErrorKm = median(days[a]), median(kms[a])
	}
	for _, in := range inside {
		if slices.Contains(in[:], 0) {
			continue
		}
		s.WithAll++
		for a := 0; a < len(Ahead) && in[a] > 0; a++ {
			s.Horizon[a]++
		}
	}
	return s
}

// median returns the middle of xs, which it sorts; NaN of none.
func median(xs []float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	slices.Sort(xs)
	n := len(xs)
	return (xs[(n-1)/2] + xs[n/2]) / 2
}
