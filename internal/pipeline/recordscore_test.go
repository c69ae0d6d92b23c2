package pipeline_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// kept is an invented line: a set that met its limit on day 100 at 10,000 km, and
// a forecast of some days before with the median day and the half width given.
func kept(vehicle int64, ahead int, median, half float64) store.Kept {
	made := fleet.Date(100 - ahead)
	return store.Kept{
		VehicleID: vehicle, Axle: 1, Part: fleet.Pad, Removed: 100, LeftMM: 1, LeftShare: .1, CrossDay: 100, CrossKm: 10000,
		Ahead: ahead, Promised: &made,
		Day: [3]float64{median - half, median, median + half},
		Km:  [3]float64{100 * (median - half), 100 * median, 100 * (median + half)},
	}
}

func scoreOf(rows []store.Kept) pipeline.RecordScore {
	var r pipeline.Scorer
	for i := range rows {
		r.Add(&rows[i])
	}
	return r.Score()
}

// Expected values by hand, from the definitions.
func TestScorer(t *testing.T) {
	none := kept(3, 90, math.NaN(), math.NaN())
	none.Promised = nil
	early := kept(4, 30, math.NaN(), math.NaN())
	early.LeftMM, early.LeftShare, early.CrossDay, early.CrossKm = 5, .5, math.NaN(), math.NaN()
	past := kept(5, 30, 104, 10)
	past.LeftMM, past.LeftShare, past.Replayed = 0, 0, true
	past.Km = [3]float64{10100, 10400, 11000} // the distance is missed, the day is not
	got := scoreOf([]store.Kept{
		// Off by 6 of 30, 13 of 60 and 5 of 90 days: the cone is 6, 12 and 18.
		kept(1, 30, 106, 8), kept(1, 60, 87, 12), kept(1, 90, 105, 20),
		// Inside the cone at all distances.
		kept(2, 30, 101, 3), kept(2, 60, 98, 1), kept(2, 90, 110, 20),
		kept(3, 30, 100, 1), none,
		early, past,
	})
	want := pipeline.RecordScore{
		Removed: 5, PastLimit: 1, LeftMM: 1, LeftShare: .1, Judged: 4,
		Ahead: [3]pipeline.AheadScore{
			{Days: 30, N: 4, Replayed: 1, InsideDays: 4, InsideKm: 3, InCone: 4, ErrorDays: 2.5, ErrorKm: 250},
			{Days: 60, N: 2, InsideDays: 0, InsideKm: 0, InCone: 1, ErrorDays: 7.5, ErrorKm: 750},
			{Days: 90, N: 2, InsideDays: 2, InsideKm: 2, InCone: 2, ErrorDays: 7.5, ErrorKm: 750},
		},
		Horizon: [3]int{2, 1, 1}, WithAll: 2,
	}
	if d := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-9)); d != "" {
		t.Errorf("want, got:\n%s", d)
	}
	nothing := scoreOf(nil)
	if nothing.Removed != 0 || !math.IsNaN(nothing.LeftMM) || !math.IsNaN(nothing.Ahead[0].ErrorDays) {
		t.Errorf("of nothing: got %+v", nothing)
	}
}
