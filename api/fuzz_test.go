package api

import (
	"bytes"
	"errors"
	"net/http/httptest"
	"testing"
	"unicode/utf8"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
)

// FuzzBody reads a body as several operations do: it is what they take, or an
// ErrInvalid in words.
func FuzzBody(f *testing.F) {
	for _, s := range []string{
		`{"date":"2026-03-01","odometer_km":159000,"readings":[{"axle":1,"part":"pad","side":"left","value_mm":"9/32 in"}],"conditions":[{"axle":1,"condition":"glazed"}]}`,
		`{"absences":[{"first":"2026-07-01","last":null,"weekdays":["Friday"]}]}`,
		`{"week":[{"opens":"07:30","closes":null,"technician_hours":1e999}],"bays":9223372036854775808}`,
		`{"day":"2026-02-30","starts":"25:61"} {`, `{"vehicle_id":1.5,"axles":"1"}`, `[]`, "{\"\xff\":1}", `{"readings":{"axle":[]}}`, "",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, into := range []any{
			&Inspection{},
			&struct {
				Absences []AbsenceData `json:"absences"`
			}{},
			&WorkshopData{},
			&struct {
				Day    *fleet.Date  `json:"day"`
				Starts *fleet.Clock `json:"starts"`
				Axles  []int        `json:"axles"`
			}{},
			&sentVisits{},
		} {
			c := &gin.Context{Request: httptest.NewRequestWithContext(t.Context(), "POST", "/", bytes.NewReader(body))}
			if err := readJSON(c, into); err != nil && (!errors.Is(err, fleet.ErrInvalid) || !utf8.ValidString(err.Error())) {
				t.Errorf("%T from %q: got error %q, want an ErrInvalid in words", into, body, err)
			}
		}
	})
}
