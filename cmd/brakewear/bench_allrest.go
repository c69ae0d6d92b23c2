package main

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"brakewear/api"
	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// What else the program does with a whole fleet: it has no ceiling, and is measured
// for its time and for the memory that it takes.
const (
	workNight        = "night, " // and the job
	workOverviewNew  = "overview, worked out anew"
	workOverviewPage = "overview page, a write before each"
	workFile         = "file " // and its address
	workCalendars    = "calendars of depots"
	workOtherPages   = "other pages, once each"
	workSecondImport = "second import, 20 people beside it"
	workSecondRefit  = "refit of a tenth, 20 people beside it"
)

// mostMemory is what the process may have resident, in MB.
const mostMemory = 400

// fits adds work that is to fit into the memory.
func (w *allRun) fits(x *workBench) {
	if x.Seconds > 0 {
		x.Rate = float64(x.Done) / x.Seconds
	}
	x.Aim, x.Met = fmt.Sprintf("< %d MB", mostMemory), x.PeakMB < mostMemory
	w.add(x)
}

// night does what the clock does at night, but for the refit, which is measured by
// itself; then all that was proposed is accepted, so that there are bookings.
func (w *allRun) night(http.Handler) error {
	ds, err := w.svc.DB.Depots(w.e.ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	var zones []string
	for _, d := range ds {
		if !slices.Contains(zones, d.TimeZone) {
			zones = append(zones, d.TimeZone)
		}
	}
	w.svc.BackupDir = filepath.Join(w.dir, "backups")
	for _, job := range w.svc.Jobs() {
		if job.Name == "refit" {
			continue
		}
		of := zones
		if !job.PerZone {
			of = zones[:1]
		}
		resident := watchResident(w.e.ctx)
		start := w.e.now()
		for _, zone := range of {
			did, err := job.Run(w.e.ctx, zone)
			if err != nil {
				return fmt.Errorf("%s: %w", job.Name, err)
			}
			fmt.Fprintf(w.e.stderr, "  %s in %s: %s\n", job.Name, zone, did)
		}
		took := w.e.now().Sub(start).Seconds()
		w.fits(&workBench{Work: workNight + job.Name, Done: len(w.ids), Of: "vehicles", Seconds: took, PeakMB: resident(), Cost: took, CostOf: "s"})
	}
	if err := os.RemoveAll(w.svc.BackupDir); err != nil { // as large as the database
		return err
	}
	_, err = w.svc.AcceptProposal(w.e.ctx, auth.AllFleets(), "bench", 0, nil)
	if errors.Is(err, fleet.ErrNotFound) { // nothing is due
		return nil
	}
	return err
}

// leastTimes is how often what takes long is done at the least, so that there is a
// median.
const leastTimes = 5

// oneByOne times something done again and again by one who waits for it, with what
// comes before each not counted.
func (w *allRun) oneByOne(before func(i int) error, do func(i int) error) (*loaded, float64, error) {
	resident := watchResident(w.e.ctx)
	got := &loaded{}
	begun := w.e.now()
	for i := 0; i < leastTimes || w.e.now().Sub(begun) < w.c.Asking; i++ {
		if err := before(i); err != nil {
			return nil, 0, err
		}
		start := w.e.now()
		if err := do(i); err != nil {
			return nil, 0, err
		}
		took := w.e.now().Sub(start)
		got.seconds += took.Seconds()
		got.ms = append(got.ms, float64(took.Microseconds())/1e3)
	}
	got.n = len(got.ms)
	slices.Sort(got.ms)
	return got, resident(), nil
}

// overviews times the overview of all fleets after something was written, worked out
// anew and as the page shows it.
func (w *allRun) overviews(service http.Handler) error {
	write := func(i int) error {
		_, err := w.svc.Refit(w.e.ctx, auth.AllFleets(), []int64{w.ids[i%len(w.ids)]}, benchUntil)
		return err
	}
	for _, x := range []struct{ work, address string }{{workOverviewNew, api.Prefix + "/overview"}, {workOverviewPage, "/overview"}} {
		got, peak, err := w.oneByOne(write, func(int) error {
			_, err := askInto(w.e.ctx, service, http.MethodGet, x.address, nil, io.Discard)
			return err
		})
		if err != nil {
			return err
		}
		w.fits(&workBench{Work: x.work, Done: got.n, Of: "overviews", Seconds: got.seconds, P50: got.at(.5), P99: got.at(.99), PeakMB: peak, Cost: got.at(.5), CostOf: "ms"})
	}
	return nil
}

// wholeFiles are the lists of all that there is, as files.
var wholeFiles = []string{"/due.csv?within=0", "/due.xlsx?within=0", "/findings.csv", "/plan.csv", "/plan.xlsx", "/plan/parts.csv", "/overview/weeks.xlsx", "/changes.csv"}

// otherPages are those that look at a whole fleet and were not asked for before.
var otherPages = []string{
	"/vehicles", "/findings", "/plan", "/plan/parts", "/workshops", "/parts", "/cards", "/readings", "/record", "/learned", "/changes", "/calendars", "/accounts",
	api.Prefix + "/fleets", api.Prefix + "/depots", api.Prefix + "/workshops", api.Prefix + "/vehicles", api.Prefix + "/bookings", api.Prefix + "/visits", api.Prefix + "/proposals", api.Prefix + "/parts_needed",
}

// files times every list as a file, the calendars, and a look at each other page.
func (w *allRun) files(service http.Handler) error {
	for _, address := range wholeFiles {
		name, _, _ := strings.Cut(address, "?")
		err := w.readOut(workFile+name, "kB", func() (int, error) {
			n, err := askInto(w.e.ctx, service, http.MethodGet, address, nil, io.Discard)
			return (n + 1023) / 1024, err
		})
		if err != nil {
			return err
		}
	}
	ds, err := w.svc.DB.Depots(w.e.ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	var feeds []string
	for _, d := range ds[:min(len(ds), 50)] {
		secret, err := w.svc.MakeCalendar(w.e.ctx, auth.AllFleets(), &store.CalendarFeed{DepotID: d.ID, MadeBy: "bench"})
		if err != nil {
			return err
		}
		feeds = append(feeds, web.SecretPath+secret+".ics")
	}
	for _, x := range []struct {
		work      string
		addresses []string
	}{{workCalendars, feeds}, {workOtherPages, otherPages}} {
		err := w.readOut(x.work, "answers", func() (int, error) {
			for _, address := range x.addresses {
				start := w.e.now()
				if _, err := askInto(w.e.ctx, service, http.MethodGet, address, nil, io.Discard); err != nil {
					return 0, err
				}
				if x.work == workOtherPages {
					fmt.Fprintf(w.e.stderr, "  %s: %.0f ms\n", address, w.e.now().Sub(start).Seconds()*1e3)
				}
			}
			return len(x.addresses), nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// readOut times what is read out once.
func (w *allRun) readOut(work, of string, do func() (int, error)) error {
	resident := watchResident(w.e.ctx)
	start := w.e.now()
	n, err := do()
	if err != nil {
		return err
	}
	took := w.e.now().Sub(start).Seconds()
	w.fits(&workBench{Work: work, Done: n, Of: of, Seconds: took, PeakMB: resident(), Cost: took, CostOf: "s"})
	return nil
}

// second takes what would be measured today at every place of every vehicle in, and
// forecasts a tenth of the vehicles anew, while people look at lists and vehicles.
func (w *allRun) second(service http.Handler) error {
	name, err := w.secondFile()
	if err != nil {
		return err
	}
	err = w.beside(workSecondImport, "readings", service, func() (int, error) {
		up, err := importFile(w.e, w.svc, ingest.Readings, "bench", name)
		return up.Accepted, err
	})
	if err != nil {
		return err
	}
	var some []int64
	for i := 0; i < len(w.ids); i += 10 {
		some = append(some, w.ids[i])
	}
	return w.beside(workSecondRefit, "axles", service, func() (int, error) {
		rep, err := w.svc.Refit(w.e.ctx, auth.AllFleets(), some, benchUntil)
		return rep.Axles, err
	})
}

// secondFile writes a file of a new reading where each vehicle was measured last.
func (w *allRun) secondFile() (string, error) {
	name := filepath.Join(w.dir, "second.csv")
	f, err := os.Create(name)
	if err != nil {
		return "", err
	}
	fmt.Fprintln(f, "vehicle,date,odometer_km,axle,part,side,face,value_mm")
	err = w.svc.DB.EachHistory(w.e.ctx, auth.AllFleets(), nil, func(h *store.History) error {
		seen := map[fleet.Position]bool{}
		for i := len(h.Readings) - 1; i >= 0; i-- {
			at := &h.Readings[i]
			if at.Date != h.Readings[len(h.Readings)-1].Date || seen[at.Position] {
				continue
			}
			seen[at.Position] = true
			one := *h
			one.Readings = h.Readings[i : i+1]
			if r := nextReading(&one, 0); r != nil {
				fmt.Fprintf(f, "%s,%s,%s,%d,%s,%s,%s,%s\n", h.Vehicle.Number, r.date, r.km, r.Axle, r.Part, r.Side, r.Face, r.mm)
			}
		}
		return nil
	})
	return name, errors.Join(err, f.Close())
}

// lookedAt is how long people look at a page before they ask for the next.
// Judgement: few are as quick all day.
const lookedAt = time.Second

// beside times something done while people look at lists and vehicles, and what they
// wait meanwhile.
func (w *allRun) beside(work, of string, service http.Handler, do func() (int, error)) error {
	addresses, err := w.dueLists()
	if err != nil {
		return err
	}
	addresses = append(addresses, w.someVehicles(3, len(addresses))...)
	var over atomic.Bool
	var wg sync.WaitGroup
	n, took := 0, 0.
	var failed error
	resident := watchResident(w.e.ctx)
	wg.Go(func() {
		defer over.Store(true)
		start := w.e.now()
		n, failed = do()
		took = w.e.now().Sub(start).Seconds()
	})
	asking := askOf(w.e.ctx, service, addresses)
	got, err := w.loadFor(time.Hour, func(client, i int, dice *rand.Rand) func() error {
		if i > 0 {
			time.Sleep(lookedAt)
		}
		if over.Load() {
			return nil
		}
		return asking(client, i, dice)
	})
	wg.Wait()
	if err := errors.Join(failed, err); err != nil {
		return err
	}
	w.fits(&workBench{Work: work, Done: n, Of: of, Seconds: took, P50: got.at(.5), P99: got.at(.99), PeakMB: resident(), Cost: took, CostOf: "s"})
	return nil
}
