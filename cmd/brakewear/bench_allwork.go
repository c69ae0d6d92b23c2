package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// allRun measures a fleet of one size on one database.
type allRun struct {
	c       benchAllCmd
	e       *env
	rep     *allReport
	dialect string
	n       int
	dir     string
	urls    [2]string // full and bare

	svc  *pipeline.Service // of the full one
	ids  []int64
	peak float64
}

// sampled bounds the vehicles held in memory to time the fitting alone.
const sampled = 2000

func (w *allRun) all() (err error) {
	imported, err := benchImport(w.e, w.dir, w.urls)
	if err != nil {
		return err
	}
	for _, x := range []struct {
		work, beside string
		ceiling      float64
	}{
		{workImport, "bare rows into the same tables", imported.BareRate},
		{workImportOne, "bare rows into the readings' own table", imported.AloneRate},
	} {
		took, ratio := float64(imported.Rows)/imported.Rate, imported.Rate/x.ceiling
		w.add(&workBench{
			Work: x.work, Done: imported.Rows, Of: "readings", Seconds: took, Rate: imported.Rate,
			PeakMB: imported.PeakMB, Ceiling: x.ceiling, Beside: x.beside, Ratio: ratio,
			Aim: "≥ 0.5", Met: ratio >= .5, Cost: took, CostOf: "s",
		})
	}
	if err := w.open(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.close()) }()
	for _, k := range []ingest.Kind{ingest.Odometer, ingest.Fitments} {
		if _, err := importFile(w.e, w.svc, k, "bench", filepath.Join(w.dir, string(k)+".csv")); err != nil {
			return err
		}
	}
	perVehicle, err := w.refit()
	if err != nil {
		return err
	}
	if err := w.refitChanged(perVehicle); err != nil {
		return err
	}
	if name := w.c.keptName(w.n); name != "" && w.dialect == store.SQLite {
		if err := w.keep(name); err != nil {
			return err
		}
	}
	return w.asked()
}

// asked measures what people and devices ask of the fleet.
func (w *allRun) asked() error {
	if err := w.svc.DB.Settle(w.e.ctx); err != nil {
		return err
	}
	if err := w.pages(); err != nil {
		return err
	}
	w.add(&workBench{Work: workService, Done: len(w.ids), Of: "vehicles", PeakMB: w.peak, Aim: fmt.Sprintf("< %d MB", mostMemory), Met: w.peak < mostMemory, Cost: w.peak, CostOf: "MB"})
	return nil
}

// benchNow is the time at which all is asked.
func benchNow() time.Time { return benchUntil.Time().Add(9 * time.Hour) }

func (w *allRun) add(x *workBench) {
	x.Database, x.Vehicles = w.dialect, w.n
	w.peak = max(w.peak, x.PeakMB)
	w.rep.Results = append(w.rep.Results, x)
	fmt.Fprintf(w.e.stderr, "%d vehicles on %s, %s: %.2f s, ratio %.3f, %.0f MB\n", w.n, w.dialect, x.Work, x.Seconds, x.Ratio, x.PeakMB)
}

// refit times a refit of all, beside its parts done once each: reading the rows,
// fitting in memory, writing the forecasts. It returns the seconds a vehicle took.
func (w *allRun) refit() (float64, error) {
	ctx, all := w.e.ctx, auth.AllFleets()
	fitting, err := w.fitAlone()
	if err != nil {
		return 0, err
	}
	reading, err := w.readAlone()
	if err != nil {
		return 0, err
	}
	resident := watchResident(ctx)
	start := w.e.now()
	rep, err := w.svc.Refit(ctx, all, nil, benchUntil)
	took := w.e.now().Sub(start).Seconds()
	peak := resident()
	if err != nil {
		return 0, err
	}
	writing, err := w.writeAlone()
	if err != nil {
		return 0, err
	}
	bound := reading + writing + fitting
	n := float64(rep.Vehicles)
	fmt.Fprintf(w.e.stderr, "  reading once %.2f s, fitting %.2f s, writing once %.2f s\n", reading, fitting, writing)
	w.add(&workBench{
		Work: workRefit, Done: rep.Axles, Of: "axles", Seconds: took, Rate: float64(rep.Axles) / took, PeakMB: peak,
		Ceiling: float64(rep.Axles) / bound, Beside: "reading once, fitting in memory, writing once", Ratio: bound / took,
		Aim: "≥ 0.5", Met: bound/took >= .5, Cost: took, CostOf: "s",
	})
	return took / n, nil
}

// readAlone returns the seconds that reading all vehicles once takes, a part of
// them for each processor.
func (w *allRun) readAlone() (float64, error) {
	parts := min(runtime.GOMAXPROCS(0), len(w.ids))
	errs := make([]error, parts)
	var wg sync.WaitGroup
	start := w.e.now()
	for k := range parts {
		ids := w.ids[k*len(w.ids)/parts : (k+1)*len(w.ids)/parts]
		wg.Go(func() {
			errs[k] = w.svc.DB.EachHistoryBetween(w.e.ctx, auth.AllFleets(), ids[0], ids[len(ids)-1], func(*store.History) error { return nil })
		})
	}
	wg.Wait()
	return w.e.now().Sub(start).Seconds(), errors.Join(errs...)
}

// fitAlone returns the seconds that learning from all vehicles and forecasting
// them takes on all processors, by those of a part of them held in memory. What
// is done for each vehicle counts as often as there are more of them. Learning
// from what was heard counts once: for the most part it looks at so many lives
// and no more. So the ceiling is too high rather than too low.
func (w *allRun) fitAlone() (float64, error) {
	var vs []*forecast.Vehicle
	err := w.svc.DB.EachHistory(w.e.ctx, auth.AllFleets(), w.ids[:min(len(w.ids), sampled)], func(h *store.History) error {
		vs = append(vs, pipeline.VehicleOf(h))
		return nil
	})
	if err != nil {
		return 0, err
	}
	asOf := forecast.Day(benchUntil)
	more := float64(len(w.ids)) / float64(len(vs))
	learner, seconds, err := learnAlone(w.e.now, vs, len(w.ids))
	if err != nil {
		return 0, err
	}
	start, m := w.e.now(), learner.Model()
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for k := range workers {
		wg.Go(func() {
			for i := k; i < len(vs); i += workers {
				m.Forecast(vs[i], asOf, forecast.Options{})
			}
		})
	}
	wg.Wait()
	return seconds + more*w.e.now().Sub(start).Seconds(), nil
}

// learnAlone has the model in use learn from a part of a fleet of so many
// vehicles as it would from the whole: most rounds hear some of a large fleet.
func learnAlone(now func() time.Time, vs []*forecast.Vehicle, of int) (*forecast.Learner, float64, error) {
	l := forecast.NewLearner(forecast.Day(benchUntil))
	seconds, more := 0., float64(of)/float64(len(vs))
	for !l.Over {
		start := now()
		heard := l.Listen(slices.Values(vs))
		listened := now()
		if err := l.Learn(func(yield func(*forecast.Heard, error) bool) { yield(heard, nil) }); err != nil {
			return nil, 0, err
		}
		seconds += more*listened.Sub(start).Seconds() + now().Sub(listened).Seconds()
		l.Vehicles = of
	}
	return l, seconds, nil
}

// writeAlone returns the seconds that writing all forecasts once takes, into
// empty tables of a database with the same vehicles.
func (w *allRun) writeAlone() (float64, error) {
	bare, err := database{Database: w.urls[1]}.open(w.e)
	if err != nil {
		return 0, err
	}
	defer bare.Close()
	svc := w.e.service(bare, 0)
	for _, k := range []ingest.Kind{ingest.Vehicles, ingest.Axles} {
		if _, err := importFile(w.e, svc, k, "bench", filepath.Join(w.dir, string(k)+".csv")); err != nil {
			return 0, err
		}
	}
	var watch stopwatch
	var failed error
	watch.start(w.e.now())
	_, err = bare.PourForecasts(w.e.ctx, func(yield func([]store.AxleForecast) bool) {
		for ids := range slices.Chunk(w.ids, 1000) {
			watch.stop(w.e.now())
			var fs []store.AxleForecast
			failed = w.svc.DB.Lookup(w.e.ctx, "read forecasts", func(state *store.DB) error { // a transaction for each would take minutes
				for _, id := range ids {
					some, err := state.Forecasts(w.e.ctx, auth.AllFleets(), id)
					if err != nil {
						return err
					}
					fs = append(fs, some...)
				}
				return nil
			})
			if failed != nil {
				return
			}
			watch.start(w.e.now())
			if !yield(fs) {
				return
			}
		}
	})
	watch.stop(w.e.now())
	return watch.ran.Seconds(), errors.Join(failed, err)
}

// refitChanged takes a day's readings of a hundredth of the vehicles in, and
// times the refit of those.
func (w *allRun) refitChanged(perVehicle float64) error {
	ctx, all := w.e.ctx, auth.AllFleets()
	var csv bytes.Buffer
	csv.WriteString("vehicle,date,odometer_km,axle,part,side,face,value_mm\n")
	for i := 0; i < len(w.ids); i += 100 {
		h, err := w.svc.DB.History(ctx, all, w.ids[i])
		if err != nil {
			return err
		}
		if r := nextReading(&h, 0); r != nil {
			fmt.Fprintf(&csv, "%s,%s,%s,%d,%s,%s,%s,%s\n", h.Vehicle.Number, r.date, r.km, r.Axle, r.Part, r.Side, r.Face, r.mm)
		}
	}
	name := filepath.Join(w.dir, "day.csv")
	if err := os.WriteFile(name, csv.Bytes(), 0o600); err != nil {
		return err
	}
	up, err := importFile(w.e, w.svc, ingest.Readings, "bench", name)
	if err != nil {
		return err
	}
	ids, err := w.svc.DB.TouchedBy(ctx, all, up.ID)
	if err != nil {
		return err
	}
	resident := watchResident(ctx)
	start := w.e.now()
	rep, err := w.svc.Refit(ctx, all, ids, benchUntil)
	took := w.e.now().Sub(start).Seconds()
	if err != nil {
		return err
	}
	each := took / float64(max(1, rep.Vehicles))
	w.add(&workBench{
		Work: workChanged, Done: rep.Vehicles, Of: "vehicles", Seconds: took, Rate: 1 / each, PeakMB: resident(),
		Ceiling: 1 / perVehicle, Beside: "a hundredth of the full refit", Ratio: each / perVehicle,
		Aim: "≤ 1.5 ×", Met: each <= 1.5*perVehicle, Cost: took, CostOf: "s",
	})
	return nil
}

// wornReading is a reading as a person would write it.
type wornReading struct {
	fleet.Position
	date, km, mm string
}

// nextReading makes up what would be measured now where a vehicle was last
// measured: a little less each time; nil where it never was.
func nextReading(h *store.History, times int) *wornReading {
	for i := len(h.Readings) - 1; i >= 0; i-- {
		r := &h.Readings[i]
		if r.Position.Part.Grows() || r.Tripped || r.MM < 1 {
			continue
		}
		km := ""
		for _, o := range h.Odometers {
			km = strconv.FormatFloat(o.Km, 'f', 0, 64)
		}
		if r.OdometerKm != nil {
			km = strconv.FormatFloat(*r.OdometerKm, 'f', 0, 64)
		}
		mm := strconv.FormatFloat(r.MM-.01-.001*float64(times), 'f', 3, 64)
		return &wornReading{r.Position, benchUntil.String(), km, mm}
	}
	return nil
}

// watchResident looks, until peak is called, at how much memory the process has
// resident, and returns the most, in MB; what the program could give back is given
// back first. Only Linux tells (proc(5): VmHWM, begun anew by clear_refs);
// elsewhere it is what Go's runtime holds.
func watchResident(ctx context.Context) (peak func() float64) {
	debug.FreeOSMemory()
	if err := os.WriteFile("/proc/self/clear_refs", []byte("5"), 0); err != nil {
		return watchMemory(ctx)
	}
	return func() float64 {
		status, err := os.ReadFile("/proc/self/status")
		if err != nil {
			return 0
		}
		_, rest, _ := strings.Cut(string(status), "VmHWM:")
		var kB float64
		fmt.Sscanf(rest, "%g kB", &kB)
		return kB * 1024 / 1e6
	}
}
