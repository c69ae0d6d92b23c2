package dashboard

import (
	"fmt"
	"net/http"
	"net/url"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Whoever looks again and is sure is believed, whatever fields the record has: an
// odometer reading has no value and no side, a rotor no face.
func TestSureOfRecordsWithFewFields(t *testing.T) {
	w := small(t)
	bus := w.vehicleID(t, "Bus 1") // at 155,000 km on 1 Feb 2026
	day := fleet.NewDate(2026, 2, 20)
	km := 158_000.0 // invented, as is the rotor
	err := w.svc.DB.TakeIn(t.Context(), auth.AllFleets(), &fleet.Upload{Kind: "readings", By: "N. N."}, func(w *store.Writer) error {
		if _, err := w.Odometers([]fleet.Odometer{{VehicleID: bus, Date: day + 3, Km: km}}); err != nil {
			return err
		}
		_, err := w.Readings([]fleet.Reading{{
			VehicleID: bus, Position: fleet.Position{Axle: 1, Part: fleet.Rotor, Side: fleet.Left}, Date: day, OdometerKm: &km, MM: 28,
		}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), bus)
	if err != nil {
		t.Fatal(err)
	}
	odometer, rotor := h.Odometers[len(h.Odometers)-1], h.Readings[len(h.Readings)-1]
	for _, c := range []struct {
		name, page string
		form       url.Values
	}{
		{"odometer", fmt.Sprintf("/corrections/odometer/%d", odometer.ID), url.Values{"date": {(day + 3).String()}}},
		{"rotor", fmt.Sprintf("/corrections/reading/%d", rotor.ID), url.Values{"date": {day.String()}, "value_mm": {"28"}, "side": {"left"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for name, value := range map[string]string{"act": "correct", "odometer_km": "15800", "by": "N. N.", "why": "misread"} {
				c.form.Set(name, value)
			}
			rec := w.submit(c.page, c.form)
			sure := find(parse(t, rec.Body.String()), "input[name=sure]")
			if rec.Code != http.StatusConflict || len(sure) != 1 {
				t.Fatalf("far below the one before: got %d: %s", rec.Code, rec.Body)
			}
			c.form.Set("sure", attr(sure[0], "value"))
			if rec = w.submit(c.page, c.form); rec.Code != http.StatusSeeOther {
				t.Errorf("sure of it: got %d: %s", rec.Code, rec.Body)
			}
		})
	}
}
