package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"runtime/metrics"
	"strconv"
	"text/tabwriter"
	"time"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pgserver"
	"brakewear/internal/store"
)

type benchImportCmd struct {
	Vehicles  int      `help:"How many vehicles; 13,000 have a million readings." default:"2000"`
	Databases []string `help:"On which databases." default:"sqlite,postgres" enum:"sqlite,postgres"`
	Seed      uint64   `help:"The same seed gives the same fleet." default:"1"`
	Format    string   `help:"How to print: table or json." default:"table" enum:"table,json"`

	CPUProfile string `name:"cpuprofile" help:"File to write a profile of processor time to." placeholder:"FILE"`
}

func (c benchImportCmd) Help() string {
	return `Takes the readings file of an invented fleet in, with all checks, on the embedded database
and on a PostgreSQL server of its own (where one is installed), beside the bare way of the same
rows into the same two tables, readings and the visits that they share, with their indexes
and keys: COPY, or a prepared insert. The last ratio is to the readings' own table alone: what
the visits' took is left out. Times depend on the machine;
compare the ratio, of the rates of one run. Memory is what the process had resident at the most, the
server's not included. Example:
  brakewear bench import --vehicles 2000`
}

// importBench is what one database gave.
type importBench struct {
	Database string  `json:"database"`
	Rows     int     `json:"rows"`
	Rate     float64 `json:"rows_per_second"`
	BareRate float64 `json:"bare_rows_per_second"`
	Ratio    float64 `json:"ratio"` // of Rate to BareRate
	// Into the readings' own table alone: the visits that they share are left out.
	AloneRate  float64 `json:"bare_rows_per_second_readings_alone"`
	AloneRatio float64 `json:"ratio_readings_alone"`
	PeakMB     float64 `json:"peak_memory_mb"`
}

func (c benchImportCmd) Run(e *env) (err error) {
	if c.Vehicles < 1 {
		return fleet.Invalidf("want at least 1 vehicle, not %d", c.Vehicles)
	}
	end, err := profileCPU(c.CPUProfile)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, end()) }()
	var results []importBench
	err = benchFleet(e, c.Vehicles, c.Seed, c.Databases, func(dialect, dir string, urls [2]string) error {
		r, err := benchImport(e, dir, urls)
		r.Database = dialect
		results = append(results, r)
		return err
	})
	if err != nil {
		return err
	}
	if c.Format == "json" {
		return e.printJSON(results)
	}
	return importTable(e.stdout, results)
}

// benchFleet invents a fleet's files in a folder, and calls measure for each
// dialect with two new databases. A server that is not installed is left out.
func benchFleet(e *env, vehicles int, seed uint64, dialects []string, measure func(dialect, dir string, urls [2]string) error) error {
	dir, err := os.MkdirTemp("", "brakewear-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	opt := demo.Options{Vehicles: vehicles, Seed: seed, Until: benchUntil}
	if err := e.during("inventing", func() error { return demo.WriteCSV(dir, opt) }); err != nil {
		return err
	}
	for _, dialect := range dialects {
		urls, stop, err := benchDatabases(dir, dialect)
		if errors.Is(err, pgserver.ErrNone) {
			fmt.Fprintln(e.stderr, "PostgreSQL left out:", err)
			continue
		}
		if err != nil {
			return err
		}
		if err := errors.Join(measure(dialect, dir, urls), stop()); err != nil {
			return err
		}
	}
	return nil
}

// benchDatabases returns the addresses of two new databases, and what to call
// when they are no longer needed.
func benchDatabases(dir, dialect string) (urls [2]string, stop func() error, err error) {
	if dialect == store.SQLite {
		return [2]string{filepath.Join(dir, "full.db"), filepath.Join(dir, "bare.db")}, func() error { return nil }, nil
	}
	srv, err := pgserver.Start(pgserver.Usual)
	if err != nil {
		return urls, nil, err
	}
	for i, name := range []string{"full", "bare"} {
		if urls[i], err = srv.Create(name); err != nil {
			return urls, nil, errors.Join(err, srv.Stop())
		}
	}
	return urls, srv.Stop, nil
}

// benchImport takes the readings of dir in on the first of two new databases, and
// pours them bare into the second.
func benchImport(e *env, dir string, urls [2]string) (importBench, error) {
	var r importBench
	full, err := database{Database: urls[0]}.open(e)
	if err != nil {
		return r, err
	}
	defer full.Close()
	svc := e.service(full, 0)
	for _, k := range []ingest.Kind{ingest.Vehicles, ingest.Axles} {
		if _, err := importFile(e, svc, k, "bench", filepath.Join(dir, string(k)+".csv")); err != nil {
			return r, err
		}
	}
	readings, err := partsOf(filepath.Join(dir, string(ingest.Readings)+".csv"))
	if err != nil {
		return r, err
	}
	peak := watchResident(e.ctx)
	start := e.now()
	for _, name := range readings {
		up, err := importFile(e, svc, ingest.Readings, "bench", name)
		if err != nil {
			return r, err
		}
		r.Rows += up.Accepted
	}
	took := e.now().Sub(start)
	r.PeakMB = peak()
	r.Rate = float64(r.Rows) / took.Seconds()

	if r.BareRate, r.AloneRate, err = pourBare(e, full, dir, urls[1], r.Rows); err != nil {
		return r, err
	}
	r.Ratio, r.AloneRatio = r.Rate/r.BareRate, r.Rate/r.AloneRate
	return r, nil
}

// bareRows is how many rows are poured at a time at least: so many that to begin
// and end costs them nothing.
const bareRows = 1 << 16

// pourBare returns how many of the readings of a database, want in all, are poured
// bare into another in a second, which gets their vehicles first. To read them is
// not counted. They are as stored, in the order of vehicles and days, as in the file.
// alone is the same without what their visits took; what begins and ends both counts
// as the rest does.
func pourBare(e *env, full *store.DB, dir, url string, want int) (rate, alone float64, err error) {
	empty, err := database{Database: url}.open(e)
	if err != nil {
		return 0, 0, err
	}
	defer empty.Close()
	if _, err := importFile(e, e.service(empty, 0), ingest.Vehicles, "bench", filepath.Join(dir, string(ingest.Vehicles)+".csv")); err != nil {
		return 0, 0, err
	}
	var watch stopwatch
	table := map[string]*stopwatch{}
	var failed error
	watch.start(e.now())
	n, err := empty.PourBare(e.ctx, func(yield func([]fleet.Reading) bool) {
		watch.stop(e.now())
		defer func() { watch.start(e.now()) }()
		var rows []fleet.Reading
		pour := func() error {
			watch.start(e.now())
			defer func() { watch.stop(e.now()) }()
			if !yield(rows) {
				return errBenchOver
			}
			rows = rows[:0]
			return nil
		}
		failed = full.EachHistory(e.ctx, auth.AllFleets(), nil, func(h *store.History) error {
			for _, r := range h.Readings {
				r.Given, r.Unit = strconv.FormatFloat(r.MM, 'f', -1, 64), "mm" // as the file has them
				rows = append(rows, r)
			}
			if len(rows) < bareRows {
				return nil
			}
			return pour()
		})
		if failed == nil {
			failed = pour()
		}
	}, func(name string, pour func() error) error {
		if table[name] == nil {
			table[name] = &stopwatch{}
		}
		table[name].start(e.now())
		defer func() { table[name].stop(e.now()) }()
		return pour()
	})
	watch.stop(e.now())
	if err := errors.Join(failed, err); err != nil {
		return 0, 0, err
	}
	if n != want {
		return 0, 0, fmt.Errorf("poured %d rows bare, but took %d in", n, want)
	}
	rate = float64(n) / watch.ran.Seconds()
	readings, visits := table["thickness_readings"].ran, table["inspections"].ran
	return rate, rate * float64(readings+visits) / float64(readings), nil
}

// partBytes is how large a file is taken in at once: less than the rows that one
// file may have.
const partBytes = 200 << 20

// partsOf returns a file, cut into several where it is too large for one.
func partsOf(file string) ([]string, error) {
	info, err := os.Stat(file)
	if err != nil {
		return nil, err
	}
	n := int(info.Size()/partBytes) + 1
	if n == 1 {
		return []string{file}, nil
	}
	var names []string
	for i := range n {
		names = append(names, partOf(file, n, i))
	}
	return names, splitCSV(file, n)
}

// errBenchOver ends a reading early.
var errBenchOver = errors.New("no more is wanted")

// stopwatch adds up the spans between its starts and stops.
type stopwatch struct {
	ran   time.Duration
	since time.Time
}

func (w *stopwatch) start(now time.Time) { w.since = now }
func (w *stopwatch) stop(now time.Time)  { w.ran += now.Sub(w.since) }

// memoryEvery is how often memory is looked at: a small part of any import.
const memoryEvery = 20 * time.Millisecond

// watchMemory looks at how much memory the program holds until peak is called,
// which returns the most, in MB. What was held before is given back first.
func watchMemory(ctx context.Context) (peak func() float64) {
	debug.FreeOSMemory()
	ctx, cancel := context.WithCancel(ctx)
	most := make(chan uint64)
	go func() {
		tick := time.NewTicker(memoryEvery)
		defer tick.Stop()
		held := memoryHeld()
		for {
			select {
			case <-ctx.Done():
				most <- held
				return
			case <-tick.C:
				held = max(held, memoryHeld())
			}
		}
	}()
	return func() float64 {
		cancel()
		return float64(<-most) / 1e6
	}
}

// memoryHeld returns the bytes that the program has from the system.
func memoryHeld() uint64 {
	s := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64() - s[1].Value.Uint64()
}

func importTable(w io.Writer, results []importBench) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "database\treadings\trows/s\tbare rows/s\tratio\treadings alone/s\tratio\tpeak memory\t")
	for _, r := range results {
		fmt.Fprintf(t, "%s\t%d\t%.0f\t%.0f\t%.2f\t%.0f\t%.2f\t%.0f MB\t\n", r.Database, r.Rows, r.Rate, r.BareRate, r.Ratio, r.AloneRate, r.AloneRatio, r.PeakMB)
	}
	return t.Flush()
}
