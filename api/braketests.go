package api

import (
	"math"
	"net/http"
	"slices"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
)

// BrakeTest is one brake test with its judgement by the fleet's rule set.
type BrakeTest struct {
	ID         int64       `json:"id"`
	Date       fleet.Date  `json:"date"`
	Method     string      `json:"method"`
	Brake      string      `json:"brake"`
	Stage      string      `json:"stage"` // before or after a job; blank: of none
	OdometerKm *float64    `json:"odometer_km"`
	WeightKg   *float64    `json:"weight_kg"`
	Wheels     []Wheel     `json:"wheels"`
	Mean       *float64    `json:"mean_m_s2"`
	Peak       *float64    `json:"peak_m_s2"`
	SpeedKmh   *float64    `json:"speed_km_h"`
	DistanceM  *float64    `json:"distance_m"`
	BeginM     *float64    `json:"begin_m"`
	EndM       *float64    `json:"end_m"`
	PedalN     *float64    `json:"pedal_n"`
	Technician string      `json:"technician"`
	Note       string      `json:"note"`
	UploadID   int64       `json:"upload_id"`
	Efficiency *float64    `json:"efficiency_percent"`
	Per100N    *float64    `json:"efficiency_per_100_n"`
	Imbalance  []Imbalance `json:"imbalance"`
	Judgement  Judgement   `json:"judgement"`
}

// Wheel is the braking force at one wheel.
type Wheel struct {
	Axle   int     `json:"axle"`
	Side   string  `json:"side"`
	ForceN float64 `json:"force_n"`
	Locked bool    `json:"locked"`
}

// Imbalance is the difference of an axle's two wheels, of the higher.
type Imbalance struct {
	Axle    int     `json:"axle"`
	Percent float64 `json:"percent"`
}

// Judgement is a brake test held against a rule set, when it was judged.
type Judgement struct {
	RuleSet    string     `json:"rule_set"`  // id; blank: none was picked
	JudgedAt   *time.Time `json:"judged_at"` // null: not kept yet
	Verdict    string     `json:"verdict"`
	VerdictNow string     `json:"verdict_now"` // by the rule set picked now
	Summary    string     `json:"summary"`
	Checks     []Check    `json:"checks"`
	Notes      []string   `json:"notes"`
	Why        string     `json:"why"`    // it was judged anew; blank: it was not
	Before     []Said     `json:"before"` // newest first
}

// Said is a judgement that another has followed.
type Said struct {
	RuleSet  string    `json:"rule_set"`
	JudgedAt time.Time `json:"judged_at"`
	Verdict  string    `json:"verdict"`
	Why      string    `json:"why"`
}

// Check is one value held against what is required.
type Check struct {
	What     string  `json:"what"`
	Axle     int     `json:"axle"` // 0: the vehicle
	Measured float64 `json:"measured"`
	Required float64 `json:"required"`
	Margin   float64 `json:"margin"` // above 0 is on the right side
	Verdict  string  `json:"verdict"`
	Source   string  `json:"source"` // id of the published value
	Document string  `json:"document"`
	Section  string  `json:"section"`
	Says     string  `json:"says"`
}

// some is null for a value that was not measured.
func some(x float64, decimals int) *float64 {
	if x == 0 {
		return nil
	}
	return number(x, decimals)
}

func round(x float64, decimals int) float64 {
	scale := math.Pow10(decimals)
	return math.Round(x*scale) / scale
}

// brakeTests answers with the brake tests of a vehicle that count, in the
// order they were done.
func (a *API) brakeTests(c *gin.Context) error {
	h, err := a.known(c)
	if err != nil {
		return err
	}
	said := map[int64][]fleet.Said{}
	if slices.ContainsFunc(h.BrakeTests, func(b fleet.BrakeTest) bool { return b.Said != nil && b.Said.Number > 0 }) {
		if said, err = a.svc.DB.Verdicts(c.Request.Context(), a.scope(c), h.Vehicle.ID); err != nil {
			return err
		}
	}
	return send(c, http.StatusOK, List[BrakeTest]{items(h.BrakeTests, func(b *fleet.BrakeTest) BrakeTest {
		return brakeTestOf(&h, b, said[b.ID])
	})})
}

// brakeTestOf is a test with all that was said of it, from first to last.
func brakeTestOf(h *store.History, b *fleet.BrakeTest, said []fleet.Said) BrakeTest {
	j := pipeline.JudgeBrakeTest(h, b)
	var at *time.Time
	var why string
	if b.Said != nil {
		at, why = &b.Said.At, b.Said.Why
	}
	before := []Said{}
	for i := len(said) - 2; i >= 0; i-- {
		s := &said[i]
		before = append(before, Said{s.RuleSet, s.At.UTC(), s.Verdict, s.Why})
	}
	per100 := 0.0
	if j.Efficiency > 0 {
		per100 = b.PerHundredN()
	}
	return BrakeTest{
		ID:         b.ID,
		Date:       b.Date,
		Method:     string(b.Method),
		Brake:      string(b.System),
		Stage:      string(b.Stage),
		OdometerKm: b.OdometerKm,
		WeightKg:   some(b.WeightKg, 3),
		Wheels: items(b.Wheels, func(w *fleet.WheelEffort) Wheel {
			return Wheel{w.Axle, string(w.Side), w.N, w.Locked}
		}),
		Mean:       some(b.Mean, 6),
		Peak:       some(b.Peak, 6),
		SpeedKmh:   some(b.SpeedKmh, 6),
		DistanceM:  some(b.DistanceM, 6),
		BeginM:     some(b.BeginM, 6),
		EndM:       some(b.EndM, 6),
		PedalN:     some(b.PedalN, 3),
		Technician: b.Technician,
		Note:       b.Note,
		UploadID:   b.UploadID,
		Efficiency: some(j.Efficiency, 2),
		Per100N:    some(per100, 2),
		Imbalance: items(b.Imbalances(), func(x *fleet.Across) Imbalance {
			return Imbalance{x.Axle, round(x.Percent, 2)}
		}),
		Judgement: Judgement{
			RuleSet:    j.Set.ID,
			JudgedAt:   at,
			Verdict:    j.Verdict.String(),
			VerdictNow: pipeline.JudgeAnew(h, b).Verdict.String(),
			Summary:    j.Summary(),
			Checks: items(j.Checks, func(x *rules.Check) Check {
				return Check{
					What:     string(x.What),
					Axle:     x.Axle,
					Measured: round(x.Measured, 4),
					Required: round(x.Required, 4),
					Margin:   round(x.Margin, 4),
					Verdict:  x.Verdict.String(),
					Source:   x.Bound.Use.Value.ID,
					Document: x.Bound.Use.Value.Source,
					Section:  x.Bound.Use.Value.Section,
					Says:     x.String(),
				}
			}),
			Notes:  append([]string{}, j.Notes...),
			Why:    why,
			Before: before,
		},
	}
}
