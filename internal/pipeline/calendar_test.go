package pipeline_test

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/units"
)

// subscriber reads a calendar as a program does that knows its address, by a
// library that did not write it. Events come as "uid seq status start end".
type subscriber struct {
	s      *pipeline.Service
	secret string
}

func (x subscriber) events(t *testing.T) (lines []string, props []ical.Props) {
	t.Helper()
	b, err := x.s.Calendar(t.Context(), x.secret)
	if err != nil {
		t.Fatal(err)
	}
	cal, err := ical.NewDecoder(bytes.NewReader(b)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, b)
	}
	for _, e := range cal.Events() {
		value := func(name string) string {
			if p := e.Props.Get(name); p != nil {
				return p.Value
			}
			return ""
		}
		lines = append(lines, strings.Join([]string{value("UID")[:4], value("SEQUENCE"), value("STATUS"), value("DTSTART"), value("DTEND")}, " "))
		props = append(props, e.Props)
	}
	return lines, props
}

func (x subscriber) want(t *testing.T, when string, want ...string) {
	t.Helper()
	if got, _ := x.events(t); !slices.Equal(got, want) {
		t.Errorf("%s:\n got %q\nwant %q", when, got, want)
	}
}

// A booking keeps its name in every calendar it shows in, from the first to
// the last, and each change raises its number.
func TestCalendarFollowsABooking(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		now := s.Now()
		s.Now = func() time.Time { return now }
		db.Now = s.Now
		s.URL = "https://brakes.example/"
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		ds, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		harbour, hill := ds[0].ID, ds[1].ID
		if err := db.SetTimeZone(t.Context(), all, harbour, "Europe/Berlin"); err != nil {
			t.Fatal(err)
		}
		index, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		bus := index["Bus 1"][0].ID
		made := func(f store.CalendarFeed) subscriber {
			secret, err := s.MakeCalendar(t.Context(), all, &f)
			if err != nil {
				t.Fatal(err)
			}
			return subscriber{s, secret}
		}
		atHarbour, atHill, ofBus := made(store.CalendarFeed{DepotID: harbour}), made(store.CalendarFeed{DepotID: hill}), made(store.CalendarFeed{VehicleID: bus})
		ofVan := made(store.CalendarFeed{VehicleID: index["Van 2"][0].ID})
		atHarbour.want(t, "before")

		// The Friday before clocks are put forward, and the Monday after.
		friday, monday := fleet.NewDate(2026, 3, 27), fleet.NewDate(2026, 3, 30)
		b, err := db.Book(t.Context(), all, "N. N.", fleet.Booking{
			VehicleID: bus,
			Slot:      fleet.Slot{DepotID: harbour, Day: friday, Starts: 8 * 60, Minutes: 90},
			Hours:     1.5,
			Note:      "keys; at the desk, box 4",
			Work: []fleet.WorkItem{
				{Axle: 1, Item: fleet.ItemPads, PartNumber: "P 1", Quantity: 1, Reason: "to book by 4 Apr"},
				{Axle: 1, Item: fleet.ItemRotors, Reason: "will not outlive the next pads"},
				{Item: fleet.ItemFluid, Reason: "older than two years"},
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		lines, props := atHarbour.events(t)
		if len(lines) != 1 {
			t.Fatalf("got %q, want the booking", lines)
		}
		uid := lines[0][:4]
		on := func(seq int, status, start, end string) string {
			return fmt.Sprintf("%s %d %s %s %s", uid, seq, status, start, end)
		}
		booked := on(0, "CONFIRMED", "20260327T070000Z", "20260327T083000Z") // eight o'clock in winter
		atHarbour.want(t, "booked, at the depot", booked)
		ofBus.want(t, "booked, of the vehicle", booked)
		atHill.want(t, "booked, at the other depot")
		ofVan.want(t, "booked, of the other vehicle")
		for name, want := range map[string]string{
			"SUMMARY":  "Bus 1: axle 1 pads and rotors, brake fluid",
			"LOCATION": "Harbour",
			"DESCRIPTION": "Bay 1, plate KEA 1\naxle 1 pads (1 × P 1): to book by 4 Apr\naxle 1 rotors: will not outlive the next pads\n" +
				"brake fluid: older than two years\nkeys; at the desk, box 4",
		} {
			if got, err := props[0].Text(name); err != nil || got != want {
				t.Errorf("%s: got %q, %v; want %q", name, got, err, want)
			}
		}
		if got, want := props[0].Get("URL").Value, fmt.Sprintf("https://brakes.example/vehicles/%d", bus); got != want {
			t.Errorf("URL: got %s, want %s", got, want)
		}

		now = now.Add(time.Hour)
		move := func(to fleet.Slot) {
			t.Helper()
			if _, err := db.MoveBooking(t.Context(), all, "N. N.", b.ID, to, "the driver asked"); err != nil {
				t.Fatal(err)
			}
		}
		move(fleet.Slot{DepotID: harbour, Day: monday, Starts: 8 * 60})
		moved := on(1, "CONFIRMED", "20260330T060000Z", "20260330T073000Z") // eight o'clock in summer
		atHarbour.want(t, "moved", moved)
		ofBus.want(t, "moved", moved)

		now = now.Add(time.Hour)
		move(fleet.Slot{DepotID: hill, Day: monday, Starts: 9 * 60})
		elsewhere := on(2, "CONFIRMED", "20260330T090000Z", "20260330T103000Z")
		atHarbour.want(t, "moved away", on(2, "CANCELLED", "20260330T060000Z", "20260330T073000Z"))
		atHill.want(t, "moved away", elsewhere)
		ofBus.want(t, "moved away", elsewhere)

		now = now.Add(time.Hour)
		if _, err := db.EndBooking(t.Context(), all, "N. N.", b.ID, fleet.Withdrawn, "sold"); err != nil {
			t.Fatal(err)
		}
		gone := on(3, "CANCELLED", "20260330T090000Z", "20260330T103000Z")
		atHill.want(t, "withdrawn", gone)
		ofBus.want(t, "withdrawn", gone)
		now = now.AddDate(0, 0, 31)
		for _, x := range []subscriber{atHarbour, atHill, ofBus} {
			x.want(t, "a month later")
		}
	})
}

// A calendar says quantities and days as whose it is wants them, from when they
// want that.
func TestCalendarForItsReader(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		db.Now = s.Now
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		index, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		bus := index["Bus 1"][0].ID
		ds, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		_, err = db.Book(t.Context(), all, "N. N.", fleet.Booking{
			VehicleID: bus,
			Slot:      fleet.Slot{DepotID: ds[0].ID, Day: fleet.NewDate(2026, 3, 27), Starts: 8 * 60, Minutes: 90},
			Hours:     1.5,
			Work:      []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads, Reason: "to book by 4 Apr, 3.2 mm left, 1,000 km"}},
		})
		if err != nil {
			t.Fatal(err)
		}
		session, err := storetest.SignIn(t.Context(), db, "Ann", auth.Grant{Role: auth.Planner})
		if err != nil {
			t.Fatal(err)
		}
		who, err := db.SessionOf(t.Context(), session)
		if err != nil {
			t.Fatal(err)
		}
		feed := store.CalendarFeed{VehicleID: bus, MadeBy: "Ann", Account: who.Account}
		secret, err := s.MakeCalendar(t.Context(), all, &feed)
		if err != nil {
			t.Fatal(err)
		}
		said := func() string {
			t.Helper()
			_, props := subscriber{s, secret}.events(t)
			text, err := props[0].Text("DESCRIPTION")
			if err != nil {
				t.Fatal(err)
			}
			return text
		}
		// What is fetched already is renewed: a higher number, changed later.
		marks := func() (seq, stamp string) {
			t.Helper()
			_, props := subscriber{s, secret}.events(t)
			return props[0].Get("SEQUENCE").Value, props[0].Get("DTSTAMP").Value + " " + props[0].Get("LAST-MODIFIED").Value
		}
		now := s.Now()
		s.Now = func() time.Time { return now }
		db.Now = s.Now
		renewed := func(what, want string, later bool) {
			t.Helper()
			seq, stamp := marks()
			if wants := strings.Repeat(now.UTC().Format("20060102T150405Z")+" ", 2); seq != want || (stamp+" " == wants) != later {
				t.Errorf("%s: got number %s of %s, want %s changed at %s: %t", what, seq, stamp, want, wants, later)
			}
		}
		renewed("as it comes", "0", true)
		if got, want := said(), "to book by 4 Apr, 3.2 mm left, 1,000 km"; !strings.Contains(got, want) {
			t.Errorf("as it comes: got %q, want %q in it", got, want)
		}
		now = now.Add(time.Hour)
		for range 2 { // the second changes nothing
			if err := db.SetReader(t.Context(), who, units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.ISO}); err != nil {
				t.Fatal(err)
			}
		}
		renewed("units", "1", true)
		now = now.Add(time.Hour)
		renewed("nothing", "1", false)
		if err := db.SetTimeZone(t.Context(), all, ds[1].ID, "Europe/Berlin"); err != nil {
			t.Fatal(err)
		}
		renewed("the clock of another depot", "2", false)
		now = now.Add(time.Hour)
		if err := db.SetTimeZone(t.Context(), all, ds[0].ID, "Europe/Berlin"); err != nil {
			t.Fatal(err)
		}
		renewed("the clock of its depot", "3", true)
		// 1,000 km are 621.4 miles, 3.2 mm 4.03 of the 32nds of an inch.
		if got, want := said(), "to book by 2026-04-04, 4/32 in left, 621 mi"; !strings.Contains(got, want) {
			t.Errorf("in miles and inches: got %q, want %q in it", got, want)
		}
	})
}

// What did not change is the same to the byte, so that readers can tell.
func TestCalendarIsTheSame(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	s := newService(db)
	mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
	ds, err := db.Depots(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	feed := store.CalendarFeed{DepotID: ds[0].ID}
	secret, err := s.MakeCalendar(t.Context(), all, &feed)
	if err != nil {
		t.Fatal(err)
	}
	first, err := s.Calendar(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	s.Now = func() time.Time { return time.Date(2026, 3, 1, 17, 0, 0, 0, time.UTC) }
	if again, err := s.Calendar(t.Context(), secret); err != nil || !bytes.Equal(again, first) {
		t.Errorf("got %s, %v; want %s", again, err, first)
	}
	if err := db.RevokeCalendarFeed(t.Context(), all, feed.ID, "N. N."); err != nil {
		t.Fatal(err)
	}
	for _, secret := range []string{secret, "", "x"} {
		if _, err := s.Calendar(t.Context(), secret); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("%q: got %v, want not found", secret, err)
		}
	}
}
