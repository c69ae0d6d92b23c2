package api

import (
	"cmp"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
)

// sentTest is what is to be different in the brake test that stands instead of
// one. What is left out stays as it is; null in the place of a number says that it was not measured.
type sentTest struct {
	Date       *fleet.Date        `json:"date"`
	Method     *fleet.Method      `json:"method"`
	Brake      *fleet.BrakeSystem `json:"brake"`
	Stage      *fleet.Stage       `json:"stage"`
	OdometerKm maybe[float64]     `json:"odometer_km"`
	WeightKg   maybe[float64]     `json:"weight_kg"`
	Wheels     *[]struct {
		Axle   int        `json:"axle"`
		Side   fleet.Side `json:"side"`
		ForceN float64    `json:"force_n"`
		Locked bool       `json:"locked"`
	} `json:"wheels"` // all of them
	Mean       maybe[float64] `json:"mean_m_s2"`
	Peak       maybe[float64] `json:"peak_m_s2"`
	SpeedKmh   maybe[float64] `json:"speed_km_h"`
	DistanceM  maybe[float64] `json:"distance_m"`
	BeginM     maybe[float64] `json:"begin_m"`
	EndM       maybe[float64] `json:"end_m"`
	PedalN     maybe[float64] `json:"pedal_n"`
	Technician *string        `json:"technician"`
	Note       *string        `json:"note"`
}

// apply returns b with what was sent in the place of what it had.
func (s *sentTest) apply(b fleet.BrakeTest) fleet.BrakeTest {
	set(&b.Date, s.Date)
	set(&b.Method, s.Method)
	set(&b.System, s.Brake)
	set(&b.Stage, s.Stage)
	set(&b.Technician, s.Technician)
	set(&b.Note, s.Note)
	if s.OdometerKm.given {
		b.OdometerKm = s.OdometerKm.x
	}
	if s.Wheels != nil {
		b.Wheels, b.ForceUnit = nil, ""
		for _, w := range *s.Wheels {
			b.ForceUnit = "N"
			b.Wheels = append(b.Wheels, fleet.WheelEffort{Axle: w.Axle, Side: w.Side, N: w.ForceN, Locked: w.Locked})
		}
	}
	for _, m := range []struct {
		to   *float64
		sent maybe[float64]
	}{
		{&b.WeightKg, s.WeightKg}, {&b.Mean, s.Mean}, {&b.Peak, s.Peak}, {&b.SpeedKmh, s.SpeedKmh},
		{&b.DistanceM, s.DistanceM}, {&b.BeginM, s.BeginM}, {&b.EndM, s.EndM}, {&b.PedalN, s.PedalN},
	} {
		if m.sent.given {
			*m.to = 0
			set(m.to, m.sent.x)
		}
	}
	return b
}

// correctBrakeTest corrects a brake test, sets it aside or undoes that; its
// vehicle is forecast anew.
func (a *API) correctBrakeTest(c *gin.Context) error {
	rec, err := recordIn(c, fleet.BrakeTestRecord)
	if err != nil {
		return err
	}
	var in struct {
		Act  fleet.Act `json:"act"` // corrected when left out
		Test *sentTest `json:"test"`
		Why  string    `json:"why"`
		By   string    `json:"by"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	ctx, sc, why := c.Request.Context(), a.scope(c), fleet.Reason{Why: in.Why, By: cmp.Or(in.By, a.sender(c))}
	if act := cmp.Or(in.Act, fleet.Corrected); act != fleet.Corrected {
		if in.Test != nil {
			return fleet.Invalidf("act %q: leave out the test, which is only for a correction", act)
		}
		return a.setAside(c, rec, act, why)
	}
	if in.Test == nil {
		return fleet.Invalidf("test: missing: say what is to be different")
	}
	old, err := a.svc.DB.BrakeTest(ctx, sc, rec.ID)
	if err != nil {
		return err
	}
	done, err := a.svc.CorrectBrakeTest(ctx, sc, rec.ID, in.Test.apply(old), why, a.svc.Today())
	if err != nil {
		return err
	}
	return send(c, http.StatusCreated, List[Correction]{[]Correction{correctionOf(&done)}})
}
