package dashboard

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// world is a database behind the pages. Everything in it is invented. Pages
// are tested on SQLite alone: that both databases answer alike is the store's
// test.
type world struct {
	svc     *pipeline.Service
	handler http.Handler
	file    string // of the database, or its address
}

// now is when the tests' clock stands still.
var now = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// newWorld is that of an empty, migrated database.
func newWorld(ctx context.Context, url string) (*world, error) {
	db, err := store.Open(ctx, url)
	if err != nil {
		return nil, err
	}
	db.Now = func() time.Time { return now }
	// A model whose figures hardly move when another learns better.
	w := &world{svc: &pipeline.Service{DB: db, Now: db.Now, Model: "pooled"}, file: url}
	d, err := New(w.svc)
	if err != nil {
		return nil, err
	}
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	web.UseErrorPage(r, d.ErrorPage)
	r.Use(web.Guard(db))
	d.Register(r)
	session, err := storetest.SignIn(ctx, db, tester, auth.Grant{Role: auth.Admin})
	if err != nil {
		return nil, err
	}
	w.handler = signedIn(web.Protect(r), session)
	return w, nil
}

// tester is who sends the tests' requests: an admin, unless a test brings a
// session of its own.
const tester = "dashboard"

// signedIn sends a request without a session as the one given.
func signedIn(h http.Handler, session string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if _, err := r.Cookie(web.SessionCookie); err != nil {
			r.AddCookie(&http.Cookie{Name: web.SessionCookie, Value: session})
		}
		h.ServeHTTP(w, r)
	})
}

// empty is a world with nothing in it.
func empty(t *testing.T) *world {
	t.Helper()
	w, err := newWorld(t.Context(), storetest.URL(t, store.SQLite))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := w.svc.DB.Close(); err != nil {
			t.Error(err)
		}
	})
	return w
}

// Files of the small world. The van's name is what a spreadsheet would take
// for a formula and a browser for markup.
const (
	smallVehicles = `vehicle,fleet,depot,plate,category,make,model,year,duty
Bus 1,Ferry Lines,Harbour,KEA 1,M3,,,2019,city
Bus 2,Ferry Lines,Hill,KEA 2,M3,,,2020,city
=Van <b>3</b>,Ferry Lines,Hill,KEA 3,N1,,,2021,parcels
`
	smallAxles = `vehicle,axle,brake,pad_new_mm,pad_limit_mm
Bus 1,1,disc,20,3
Bus 1,2,disc,20,3
Bus 2,1,disc,20,3
=Van <b>3</b>,1,disc,12,2
`
	smallReadings = `vehicle,date,odometer_km,axle,part,side,face,value_mm
Bus 1,2025-03-01,100000,1,pad,left,inner,15.5
Bus 1,2025-09-01,130000,1,pad,left,inner,9.9
Bus 1,2026-02-01,155000,1,pad,left,inner,5.1
Bus 1,2026-02-01,155000,2,pad,,,11.0
Bus 2,2024-01-10,40000,1,pad,left,inner,17.9
Bus 2,2024-03-10,46000,1,pad,left,inner,17.2
=Van <b>3</b>,2025-08-01,30000,1,pad,right,outer,3.2
=Van <b>3</b>,2026-02-01,40000,1,pad,right,outer,1.9
`
)

// small is a world of three vehicles: one to book, one measured two years ago,
// one at its limit.
func small(t *testing.T) *world {
	t.Helper()
	w := empty(t)
	for _, f := range []struct{ name, text string }{
		{"vehicles.csv", smallVehicles}, {"axles.csv", smallAxles}, {"readings.csv", smallReadings},
	} {
		w.takeIn(t, f.name, f.text)
	}
	return w
}

func (w *world) takeIn(t *testing.T, name, text string) {
	t.Helper()
	up, _, err := w.svc.TakeIn(t.Context(), auth.AllFleets(), "test", pipeline.File{Name: name, Body: strings.NewReader(text)}, fleet.DateOf(now))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if up.Refused > 0 {
		t.Fatalf("%s: %+v", name, up.Problems)
	}
}

// vehiclePath is the address of the vehicle of this number.
func (w *world) vehiclePath(t *testing.T, number string) string {
	t.Helper()
	page, err := w.svc.DB.Vehicles(t.Context(), auth.AllFleets(), store.VehicleQuery{Text: number})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range page.Rows {
		if v.Number == number {
			return fmt.Sprintf("/vehicles/%d", v.ID)
		}
	}
	t.Fatalf("no vehicle %q", number)
	return ""
}

// testPath is the address of the last brake test of a vehicle.
func (w *world) testPath(t *testing.T, number string) string {
	t.Helper()
	path := w.vehiclePath(t, number)
	var id int64
	if _, err := fmt.Sscanf(path, "/vehicles/%d", &id); err != nil {
		t.Fatal(err)
	}
	bs, err := w.svc.DB.BrakeTests(t.Context(), auth.AllFleets(), id)
	if err != nil || len(bs) == 0 {
		t.Fatalf("%s: %d brake tests, %v", number, len(bs), err)
	}
	return testLink(id, bs[len(bs)-1].ID)
}

// cardPath is the address of an open job card of a vehicle, which is opened
// when there is none yet.
func (w *world) cardPath(t *testing.T, number string) string {
	t.Helper()
	var id int64
	if _, err := fmt.Sscanf(w.vehiclePath(t, number), "/vehicles/%d", &id); err != nil {
		t.Fatal(err)
	}
	cards, err := w.svc.DB.Cards(t.Context(), auth.AllFleets(), store.CardQuery{Vehicle: id, State: fleet.CardOpen})
	if err != nil {
		t.Fatal(err)
	}
	if len(cards) == 0 {
		card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "test", id, []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}, {Axle: 1, Item: fleet.ItemRotors}})
		if err != nil {
			t.Fatal(err)
		}
		cards = append(cards, card)
	}
	return fmt.Sprintf("/cards/%d", cards[0].ID)
}

var shared struct {
	sync.Once
	*world
	dir string
	err error
}

// island is the demo fleet, made once for all tests that only look at it.
func island(t *testing.T) *world {
	t.Helper()
	shared.Do(func() {
		ctx := context.Background()
		if shared.dir, shared.err = os.MkdirTemp("", "brakewear-dashboard-*"); shared.err != nil {
			return
		}
		file := filepath.Join(shared.dir, "island.db")
		if shared.err = storetest.MakeFile(file); shared.err != nil {
			return
		}
		if shared.world, shared.err = newWorld(ctx, file); shared.err != nil {
			return
		}
		today := fleet.DateOf(now)
		if shared.err = demo.TakeIn(ctx, shared.svc, demo.Island(today)); shared.err != nil {
			return
		}
		var past []fleet.Date
		for m := range 9 {
			past = append(past, today-fleet.Date(30*(m+1)))
		}
		if _, shared.err = shared.svc.Replay(ctx, auth.AllFleets(), past); shared.err != nil {
			return
		}
		if _, shared.err = shared.svc.Refit(ctx, auth.AllFleets(), nil, today); shared.err != nil {
			return
		}
		if shared.err = demo.Plan(ctx, shared.svc); shared.err != nil {
			return
		}
		full := *shared.svc // beside the model that forecasts, for the page of what was learned
		full.Model = pipeline.DefaultModel
		_, shared.err = full.Train(ctx, today)
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.world
}

func TestMain(m *testing.M) {
	code := m.Run()
	if closeChromium != nil {
		closeChromium()
	}
	if shared.world != nil {
		shared.svc.DB.Close()
	}
	if shared.dir != "" {
		os.RemoveAll(shared.dir)
	}
	os.Exit(code)
}
