package store

import (
	"encoding/json"
	"fmt"
	"math"

	"brakewear/forecast"
)

// basisJSON is a Basis as it is kept. JSON has no NaN and no infinity, which a
// reading that was set aside may well have.
type basisJSON forecast.Basis

type basisForm struct {
	SetAside []setAsideForm    `json:"set_aside,omitempty"`
	Changes  []forecast.Change `json:"changes,omitempty"`
	Doubted  []setAsideForm    `json:"doubted,omitempty"`
	Drags    []forecast.Drag   `json:"drags,omitempty"`

	PeerRate  numberJSON `json:"peer_rate"`
	RateRatio numberJSON `json:"rate_ratio"`

	ShareWear  numberJSON `json:"share_wear"`
	ShareUsage numberJSON `json:"share_usage"`
	ShareGauge numberJSON `json:"share_gauge"`
	ShareStart numberJSON `json:"share_start"`

	Width80Days       numberJSON `json:"width80_days"`
	Width80IfMeasured numberJSON `json:"width80_if_measured"`
}

type setAsideForm struct {
	Day     forecast.Day      `json:"day"`
	Km      numberJSON        `json:"km"`
	Pos     forecast.Position `json:"pos"`
	MM      numberJSON        `json:"mm"`
	Step    numberJSON        `json:"step,omitzero"`
	Depot   string            `json:"depot,omitempty"`
	Tripped bool              `json:"tripped,omitempty"`
	Why     string            `json:"why,omitempty"`
}

func formOf(s forecast.SetAside) setAsideForm {
	r := s.Reading
	return setAsideForm{
		Day:     r.Day,
		Km:      numberJSON(r.Km),
		Pos:     r.Pos,
		MM:      numberJSON(r.MM),
		Step:    numberJSON(r.Step),
		Depot:   r.Depot,
		Tripped: r.Tripped,
		Why:     s.Why,
	}
}

func (f *setAsideForm) setAside() forecast.SetAside {
	return forecast.SetAside{
		Reading: forecast.Reading{
			Day:     f.Day,
			Km:      float64(f.Km),
			Pos:     f.Pos,
			MM:      float64(f.MM),
			Step:    float64(f.Step),
			Depot:   f.Depot,
			Tripped: f.Tripped,
		},
		Why: f.Why,
	}
}

// MarshalJSON gives the form above.
func (b basisJSON) MarshalJSON() ([]byte, error) {
	f := basisForm{
		Changes:           b.Changes,
		Drags:             b.Drags,
		PeerRate:          numberJSON(b.PeerRate),
		RateRatio:         numberJSON(b.RateRatio),
		ShareWear:         numberJSON(b.ShareWear),
		ShareUsage:        numberJSON(b.ShareUsage),
		ShareGauge:        numberJSON(b.ShareGauge),
		ShareStart:        numberJSON(b.ShareStart),
		Width80Days:       numberJSON(b.Width80Days),
		Width80IfMeasured: numberJSON(b.Width80IfMeasured),
	}
	for _, s := range b.SetAside {
		f.SetAside = append(f.SetAside, formOf(s))
	}
	for _, r := range b.Doubted {
		f.Doubted = append(f.Doubted, formOf(forecast.SetAside{Reading: r}))
	}
	return json.Marshal(f)
}

// UnmarshalJSON reads the form above.
func (b *basisJSON) UnmarshalJSON(text []byte) error {
	var f basisForm
	if err := json.Unmarshal(text, &f); err != nil {
		return err
	}
	*b = basisJSON{
		Changes:           f.Changes,
		Drags:             f.Drags,
		PeerRate:          float64(f.PeerRate),
		RateRatio:         float64(f.RateRatio),
		ShareWear:         float64(f.ShareWear),
		ShareUsage:        float64(f.ShareUsage),
		ShareGauge:        float64(f.ShareGauge),
		ShareStart:        float64(f.ShareStart),
		Width80Days:       float64(f.Width80Days),
		Width80IfMeasured: float64(f.Width80IfMeasured),
	}
	for i := range f.SetAside {
		b.SetAside = append(b.SetAside, f.SetAside[i].setAside())
	}
	for i := range f.Doubted {
		b.Doubted = append(b.Doubted, f.Doubted[i].setAside().Reading)
	}
	return nil
}

// numberJSON is a float64 whose NaN is null and whose infinities are words.
type numberJSON float64

// MarshalJSON gives the form above.
func (n numberJSON) MarshalJSON() ([]byte, error) {
	x := float64(n)
	switch {
	case math.IsNaN(x):
		return []byte("null"), nil
	case math.IsInf(x, 1):
		return []byte(`"inf"`), nil
	case math.IsInf(x, -1):
		return []byte(`"-inf"`), nil
	}
	return json.Marshal(x)
}

// UnmarshalJSON reads the form above.
func (n *numberJSON) UnmarshalJSON(text []byte) error {
	switch string(text) {
	case "null":
		*n = numberJSON(math.NaN())
	case `"inf"`:
		*n = numberJSON(math.Inf(1))
	case `"-inf"`:
		*n = numberJSON(math.Inf(-1))
	default:
		var x float64
		if err := json.Unmarshal(text, &x); err != nil {
			return fmt.Errorf("number %s: %w", text, err)
		}
		*n = numberJSON(x)
	}
	return nil
}
