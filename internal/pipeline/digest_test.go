package pipeline_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/google/go-cmp/cmp"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/golden"
	"brakewear/internal/mail/mailtest"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/units"
)

// desk is a workshop with a planner, some days after a few things happened.
type desk struct {
	*pipeline.Service
	t       *testing.T
	at      *time.Time // now
	bus     int64
	van     int64
	harbour int64
	planner *store.Recipient
}

// march returns a moment of March 2026; the second is a Monday.
func march(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, time.UTC) }

func newDesk(t *testing.T, db *store.DB, srv *mailtest.Server) *desk {
	t.Helper()
	at := march(2, 6)
	d := &desk{Service: newService(db), t: t, at: &at}
	d.Now = func() time.Time { return *d.at }
	db.Now = d.Now
	d.URL = "https://brakes.example"
	if srv != nil {
		d.Mail = &srv.Server
	}
	mustImport(t, d.Service, "vehicles.csv", vehiclesCSV, 2, 0, 0)
	ds, err := db.Depots(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	d.harbour = ds[0].ID
	index, err := db.VehicleIndex(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	d.bus, d.van = index["Bus 1"][0].ID, index["Van 2"][0].ID
	d.planner = &store.Recipient{Name: "Ann Planner", Address: "ann@island.example", Role: store.RolePlanner, Everything: true}
	if err := db.SaveRecipient(t.Context(), all, "N. N.", d.planner); err != nil {
		t.Fatal(err)
	}
	return d
}

// forecast makes an axle's forecast: to book by a day of March, its limit
// likely a month later; day 0 is at its limit now.
func (d *desk) forecast(vehicle int64, axle, day int) {
	d.t.Helper()
	f := store.AxleForecast{VehicleID: vehicle, Risk: .05, PastLimit: day == 0}
	f.Axle, f.Model, f.AsOf, f.Readings = axle, "line", forecast.Day(fleet.DateOf(*d.at)), 4
	limit := fleet.NewDate(2026, 3, day+30)
	if day == 0 {
		limit = fleet.NewDate(2026, 2, 20)
	} else {
		by := fleet.NewDate(2026, 3, day)
		f.BookBy = &by
	}
	f.Crossing.Day = forecast.DistOf(func(p float64) float64 { return float64(limit) + 40*(p-.5) })
	f.Crossing.Km = forecast.DistOf(func(p float64) float64 { return 50000 + 10000*p })
	f.Positions = []forecast.PositionForecast{{
		Pos:  forecast.Position{Part: forecast.Pad, Side: "left", Face: "inner"},
		Spec: forecast.Spec{New: 20, Limit: 3}, ThicknessMM: 4, Crossing: f.Crossing,
	}}
	if err := storetest.SaveForecasts(d.t.Context(), d.DB, all, []store.AxleForecast{f}); err != nil {
		d.t.Fatal(err)
	}
}

// book books an axle's pads on a day of March, hours after midnight.
func (d *desk) book(vehicle int64, axle, day, hour int) int64 {
	d.t.Helper()
	b, err := d.DB.Book(d.t.Context(), all, "N. N.", fleet.Booking{
		VehicleID: vehicle,
		Slot:      fleet.Slot{DepotID: d.harbour, Day: fleet.NewDate(2026, 3, day), Starts: fleet.Clock(60 * hour), Minutes: 60},
		Hours:     1,
		Work:      []fleet.WorkItem{{Axle: axle, Item: fleet.ItemPads, Reason: "due"}},
	})
	if err != nil {
		d.t.Fatal(err)
	}
	return b.ID
}

// send sends the digests of the day and wants them to go as told.
func (d *desk) send(want pipeline.DigestReport) error {
	d.t.Helper()
	got, err := d.SendDigests(d.t.Context(), "UTC")
	if diff := cmp.Diff(want, got); diff != "" {
		d.t.Errorf("%v: %s (%v)", *d.at, diff, err)
	}
	return err
}

// bodies reads a mail by the standard library: subject, text, HTML.
func bodies(t *testing.T, raw string) (subject, text, html string) {
	t.Helper()
	m, err := mail.ReadMessage(strings.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	if subject, err = new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject")); err != nil {
		t.Fatal(err)
	}
	_, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil {
		t.Fatal(err)
	}
	for r := multipart.NewReader(m.Body, params["boundary"]); ; {
		p, err := r.NextRawPart()
		if err == io.EOF {
			return subject, text, html
		}
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := io.Copy(&b, quotedprintable.NewReader(p)); err != nil {
			t.Fatal(err)
		}
		s := strings.ReplaceAll(b.String(), "\r\n", "\n")
		if strings.HasPrefix(p.Header.Get("Content-Type"), "text/plain") {
			text = s
		} else {
			html = s
		}
	}
}

// A week of digests: what each day tells, and that nothing is told twice.
func TestDigests(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		srv := mailtest.Start(t, mailtest.Options{})
		d := newDesk(t, db, srv)
		*d.at = time.Date(2026, 2, 24, 9, 0, 0, 0, time.UTC)
		d.forecast(d.bus, 1, 10)
		d.forecast(d.bus, 2, 0)
		d.forecast(d.van, 1, 60)
		moved, missed := d.book(d.bus, 1, 5, 8), d.book(d.van, 1, -1, 8)
		d.book(d.van, 2, -2, 10) // of which nobody says what became
		*d.at = time.Date(2026, 2, 27, 9, 0, 0, 0, time.UTC)
		to := fleet.Slot{DepotID: d.harbour, Day: fleet.NewDate(2026, 3, 9), Starts: 10 * 60}
		for _, why := range []string{"no driver", "the driver asked <again>"} {
			if _, err := db.MoveBooking(t.Context(), all, "N. N.", moved, to, why); err != nil {
				t.Fatal(err)
			}
			to.Day += 2
		}
		if _, err := db.EndBooking(t.Context(), all, "N. N.", missed, fleet.Missed, "did not start"); err != nil {
			t.Fatal(err)
		}

		latest := func(n int) string {
			t.Helper()
			got := srv.Received()
			if len(got) != n {
				t.Fatalf("%d mails, want %d", len(got), n)
			}
			subject, text, html := bodies(t, got[n-1].Body)
			if n == 1 && db.Dialect() == store.SQLite {
				golden.Text(t, "testdata/digest.txt", text)
				golden.Text(t, "testdata/digest.html", html)
			}
			return subject + "\n" + text
		}
		*d.at = march(2, 6)
		d.send(pipeline.DigestReport{Sent: 1})
		if got := latest(1); !strings.HasPrefix(got, "Brakes: 2 became due, 1 moved, 2 missed\n") {
			t.Errorf("first: got %s", got)
		}
		d.send(pipeline.DigestReport{Before: 1}) // as after a restart
		*d.at = march(3, 6)
		d.send(pipeline.DigestReport{Nothing: 1})
		d.send(pipeline.DigestReport{Before: 1})

		d.forecast(d.bus, 1, 4) // sooner by six days: not worth a word
		d.forecast(d.van, 1, 11)
		*d.at = march(4, 6)
		d.send(pipeline.DigestReport{Sent: 1})
		if got := latest(2); !strings.HasPrefix(got, "Brakes: 1 became due\n") || !strings.Contains(got, "Van 2, axle 1") || strings.Contains(got, "Bus 1") {
			t.Errorf("fourth: got %s", got)
		}
		d.forecast(d.bus, 1, 3) // by seven
		*d.at = march(5, 6)
		d.send(pipeline.DigestReport{Sent: 1})
		if got := latest(3); !strings.Contains(got, "book by Tue 3 Mar 2026 (told before: Tue 10 Mar 2026)") || strings.Contains(got, "Van 2") {
			t.Errorf("fifth: got %s", got)
		}
		*d.at = march(12, 6) // the van's book-by date has passed
		if _, err := db.EndBooking(t.Context(), all, "N. N.", moved, fleet.Done, ""); err != nil {
			t.Fatal(err)
		}
		d.send(pipeline.DigestReport{Sent: 1})
		if got := latest(4); !strings.HasPrefix(got, "Brakes: 1 missed\n") || !strings.Contains(got, "Van 2, axle 1, left inner pad: its book-by date, Wed 11 Mar 2026, has passed") {
			t.Errorf("twelfth: got %s", got)
		}
	})
}

// Everybody is told of what is theirs alone.
func TestDigestScope(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		srv := mailtest.Start(t, mailtest.Options{})
		d := newDesk(t, db, srv)
		ds, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		hill := &store.Recipient{Name: "Ben", Address: "ben@island.example", Role: store.RoleManager, Places: []store.Place{{FleetID: ds[1].FleetID, DepotID: ds[1].ID}}}
		if err := db.SaveRecipient(t.Context(), all, "N. N.", hill); err != nil {
			t.Fatal(err)
		}
		if err := db.SetTimeZone(t.Context(), all, ds[1].ID, "Pacific/Auckland"); err != nil {
			t.Fatal(err)
		}
		d.forecast(d.bus, 1, 10)
		d.forecast(d.van, 1, 10)
		main, err := db.TimeZones(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, zone := range main {
			if _, err := d.SendDigests(t.Context(), zone); err != nil {
				t.Fatal(err)
			}
		}
		got := srv.Received()
		if len(got) != 2 {
			t.Fatalf("%d mails, want one each", len(got))
		}
		for _, m := range got {
			_, text, _ := bodies(t, m.Body)
			if all := m.To == "ann@island.example"; !strings.Contains(text, "Van 2") || strings.Contains(text, "Bus 1") != all {
				t.Errorf("to %s: %s", m.To, text)
			}
			// The list that is counted, and whom to tell where one may change that.
			want, people := "https://brakes.example/?within=2\n", false
			if m.To == hill.Address {
				want, people = fmt.Sprintf("https://brakes.example/?within=2&depot=%d\n", ds[1].ID), true
			}
			if !strings.Contains(text, want) || strings.Contains(text, "https://brakes.example/people") != people || strings.Contains(text, "A manager\nof the fleet") == people {
				t.Errorf("to %s: want the link %q, to the people told: %t: got %s", m.To, want, people, text)
			}
		}
		if _, err := db.Recipient(t.Context(), all, hill.ID); err != nil {
			t.Fatal(err)
		}
		rs, err := db.Recipients(t.Context(), all)
		if err != nil || rs[1].Last == nil || rs[1].Last.Day != fleet.NewDate(2026, 3, 2) {
			t.Errorf("got %+v, %v; want the day in Auckland", rs[1].Last, err)
		}
	})
}

// Somebody with an account of the same address is told days as that wants them.
func TestDigestForItsReader(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		srv := mailtest.Start(t, mailtest.Options{})
		d := newDesk(t, db, srv)
		secret, err := storetest.SignIn(t.Context(), db, "Ann", auth.Grant{Role: auth.Planner})
		if err != nil {
			t.Fatal(err)
		}
		who, err := db.SessionOf(t.Context(), secret)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.SetReader(t.Context(), who, units.Reader{DaysAs: units.ISO}); err != nil {
			t.Fatal(err)
		}
		if err := db.RenameAccount(t.Context(), who, "Ann", "ANN@island.example"); err != nil {
			t.Fatal(err)
		}
		d.forecast(d.bus, 1, 10)
		if _, err := d.SendDigests(t.Context(), "UTC"); err != nil {
			t.Fatal(err)
		}
		got := srv.Received()
		if len(got) != 1 {
			t.Fatalf("%d mails, want one", len(got))
		}
		if _, text, _ := bodies(t, got[0].Body); !strings.Contains(text, "book by Tue 2026-03-10") || strings.Contains(text, "Mar") {
			t.Errorf("got %s", text)
		}
	})
}

// Eight processes at once send one digest.
func TestDigestsAtOnce(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			srv := mailtest.Start(t, mailtest.Options{})
			d := newDesk(t, storetest.MustOpen(t, url), srv)
			d.forecast(d.bus, 1, 10)
			var wg sync.WaitGroup
			for range 8 {
				other := *d.Service
				other.DB = storetest.MustOpen(t, url)
				other.DB.Now = d.Now
				wg.Go(func() {
					if _, err := other.SendDigests(t.Context(), "UTC"); err != nil {
						t.Error(err)
					}
				})
			}
			wg.Wait()
			if n := len(srv.Received()); n != 1 {
				t.Errorf("%d digests, want 1", n)
			}
		})
	}
}

// What becomes of a digest that the mail server does not take: tried again in
// the next hour, not tried again, or left to the next day's.
func TestDigestFails(t *testing.T) {
	full := &smtp.SMTPError{Code: 452, EnhancedCode: smtp.EnhancedCode{4, 2, 2}, Message: "mailbox full"}
	nobody := &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such person"}
	failed, uncertain, before := pipeline.DigestReport{Failed: 1}, pipeline.DigestReport{Uncertain: 1}, pipeline.DigestReport{Before: 1}
	for _, c := range []struct {
		name  string
		opt   mailtest.Options
		hours []pipeline.DigestReport // of the first day, from six on
		state string
		says  string
		mails int // that were taken after all, on the first day
	}{
		{"for now", mailtest.Options{Refuse: map[string]*smtp.SMTPError{"rcpt": full}},
			[]pipeline.DigestReport{failed, failed, failed, failed, before}, store.DigestFailed, "refused it (452)", 0},
		{"for good", mailtest.Options{Refuse: map[string]*smtp.SMTPError{"rcpt": nobody}},
			[]pipeline.DigestReport{failed, before}, store.DigestRefused, "refused it (550)", 0},
		{"unreachable", mailtest.Options{Hang: "greet"},
			[]pipeline.DigestReport{failed, failed}, store.DigestFailed, "could not be reached", 0},
		{"uncertain", mailtest.Options{Drop: "data"},
			[]pipeline.DigestReport{uncertain, before}, store.DigestUncertain, "did not say", 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			storetest.Each(t, func(t *testing.T, db *store.DB) {
				srv := mailtest.Start(t, c.opt)
				srv.Timeout = 200 * time.Millisecond
				d := newDesk(t, db, srv)
				d.forecast(d.bus, 1, 10)
				for i, want := range c.hours {
					*d.at = march(2, 6+i)
					if err := d.send(want); (err == nil) != (want == before) {
						t.Errorf("hour %d: %v", i, err)
					}
				}
				r, err := db.Recipient(t.Context(), all, d.planner.ID)
				if err != nil || r.Last.State != c.state || !strings.Contains(r.Last.Message, c.says) {
					t.Errorf("got %+v, %v", r.Last, err)
				}
				if n := len(srv.Received()); n != c.mails {
					t.Errorf("%d mails, want %d", n, c.mails)
				}
				// The next day, with the server mended, tells all of it.
				mended := mailtest.Start(t, mailtest.Options{})
				d.Mail = &mended.Server
				*d.at = march(3, 6)
				d.send(pipeline.DigestReport{Sent: 1})
				if _, text, _ := bodies(t, mended.Received()[0].Body); !strings.Contains(text, "Bus 1, axle 1") {
					t.Errorf("the next day: %s", text)
				}
			})
		})
	}
}

// A process dies while it sends an e-mail. It is not sent twice; the next day's
// tells what it would have.
func TestFaultDigestDied(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		srv := mailtest.Start(t, mailtest.Options{})
		d := newDesk(t, db, srv)
		d.forecast(d.bus, 1, 10)
		if _, claimed, err := db.ClaimDigest(t.Context(), d.planner.ID, fleet.NewDate(2026, 3, 2), 4); err != nil || !claimed {
			t.Fatal(claimed, err)
		}
		d.send(pipeline.DigestReport{Before: 1})
		*d.at = march(3, 6)
		d.send(pipeline.DigestReport{Sent: 1})
	})
}

func TestDigestWithoutAServer(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	d := newDesk(t, db, nil)
	if _, err := d.SendDigests(t.Context(), "UTC"); !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), "BRAKEWEAR_SMTP_HOST") {
		t.Errorf("got %v, want what to set", err)
	}
	if err := db.StopRecipient(t.Context(), all, "N. N.", d.planner.ID); err != nil {
		t.Fatal(err)
	}
	d.send(pipeline.DigestReport{})
}

// A long list is cut, and says so.
func TestDigestIsBounded(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	srv := mailtest.Start(t, mailtest.Options{})
	d := newDesk(t, db, srv)
	for axle := range 45 {
		d.forecast(d.bus, axle+1, 10)
	}
	d.send(pipeline.DigestReport{Sent: 1})
	subject, text, html := bodies(t, srv.Received()[0].Body)
	if subject != "Brakes: 45 became due" || strings.Count(text, "- Bus 1") != 40 || !strings.Contains(text, "and 5 more") || !strings.Contains(html, "and 5 more") {
		t.Errorf("got %s\n%s", subject, text)
	}
}

// What is the same for all is asked once, however many are told.
func TestDigestsAskForZonesOnce(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	d := newDesk(t, db, mailtest.Start(t, mailtest.Options{}))
	ben := &store.Recipient{Name: "Ben Manager", Address: "ben@island.example", Role: store.RoleManager, Everything: true}
	if err := db.SaveRecipient(t.Context(), all, "N. N.", ben); err != nil {
		t.Fatal(err)
	}
	d.forecast(d.bus, 1, 10)
	ctx, ran := storetest.Watch(t.Context())
	if rep, err := d.SendDigests(ctx, "UTC"); err != nil || rep.Sent != 2 {
		t.Fatalf("got %+v, %v; want 2 sent", rep, err)
	}
	asked := 0
	for _, q := range ran.Queries() {
		if strings.HasPrefix(q, "select time_zone from depots") {
			asked++
		}
	}
	if asked != 1 {
		t.Errorf("zones were asked for %d times, want once", asked)
	}
}
