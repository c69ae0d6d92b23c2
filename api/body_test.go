package api

import (
	"net/http"
	"testing"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestWrongBodies: what cannot be read is refused in the words of the document, not
// of the program.
func TestWrongBodies(t *testing.T) {
	c := newClient(t, storetest.Open(t, store.SQLite))
	c.do(call{path: "/vehicles", status: 201, body: `[{"vehicle":"Bus 1","fleet":"Ferry Lines","depot":"Quay","category":"M3"}]`})
	c.run([]call{
		{name: "nothing", path: "/proposals", body: ` `, status: 400, want: []string{"body: nothing was sent"}},
		{name: "cut off", path: "/proposals", body: `{"days"`, status: 400, want: []string{"body: not JSON: it ends before the object does"}},
		{name: "not JSON", path: "/proposals", body: `{days:3}`, status: 400, want: []string{"body: not JSON near byte 2"}},
		{name: "a list", path: "/bookings", body: `[]`, status: 400, want: []string{`"body: want an object, not array"`}},
		{name: "text for a number", path: "/bookings", body: `{"vehicle_id":"1"}`, status: 400, want: []string{`"body: vehicle_id: want a whole number, not string"`}},
		{name: "too large", path: "/bookings", body: `{"vehicle_id":1e30}`, status: 400, want: []string{`"body: vehicle_id: 1e30 is too large"`}},
		{name: "a fraction", path: "/bookings", body: `{"vehicle_id":1.5}`, status: 400, want: []string{`"body: vehicle_id: want a whole number, not 1.5"`}},
		{name: "a number for a day", path: "/bookings", body: `{"day":20260301}`, status: 400, want: []string{`"body: day: want text, not number"`}},
		{name: "deep", path: "/vehicles/1/absences", body: `{"absences":[{"weekdays":"Monday"}]}`, status: 400, want: []string{`absences.weekdays: want an array, not string"`}},
		{name: "an unknown name", path: "/bookings", body: `{"goat":1}`, status: 400, want: []string{`"body: unknown field \"goat\""`}},
		{name: "days below the least", path: "/proposals", body: `{"days":0}`, status: 400, want: []string{"days 0: want 1 to 366"}},
		{name: "rows that are no array", path: "/readings", body: `null`, status: 400, want: []string{"body: want an array of objects"}},
		{name: "a file as rows", path: "/vehicles", body: "vehicle,category\nBus 7,M3\n", status: 400, want: []string{"files go to /api/v1/uploads"}},
		{name: "no rows", path: "/vehicles", body: "  ", status: 400, want: []string{"body: want an array of objects"}},
		{name: "a parameter twice", path: "/due?booked=true&booked=false", status: http.StatusBadRequest, want: []string{`"parameter":"booked","read":"true, false","detail":"given 2 times: give it once"`}},
	})
}
