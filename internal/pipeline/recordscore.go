package pipeline

import (
	"math"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/fleet"
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

// Scorer sums up lines of the track record, one after the other.
type Scorer struct {
	s                 RecordScore
	leftMM, leftShare []float64
	days, kms         [len(Ahead)][]float64
	set               recordSet        // whose lines come just now
	inside            [len(Ahead)]int8 // of it: 1 in the cone, -1 outside, 0 not forecast
}

type recordSet struct {
	vehicle int64
	axle    int
	part    fleet.Part
	removed fleet.Date
}

// Add adds a line. Those of a set, at the distances of Ahead, come in a row.
func (r *Scorer) Add(k *store.Kept) {
	a := slices.Index(Ahead[:], k.Ahead)
	if a < 0 {
		return
	}
	if set := (recordSet{k.VehicleID, k.Axle, k.Part, k.Removed}); set != r.set {
		r.endSet()
		r.set = set
	}
	s := &r.s
	judged := !math.IsNaN(k.CrossDay)
	if a == 0 {
		s.Removed++
		r.leftMM, r.leftShare = append(r.leftMM, k.LeftMM), append(r.leftShare, k.LeftShare)
		if k.LeftMM <= 0 {
			s.PastLimit++
		}
		if judged {
			s.Judged++
		}
	}
	if !judged || k.Promised == nil || math.IsNaN(k.Day[1]) {
		return
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
	r.days[a] = append(r.days[a], math.Abs(k.Day[1]-k.CrossDay))
	r.kms[a] = append(r.kms[a], math.Abs(k.Km[1]-k.CrossKm))
	from := float64(*k.Promised)
	r.inside[a] = -1
	if forecast.InCone(k.Day[1]-from, k.CrossDay-from, coneAlpha) {
		score.InCone++
		r.inside[a] = 1
	}
}

func (r *Scorer) endSet() {
	in := r.inside
	r.inside = [len(Ahead)]int8{}
	if slices.Contains(in[:], 0) {
		return
	}
	r.s.WithAll++
	for a := 0; a < len(Ahead) && in[a] > 0; a++ {
		r.s.Horizon[a]++
	}
}

// Score returns the sum of what was added.
func (r *Scorer) Score() RecordScore {
	r.endSet()
	r.s.LeftMM, r.s.LeftShare = median(r.leftMM), median(r.leftShare)
	for a, d := range Ahead {
		r.s.Ahead[a].Days = d
		r.s.Ahead[a].ErrorDays, r.s.Ahead[a].ErrorKm = median(r.days[a]), median(r.kms[a])
	}
	return r.s
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
