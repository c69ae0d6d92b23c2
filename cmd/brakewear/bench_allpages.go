package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"brakewear/api"
	"brakewear/dashboard"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// benchClients is how many ask at once, each again as soon as it is answered.
const benchClients = 20

// pages times what people and devices ask for.
func (w *allRun) pages() error {
	d, service, session, err := w.served()
	if err != nil {
		return err
	}
	memory, err := w.ceilings(d, session)
	if err != nil {
		return err
	}
	for _, x := range []struct {
		what    string
		measure func(service http.Handler, memory func() http.Handler) error
	}{{"upload", w.uploads}, {"due", w.dueSoon}, {"written", w.dueWritten}, {"first", w.firstViews}, {"vehicle", w.vehicles}} {
		if slices.Contains(w.c.Ask, x.what) {
			if err := x.measure(service, memory); err != nil {
				return err
			}
		}
	}
	for _, x := range []struct {
		what    string
		measure func(service http.Handler) error
	}{{"night", w.night}, {"rest", w.overviews}, {"rest", w.files}, {"rest", w.second}} {
		if slices.Contains(w.c.Ask, x.what) {
			if err := x.measure(service); err != nil {
				return fmt.Errorf("%s: %w", x.what, err)
			}
		}
	}
	return nil
}

// served returns the program's handlers as a signed-in session asks them, the
// dashboard among them, and the session.
func (w *allRun) served() (d *dashboard.Dashboard, service http.Handler, session string, err error) {
	if d, err = dashboard.New(w.svc); err != nil {
		return nil, nil, "", err
	}
	if session, err = w.signIn(); err != nil {
		return nil, nil, "", err
	}
	guarded := web.NewEngine(slog.New(slog.DiscardHandler))
	guarded.Use(web.Guard(w.svc.DB))
	d.Register(guarded)
	api.New(w.svc).Register(guarded)
	return d, withSession(guarded, session), session, nil
}

// ceilings returns what makes a handler of the pages' ceilings, as a session asks
// them: another one each time, for what it holds to show is none of the service's
// memory.
func (w *allRun) ceilings(d *dashboard.Dashboard, session string) (func() http.Handler, error) {
	who, err := w.svc.DB.SessionOf(w.e.ctx, session)
	return func() http.Handler {
		open := web.NewEngine(slog.New(slog.DiscardHandler))
		open.Use(web.Guard(known(who)))
		open.GET("/", d.DueFromMemory())
		open.GET("/vehicles/:id", d.PlotsFromMemory())
		return withSession(open, session)
	}, err
}

// signIn starts a session of an account of the bench's own.
func (w *allRun) signIn() (string, error) {
	a := store.Account{Name: "Bench", Email: "bench@brakewear.invalid", Grants: []store.Grant{{Role: auth.Admin}}}
	if err := w.svc.DB.AddAccount(w.e.ctx, auth.AllFleets(), "bench", &a); err != nil {
		return "", err
	}
	secret := auth.NewSecret()
	return secret, w.svc.DB.StartSession(w.e.ctx, a.ID, secret, "bench")
}

// withSession sends every request by a session.
func withSession(h http.Handler, session string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.AddCookie(&http.Cookie{Name: web.SessionCookie, Value: session})
		h.ServeHTTP(w, r)
	})
}

// known is one person whom every session is of: what a ceiling's requests are
// let in by, without asking the database.
type known auth.Who

func (k known) SessionOf(context.Context, string) (auth.Who, error) { return auth.Who(k), nil }
func (k known) TokenOf(context.Context, string) (auth.Who, error)   { return auth.Who(k), nil }

// dueSoon times the due-soon list, each page of which was asked for once.
func (w *allRun) dueSoon(service http.Handler, memory func() http.Handler) error {
	lists, err := w.dueLists()
	if err != nil {
		return err
	}
	return w.duePages(workDue, lists, service, memory)
}

// writtenEvery is how often something is written while lists are looked at: a
// reading of some vehicle a second, of a hundredth of 100,000 vehicles a day.
// Common practice, no source.
const writtenEvery = time.Second

// dueWritten times it under every filter there is while vehicles are forecast anew,
// one after the other, as on a working day: what is kept of a list is of one version
// of the database.
func (w *allRun) dueWritten(service http.Handler, memory func() http.Handler) error {
	lists, err := w.dueLists()
	if err != nil {
		return err
	}
	narrowed, err := w.narrowedLists()
	if err != nil {
		return err
	}
	lists = append(lists, narrowed...)
	ctx, cancel := context.WithCancel(w.e.ctx)
	var wrote error
	var wg sync.WaitGroup
	wg.Go(func() {
		tick := time.NewTicker(writtenEvery)
		defer tick.Stop()
		for i := 0; wrote == nil; i++ {
			if _, wrote = w.svc.Refit(ctx, auth.AllFleets(), []int64{w.ids[i%len(w.ids)]}, benchUntil); wrote != nil {
				break
			}
			select {
			case <-tick.C:
			case <-ctx.Done():
				return
			}
		}
	})
	err = w.duePages(workDueWritten, lists, service, memory)
	cancel()
	wg.Wait()
	if errors.Is(wrote, context.Canceled) && w.e.ctx.Err() == nil {
		wrote = nil
	}
	return errors.Join(err, wrote)
}

func (w *allRun) duePages(work string, lists []string, service http.Handler, memory func() http.Handler) error {
	if err := w.once(service, lists); err != nil {
		return err
	}
	got, peak, err := w.watched(askOf(w.e.ctx, service, lists))
	if err != nil {
		return err
	}
	top, err := w.fromMemory(memory(), lists)
	if err != nil {
		return err
	}
	x := pagesBench(work, got, peak, top, "rendering from rows in memory")
	x.Ratio = x.Rate / x.Ceiling
	x.Aim, x.Met = "≥ 0.5, p99 < 50 ms", x.Ratio >= .5 && x.P99 < 50
	w.add(x)
	return nil
}

// vehicles times pages of vehicles that were looked at before.
func (w *allRun) vehicles(service http.Handler, memory func() http.Handler) error {
	addresses := w.someVehicles(1, 200)
	if err := w.once(service, addresses); err != nil {
		return err
	}
	return w.vehiclePages(workVehicle, service, memory, slices.Repeat([][]string{addresses}, vehicleRounds), askOf)
}

// maxFirstViews bounds the vehicles whose first view is timed.
const maxFirstViews = 600

// firstViews times pages of vehicles that nobody has looked at, by a service that has
// been asked for others: a server plans its statements once a connection, which takes
// it as long as ten pages.
func (w *allRun) firstViews(service http.Handler, memory func() http.Handler) error {
	addresses := w.someVehicles(2, maxFirstViews+benchClients)
	others := min(benchClients, len(addresses)/2)
	asked := make([][]func() error, others)
	for i, address := range addresses[:others] {
		asked[i] = []func() error{func() error { return look(w.e.ctx, service, address) }}
	}
	if err := atOnce(asked); err != nil {
		return err
	}
	addresses = addresses[others:]
	rounds := slices.Collect(slices.Chunk(addresses, (len(addresses)+vehicleRounds-1)/vehicleRounds))
	return w.vehiclePages(workFirst, service, memory, rounds, eachOnce)
}

// eachOnce asks for each of the addresses once, in their order.
func eachOnce(ctx context.Context, h http.Handler, addresses []string) func(int, int, *rand.Rand) func() error {
	var next atomic.Int64
	return func(int, int, *rand.Rand) func() error {
		i := int(next.Add(1)) - 1
		if i >= len(addresses) {
			return nil
		}
		return func() error {
			return look(ctx, h, addresses[i])
		}
	}
}

// someVehicles are addresses of up to n different vehicles, as the dice fall.
func (w *allRun) someVehicles(stream uint64, n int) (addresses []string) {
	dice := rand.New(rand.NewPCG(w.c.Seed, stream))
	for _, i := range dice.Perm(len(w.ids))[:min(n, len(w.ids))] {
		addresses = append(addresses, fmt.Sprintf("/vehicles/%d", w.ids[i]))
	}
	return addresses
}

// vehicleRounds is in how many rounds vehicles' pages are timed, each followed by one
// of the ceiling. A machine that others use is faster in some seconds than in others:
// timed after all the pages, the ceiling came out between 113 and 289 a second.
const vehicleRounds = 4

// asking has the clients ask a handler for addresses.
type asking func(ctx context.Context, h http.Handler, addresses []string) func(client, i int, dice *rand.Rand) func() error

// vehiclePages times pages of vehicles beside the drawing of their plots, by turns:
// rounds are the vehicles of each.
func (w *allRun) vehiclePages(work string, service http.Handler, memory func() http.Handler, rounds [][]string, pages asking) error {
	got, top, peak := &loaded{}, &loaded{}, 0.
	long := w.c.Asking / time.Duration(len(rounds))
	for _, some := range rounds {
		resident := watchResident(w.e.ctx)
		more, err := w.loadFor(long, pages(w.e.ctx, service, some))
		if err != nil {
			return err
		}
		peak = max(peak, resident())
		plots := memory()
		if err := w.once(plots, some); err != nil { // reads what it draws
			return err
		}
		drawn, err := w.loadFor(long, askOf(w.e.ctx, plots, some))
		if err != nil {
			return err
		}
		got.add(more)
		top.add(drawn)
	}
	x := pagesBench(work, got, peak, top, "drawing its plots alone")
	x.Ratio = x.Ceiling / x.Rate
	x.Aim, x.Met = "≤ 1.5 ×", x.Ratio <= 1.5
	w.add(x)
	return nil
}

// watched is load with the memory that was resident meanwhile.
func (w *allRun) watched(next func(int, int, *rand.Rand) func() error) (*loaded, float64, error) {
	resident := watchResident(w.e.ctx)
	got, err := w.load(next)
	return got, resident(), err
}

// fromMemory times a ceiling, once it has read what it shows.
func (w *allRun) fromMemory(memory http.Handler, addresses []string) (*loaded, error) {
	if err := w.once(memory, addresses); err != nil {
		return nil, err
	}
	return w.load(askOf(w.e.ctx, memory, addresses))
}

// once asks for each address once.
func (w *allRun) once(h http.Handler, addresses []string) error {
	for _, address := range addresses {
		if err := look(w.e.ctx, h, address); err != nil {
			return err
		}
	}
	return nil
}

func pagesBench(work string, got *loaded, peak float64, top *loaded, beside string) *workBench {
	return &workBench{
		Work: work, Done: got.n, Of: "pages", Seconds: got.seconds, Rate: got.rate(), P50: got.at(.5), P99: got.at(.99), PeakMB: peak,
		Ceiling: top.rate(), Beside: beside, Cost: got.at(.5), CostOf: "ms",
	}
}

// dueLists are the due-soon page's addresses: every order, under the filters that
// people use, first pages and later ones.
func (w *allRun) dueLists() (addresses []string, err error) {
	h, err := w.svc.DB.History(w.e.ctx, auth.AllFleets(), w.ids[len(w.ids)/2])
	if err != nil {
		return nil, err
	}
	booked := false
	before := benchUntil + 7*8
	for _, sort := range store.DueSorts {
		for filter, q := range map[string]store.DueQuery{
			"within=0": {},
			"within=8": {Before: &before},
			fmt.Sprintf("within=0&fleet=%d", h.Vehicle.FleetID):                             {Fleet: h.Vehicle.FleetID},
			fmt.Sprintf("within=0&fleet=%d&depot=%d", h.Vehicle.FleetID, h.Vehicle.DepotID): {Fleet: h.Vehicle.FleetID, Depot: h.Vehicle.DepotID},
			"within=0&booked=no": {Booked: &booked},
			"within=0&q=" + url.QueryEscape(h.Vehicle.Number[:max(1, len(h.Vehicle.Number)-1)]): {Text: h.Vehicle.Number[:max(1, len(h.Vehicle.Number)-1)]},
			fmt.Sprintf("within=26&fleet=%d&booked=no&q=a", h.Vehicle.FleetID):                  {Fleet: h.Vehicle.FleetID, Text: "a", Booked: &booked},
		} {
			address := "/?" + filter + "&sort=" + string(sort)
			addresses = append(addresses, address)
			if strings.HasPrefix(filter, "within=26") {
				continue
			}
			q.Sort = sort
			page, err := w.svc.DB.DueSoon(w.e.ctx, auth.AllFleets(), q)
			if err != nil {
				return nil, err
			}
			if page.Next != "" {
				addresses = append(addresses, address+"&after="+url.QueryEscape(page.Next))
			}
		}
	}
	slices.Sort(addresses)
	return addresses, nil
}

// narrowedLists are the page's addresses as the overview links to them, under every
// kind of filter that has no field on the page, in every order.
func (w *allRun) narrowedLists() (addresses []string, err error) {
	h, err := w.svc.DB.History(w.e.ctx, auth.AllFleets(), w.ids[len(w.ids)/2])
	if err != nil {
		return nil, err
	}
	week := func(name string, n fleet.Date) string {
		return fmt.Sprintf("%s_from=%s&%s_to=%s", name, benchUntil+7*n, name, benchUntil+7*n+6)
	}
	filters := []string{
		"booked=yes", "late=yes", "measured=yes", "measured=no", "q=a", "part=" + string(fleet.Pad), "part=" + string(fleet.Rotor),
		"duty=" + url.QueryEscape(h.Vehicle.Duty), week("limit", 4), week("due", 4),
	}
	for _, class := range []store.LeftClass{store.LeftClasses[0], store.LeftClasses[len(store.LeftClasses)/2]} {
		filters = append(filters, "left="+string(class))
	}
	for _, shift := range []store.Shift{store.IntoDue, store.Faster} {
		filters = append(filters, "moved="+string(shift))
	}
	for _, sort := range store.DueSorts {
		for _, filter := range filters {
			addresses = append(addresses, "/?within=0&"+filter+"&sort="+string(sort))
		}
	}
	return addresses, nil
}

// uploadsEach is how many uploads each client has ready.
const uploadsEach = 40

// uploads times a reading of one vehicle on its way in, until the forecast that
// counts it is read, by clients with vehicles of their own.
func (w *allRun) uploads(service http.Handler, _ func() http.Handler) error {
	ready := make([][]func() error, benchClients)
	for i := range uploadsEach {
		for client := range ready {
			do, err := w.upload(service, w.ids[(client+benchClients*i)%len(w.ids)], i)
			if err != nil {
				return err
			}
			if do != nil {
				ready[client] = append(ready[client], do)
			}
		}
	}
	if err := atOnce(ready); err != nil { // once each, as with pages
		return err
	}
	resident := watchResident(w.e.ctx)
	got, err := w.load(func(client, i int, _ *rand.Rand) func() error {
		if i == len(ready[client]) {
			return nil
		}
		return ready[client][i]
	})
	if err != nil {
		return err
	}
	w.add(&workBench{
		Work: workUpload, Done: got.n, Of: "uploads", Seconds: got.seconds, Rate: got.rate(), P50: got.at(.5), P99: got.at(.99), PeakMB: resident(),
		Aim: "p99 < 100 ms", Met: got.at(.99) < 100, Cost: got.at(.5), CostOf: "ms",
	})
	return nil
}

// atOnce has each client do the first of what it has ready.
func atOnce(ready [][]func() error) error {
	errs := make([]error, len(ready))
	var wg sync.WaitGroup
	for client, all := range ready {
		if len(all) > 0 {
			ready[client] = all[1:]
			wg.Go(func() { errs[client] = all[0]() })
		}
	}
	wg.Wait()
	return errors.Join(errs...)
}

// upload prepares one upload of a vehicle; nil when nothing was ever measured on
// it.
func (w *allRun) upload(service http.Handler, id int64, times int) (func() error, error) {
	h, err := w.svc.DB.History(w.e.ctx, auth.AllFleets(), id)
	if err != nil {
		return nil, err
	}
	r := nextReading(&h, times)
	if r == nil {
		return nil, nil
	}
	row := map[string]any{"vehicle": h.Vehicle.Number, "date": r.date, "odometer_km": r.km, "axle": r.Axle, "part": r.Part, "side": r.Side, "face": r.Face, "value_mm": r.mm}
	body, err := json.Marshal([]any{row})
	if err != nil {
		return nil, err
	}
	address := fmt.Sprintf("%s/vehicles/%d/forecasts", api.Prefix, id)
	before, err := ask(w.e.ctx, service, http.MethodGet, address, nil)
	if err != nil {
		return nil, err
	}
	return func() error {
		if _, err := ask(w.e.ctx, service, http.MethodPost, api.Prefix+"/readings", body); err != nil {
			return err
		}
		after, err := ask(w.e.ctx, service, http.MethodGet, address, nil)
		if err == nil && bytes.Equal(before, after) {
			err = fmt.Errorf("vehicle %d: the forecast is as before its reading %s", id, body)
		}
		return err
	}, nil
}
