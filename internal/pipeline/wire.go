package pipeline

import (
	"math"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// Report is one axle's forecast as the command line and the API give it.
type Report struct {
	Vehicle  string      `json:"vehicle"`
	Axle     int         `json:"axle"`
	AsOf     fleet.Date  `json:"as_of"`
	Model    string      `json:"model"`
	Limiting *PlaceJSON  `json:"limiting"` // null when nothing can be forecast
	Outlook              // of the axle: the first of its positions
	Warnings []WarnJSON  `json:"warnings"`
	Places   []PlaceView `json:"positions"`
}

// PlaceJSON names a position on an axle; a blank side or face is the thinnest
// of both.
type PlaceJSON struct {
	Part forecast.Part `json:"part"`
	Side string        `json:"side"`
	Face string        `json:"face"`
}

// PlaceView is the forecast of one position.
type PlaceView struct {
	PlaceJSON
	Outlook
}

// Outlook is what is known now and when the limit is reached. A number that
// is not known, and a date beyond 20 years, is null.
type Outlook struct {
	ThicknessMM *float64    `json:"thickness_mm"` // now, estimated
	LimitMM     *float64    `json:"limit_mm"`
	Rate        *float64    `json:"rate_mm_per_10000km"`
	OdometerKm  *float64    `json:"odometer_km"` // now, estimated
	LimitKm     Quantiles   `json:"limit_km"`    // on the odometer's scale
	LimitDate   DateRange   `json:"limit_date"`
	BookBy      *fleet.Date `json:"book_by"`
	Readings    int         `json:"readings"`
}

// Quantiles of a limit distance in km.
type Quantiles struct {
	P025 *float64 `json:"p025"`
	P05  *float64 `json:"p05"`
	P10  *float64 `json:"p10"`
	P25  *float64 `json:"p25"`
	P50  *float64 `json:"p50"`
	P75  *float64 `json:"p75"`
	P90  *float64 `json:"p90"`
	P95  *float64 `json:"p95"`
	P975 *float64 `json:"p975"`
}

// DateRange is the quantiles of a limit date.
type DateRange struct {
	P025 *fleet.Date `json:"p025"`
	P05  *fleet.Date `json:"p05"`
	P10  *fleet.Date `json:"p10"`
	P25  *fleet.Date `json:"p25"`
	P50  *fleet.Date `json:"p50"`
	P75  *fleet.Date `json:"p75"`
	P90  *fleet.Date `json:"p90"`
	P95  *fleet.Date `json:"p95"`
	P975 *fleet.Date `json:"p975"`
}

// WarnJSON is a warning: a stable code and the words for people.
type WarnJSON struct {
	Code forecast.Code `json:"code"`
	Text string        `json:"text"`
}

// ReportOf puts an axle's forecast into its wire form, with the book-by date
// at the accepted risk.
func ReportOf(vehicle string, f *forecast.AxleForecast, risk float64) Report {
	r := Report{
		Vehicle: vehicle,
		Axle:    f.Axle,
		AsOf:    fleet.Date(f.AsOf),
		Model:   f.Model,
		Outlook: Outlook{
			OdometerKm: finite(f.OdometerKm, 0),
			LimitKm:    kmQuantiles(f.Crossing.Km),
			LimitDate:  dateQuantiles(f.Crossing.Day, f.AsOf),
			BookBy:     BookBy(f.Crossing, f.AsOf, risk),
			Readings:   f.Readings,
		},
		Warnings: make([]WarnJSON, 0, len(f.Warnings)),
		Places:   make([]PlaceView, 0, len(f.Positions)),
	}
	for _, w := range f.Warnings {
		r.Warnings = append(r.Warnings, WarnJSON{w.Code, w.Text})
	}
	for i := range f.Positions {
		p := &f.Positions[i]
		v := PlaceView{
			PlaceJSON: PlaceJSON{p.Pos.Part, p.Pos.Side, p.Pos.Face},
			Outlook: Outlook{
				ThicknessMM: finite(p.ThicknessMM, 2),
				LimitMM:     finite(p.Spec.Limit, 2),
				Rate:        finite(p.RatePer10000, 3),
				OdometerKm:  r.OdometerKm,
				LimitKm:     kmQuantiles(p.Crossing.Km),
				LimitDate:   dateQuantiles(p.Crossing.Day, f.AsOf),
				BookBy:      BookBy(p.Crossing, f.AsOf, risk),
				Readings:    p.Readings,
			},
		}
		r.Places = append(r.Places, v)
		if i == f.Limiting {
			r.Limiting = &PlaceJSON{v.Part, v.Side, v.Face}
			r.ThicknessMM, r.LimitMM, r.Rate = v.ThicknessMM, v.LimitMM, v.Rate
		}
	}
	return r
}

// BookBy returns the last day on which the chance of being past the limit is
// still below risk, or nil when that is unknown or beyond the horizon.
func BookBy(c forecast.Crossing, asOf forecast.Day, risk float64) *fleet.Date {
	d, ok := c.BookBy(risk)
	if !ok {
		return nil
	}
	return DateWithin(float64(d), asOf)
}

// DateWithin turns a day number into a date, or nil when it is not finite or
// beyond the horizon (see forecast.DayWithin).
func DateWithin(day float64, asOf forecast.Day) *fleet.Date {
	within, ok := forecast.DayWithin(day, asOf)
	if !ok {
		return nil
	}
	d := fleet.Date(within)
	return &d
}

// finite rounds x to so many decimals, or returns nil when it is no number.
func finite(x float64, decimals int) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	scale := math.Pow10(decimals)
	x = math.Round(x*scale) / scale
	return &x
}

func kmQuantiles(d forecast.Dist) Quantiles {
	q := func(p float64) *float64 { return finite(d.Quantile(p), 0) }
	return Quantiles{q(.025), q(.05), q(.10), q(.25), q(.50), q(.75), q(.90), q(.95), q(.975)}
}

func dateQuantiles(d forecast.Dist, asOf forecast.Day) DateRange {
	q := func(p float64) *fleet.Date { return DateWithin(d.Quantile(p), asOf) }
	return DateRange{q(.025), q(.05), q(.10), q(.25), q(.50), q(.75), q(.90), q(.95), q(.975)}
}
