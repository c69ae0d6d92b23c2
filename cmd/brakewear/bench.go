package main

import (
	"fmt"
	"io"
	"runtime"
	"slices"
	"text/tabwriter"
	"time"

	"brakewear/forecast"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

type benchCmd struct {
	All      benchAllCmd      `cmd:"" default:"withargs" help:"Do what a day and a night do, in fleets of several sizes, beside what it is held against."`
	Forecast benchForecastCmd `cmd:"" help:"Time the models on an invented fleet held in memory."`
	Plan     benchPlanCmd     `cmd:"" help:"Plan an invented fleet's due axles, beside simple ways to fill the calendar."`
	Import   benchImportCmd   `cmd:"" help:"Time taking an invented fleet's readings in, on both databases."`

	Processes  benchProcessesCmd  `cmd:"" help:"Time several processes on one PostgreSQL: imports, reads, the refit."`
	Process    benchProcessCmd    `cmd:"" hidden:"" help:"One of the processes of bench processes."`
	Partitions benchPartitionsCmd `cmd:"" help:"Time readings in one table against readings partitioned by fleet, on PostgreSQL."`
}

type benchForecastCmd struct {
	Vehicles int    `help:"How many vehicles." default:"1000"`
	Seed     uint64 `help:"The same seed gives the same fleet." default:"1"`
	Format   string `help:"How to print: table or json." default:"table" enum:"table,json"`
}

func (c benchForecastCmd) Help() string {
	return `Times, as the best of several rounds in which the models take turns: forecasting an axle
with its distance and its days, and bringing one vehicle up to date, one after the other; and
learning from the fleet, for which full takes all processors (GOMAXPROCS=1 allows it one).
Times depend on the machine; compare the ratios, each to a reference measured in the same run. Example:
  brakewear bench forecast --vehicles 1000`
}

// benchUntil is the last day of the records and the day to forecast from: any
// would do, but it must not depend on today.
var benchUntil = fleet.NewDate(2026, 6, 30)

// What the times of a kind are compared with.
const (
	byLine = "line on the same axles"
	byRows = "reading the rows once"
)

// benchReport is what one run found.
type benchReport struct {
	Vehicles   int          `json:"vehicles"`
	Axles      int          `json:"axles"`
	Readings   int          `json:"readings"`
	Processors int          `json:"processors"`
	Results    []*benchTime `json:"results"`
}

// benchTime is the best time of one thing done by one model.
type benchTime struct {
	What      string  `json:"what"`
	Model     string  `json:"model"`
	Per       string  `json:"per"`          // what a time is of
	Micros    float64 `json:"microseconds"` // for one
	Allocs    float64 `json:"allocations"`  // for one
	Bytes     float64 `json:"bytes"`        // allocated for one
	Ratio     float64 `json:"ratio"`        // of the time to that of Reference
	Reference string  `json:"reference"`

	ops   int
	run   func() error
	spent time.Duration
}

func (c benchForecastCmd) Run(e *env) error {
	if c.Vehicles < 1 {
		return fleet.Invalidf("want at least 1 vehicle, not %d", c.Vehicles)
	}
	var rep *benchReport
	err := e.during("timing", func() (err error) {
		rep, err = newBench(c.Vehicles, c.Seed).measure(e)
		return err
	})
	if err != nil {
		return err
	}
	if c.Format == "json" {
		return e.printJSON(rep)
	}
	return rep.table(e.stdout)
}

// bench is the fleet that the models are timed on.
type bench struct {
	rows     []store.History // as the database gives them
	vehicles []*forecast.Vehicle
	axles    int
	readings int
}

func newBench(vehicles int, seed uint64) *bench {
	var b bench
	for v := range demo.Generate(demo.Options{Vehicles: vehicles, Seed: seed, Until: benchUntil}) {
		h := benchHistory(v)
		b.rows = append(b.rows, h)
		b.vehicles = append(b.vehicles, pipeline.VehicleOf(&h))
		b.axles += len(v.Axles)
		b.readings += len(v.Readings)
	}
	return &b
}

// benchHistory is an invented vehicle as the database gives it.
func benchHistory(v *demo.Vehicle) store.History {
	return store.History{
		Vehicle: fleet.Vehicle{
			Number: v.Number, Plate: v.Plate, Category: v.Category,
			Make: v.Make, Model: v.Model, Year: v.Year, Duty: v.Duty,
		},
		Fleet: v.Fleet, Depot: v.Depot, Axles: v.Axles,
		Odometers: v.Odometer, Readings: v.Readings, Fitments: v.Fitments,
	}
}

// Everything is timed several times, unless that takes too long: what else runs
// on the machine only ever adds to a time, and seldom to the same one always.
const (
	benchRounds = 5
	benchEnough = 5 * time.Second // spent on one thing
)

// measure times everything, in turns so that a busy spell of the machine does
// not fall on one model alone.
func (b *bench) measure(e *env) (*benchReport, error) {
	rep := &benchReport{Vehicles: len(b.vehicles), Axles: b.axles, Readings: b.readings, Processors: runtime.GOMAXPROCS(0)}
	asOf := forecast.Day(benchUntil)
	rep.Results = append(rep.Results, &benchTime{
		What: "rows", Model: "-", Per: "vehicle", Reference: byRows, ops: len(b.rows),
		run: func() error {
			for i := range b.rows {
				pipeline.VehicleOf(&b.rows[i])
			}
			return nil
		},
	})
	models := make(map[string]forecast.Model)
	for _, name := range pipeline.ModelNames() {
		m, err := pipeline.TrainModel(name, slices.Values(b.vehicles), asOf)
		if err != nil {
			return nil, fmt.Errorf("learn model %s: %w", name, err)
		}
		models[name] = m
	}
	for _, name := range pipeline.ModelNames() {
		if name == "line" {
			continue // it learns nothing
		}
		rep.Results = append(rep.Results, &benchTime{
			What: "learn", Model: name, Per: "vehicle", Reference: byRows, ops: len(b.rows),
			run: func() error {
				_, err := pipeline.TrainModel(name, slices.Values(b.vehicles), asOf)
				return err
			},
		})
	}
	for _, name := range pipeline.ModelNames() {
		m := models[name]
		rep.Results = append(rep.Results, &benchTime{
			What: "forecast", Model: name, Per: "axle", Reference: byLine, ops: b.axles,
			run: func() error {
				for _, v := range b.vehicles {
					m.Forecast(v, asOf, forecast.Options{})
				}
				return nil
			},
		})
	}
	for _, name := range pipeline.ModelNames() {
		m := models[name]
		// What a new reading costs without the database: the vehicle's rows,
		// all its axles, their book-by dates.
		rep.Results = append(rep.Results, &benchTime{
			What: "update", Model: name, Per: "vehicle", Reference: byLine, ops: len(b.rows),
			run: func() error {
				for i := range b.rows {
					for _, f := range m.Forecast(pipeline.VehicleOf(&b.rows[i]), asOf, forecast.Options{}) {
						pipeline.BookBy(f.Crossing, f.AsOf, pipeline.DefaultRisk)
					}
				}
				return nil
			},
		})
	}
	for range benchRounds {
		for _, r := range rep.Results {
			if err := e.ctx.Err(); err != nil {
				return nil, err
			}
			if r.spent >= benchEnough {
				continue
			}
			if err := r.time(e.now); err != nil {
				return nil, err
			}
		}
	}
	rep.compare()
	return rep, nil
}

// time runs r once and keeps the best.
func (r *benchTime) time(now func() time.Time) error {
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	start := now()
	if err := r.run(); err != nil {
		return err
	}
	took := now().Sub(start)
	r.spent += took
	runtime.ReadMemStats(&after)
	n := float64(max(r.ops, 1))
	if us := float64(took.Nanoseconds()) / 1e3 / n; r.Micros == 0 || us < r.Micros {
		r.Micros = us
	}
	r.Allocs = float64(after.Mallocs-before.Mallocs) / n
	r.Bytes = float64(after.TotalAlloc-before.TotalAlloc) / n
	return nil
}

// compare fills in the ratios: of learning to the rows, else to the line.
func (rep *benchReport) compare() {
	for _, r := range rep.Results {
		for _, ref := range rep.Results {
			if r.Reference == byRows && ref.What == "rows" ||
				r.Reference == byLine && ref.What == r.What && ref.Model == "line" {
				r.Ratio = r.Micros / ref.Micros
			}
		}
	}
}

func (rep *benchReport) table(w io.Writer) error {
	fmt.Fprintf(w, "%d invented vehicles, %d axles, %d thickness readings, %d processors; best of up to %d rounds\n",
		rep.Vehicles, rep.Axles, rep.Readings, rep.Processors, benchRounds)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "what\tmodel\tmicroseconds\tallocations\tbytes\tper\tratio\tto\t")
	for _, r := range rep.Results {
		fmt.Fprintf(t, "%s\t%s\t%.1f\t%.1f\t%.0f\t%s\t%.2f\t%s\t\n",
			r.What, r.Model, r.Micros, r.Allocs, r.Bytes, r.Per, r.Ratio, r.Reference)
	}
	return t.Flush()
}
