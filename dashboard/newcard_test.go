package dashboard

import (
	"fmt"
	"net/http"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// Whoever opens a card at a vehicle that is booked is offered that of its booking, which
// would stay on the plan else.
func TestNewCardOfAVehicleThatIsBooked(t *testing.T) {
	w := small(t)
	all := auth.AllFleets()
	path := w.vehiclePath(t, "Bus 1") + "/card"
	if n := len(find(parse(t, w.get(path).Body.String()), ".booked")); n != 0 {
		t.Errorf("%d bookings are offered, want none", n)
	}
	h, err := w.svc.DB.History(t.Context(), all, w.vehicleID(t, "Bus 1"))
	if err != nil {
		t.Fatal(err)
	}
	b, err := w.svc.Book(t.Context(), all, "N. N.", pipeline.ByHand{VehicleID: h.Vehicle.ID, Axles: []int{1}, Slot: fleet.Slot{DepotID: h.Vehicle.DepotID, Day: w.svc.Today()}})
	if err != nil {
		t.Fatal(err)
	}
	page := parse(t, w.get(path).Body.String())
	check(t, page, []has{{".booked h2", "Booked: "}, {".booked p", "Harbour · axle 1: pads."}, {fmt.Sprintf(".booked input[name=booking][value=%d]", b.ID), "*"}})
	ahead, err := w.svc.Book(t.Context(), all, "N. N.", pipeline.ByHand{VehicleID: h.Vehicle.ID, Axles: []int{2}, Slot: fleet.Slot{DepotID: h.Vehicle.DepotID, Day: w.svc.Today() + 28}})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(find(parse(t, w.get(path).Body.String()), fmt.Sprintf("input[name=booking][value=%d]", ahead.ID))); n != 0 {
		t.Error("the booking of four weeks ahead is offered")
	}
	form := formAt(t, page, "/cards")
	form.Set("by", "N. N.")
	to, closed := w.follow(t, "/cards", form)
	card, err := w.svc.DB.Card(t.Context(), all, 1)
	if err != nil || card.BookingID != b.ID {
		t.Fatalf("got %+v, %v, want the card of booking %d", card, err, b.ID)
	}
	check(t, parse(t, w.get(path).Body.String()), []has{{".booked a[href=" + to + "]", "Go to its job card"}})
	if n := len(find(parse(t, w.get(path).Body.String()), "input[name=booking]")); n != 0 {
		t.Errorf("%d bookings are offered, want none: its card is open", n)
	}
	if rec := w.submit(to+"/close", with(form, "state", "not passed")); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, closed), []has{{"h1", "Bus 1"}})
	if n := len(find(parse(t, w.get(path).Body.String()), ".booked")); n != 0 {
		t.Errorf("the card is closed: %d bookings are offered, want none", n)
	}
}
