package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"text/tabwriter"
	"time"

	"brakewear/ingest"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pgserver"
)

type benchProcessesCmd struct {
	Vehicles  int           `help:"How many vehicles." default:"4000"`
	Seed      uint64        `help:"The same seed gives the same fleet." default:"1"`
	Processes []int         `help:"How many processes at once." default:"1,2,3"`
	What      []string      `help:"What they do." default:"import,read,refit" enum:"import,read,refit"`
	Reading   time.Duration `help:"How long to read for." default:"10s"`
	Format    string        `help:"How to print: table or json." default:"table" enum:"table,json"`
}

func (c benchProcessesCmd) Help() string {
	return `Starts a PostgreSQL server of its own and lets so many processes of this program work on one
database: taking an invented fleet's readings in, cut into as many files; reading, as
list pages and a vehicle's page do; and one refit of all vehicles, shared. Every run begins
with the same database. Each number of processes runs twice: each process kept to one
processor, and with all of them. The server needs processors as well: where there are few, more
processes share what one had, and the ratio says so. Core-seconds are processor time, of the
processes and (on Linux) of the server for them: what the work costs on a machine of any size. Example:
  brakewear bench processes --processes 1,2,4`
}

// What several processes do.
const (
	doImport = "import"
	doRead   = "read"
	doRefit  = "refit"
)

// processesBench is what some processes did together.
type processesBench struct {
	What       string  `json:"what"`
	Per        string  `json:"per"` // what is counted
	Each       int     `json:"processors_each"`
	Processes  int     `json:"processes"`
	Done       int     `json:"done"`
	Seconds    float64 `json:"seconds"`
	Rate       float64 `json:"per_second"`
	Ratio      float64 `json:"ratio"` // of Rate to that of the first number of processes
	Processors int     `json:"processors"`
	// Processor time, of the processes and of the server; the latter 0 where it
	// is not known.
	ProcessCPU float64 `json:"process_core_seconds"`
	ServerCPU  float64 `json:"server_core_seconds"`
}

func (c benchProcessesCmd) Run(e *env) error {
	if c.Vehicles < 1 {
		return fleet.Invalidf("want at least 1 vehicle, not %d", c.Vehicles)
	}
	for _, n := range c.Processes {
		if n < 1 || n > 64 {
			return fleet.Invalidf("want 1 to 64 processes, not %d", n)
		}
	}
	srv, err := pgserver.Start(pgserver.Usual)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "brakewear-*")
	if err != nil {
		return errors.Join(err, srv.Stop())
	}
	b := processesRun{c: c, srv: srv, dir: dir}
	err = e.during("timing", func() error { return b.all(e) })
	if err = errors.Join(err, srv.Stop(), os.RemoveAll(dir)); err != nil {
		return err
	}
	if c.Format == "json" {
		return e.printJSON(b.results)
	}
	return processesTable(e.stdout, b.results)
}

// processesRun is one run of the measurement.
type processesRun struct {
	c       benchProcessesCmd
	srv     *pgserver.Server
	dir     string
	copies  int
	results []processesBench
}

// The databases that each run begins with.
const (
	benchBare = "bare" // vehicles and axles
	benchFull = "full" // and their readings, forecast once
)

func (b *processesRun) all(e *env) error {
	if err := b.prepare(e); err != nil {
		return err
	}
	for _, w := range []struct{ what, per, from string }{
		{doImport, "readings", benchBare},
		{doRead, "pages", benchFull},
		{doRefit, "vehicles", benchFull},
	} {
		if !slices.Contains(b.c.What, w.what) {
			continue
		}
		for _, each := range []int{1, 0} {
			first := 0.
			for _, n := range b.c.Processes {
				r, err := b.one(e, w.what, w.from, n, each)
				if err != nil {
					return fmt.Errorf("%s by %d processes: %w", w.what, n, err)
				}
				r.Per = w.per
				if first == 0 {
					first = r.Rate
				}
				r.Ratio = r.Rate / first
				b.results = append(b.results, r)
			}
		}
	}
	return nil
}

// prepare fills the databases, and writes the readings in as many files as there
// are processes, for each number of them.
func (b *processesRun) prepare(e *env) error {
	if err := demo.WriteCSV(b.dir, demo.Options{Vehicles: b.c.Vehicles, Seed: b.c.Seed, Until: benchUntil}); err != nil {
		return err
	}
	bare, err := b.srv.Create(benchBare)
	if err != nil {
		return err
	}
	if err := b.take(e, bare, ingest.Vehicles, ingest.Axles); err != nil {
		return err
	}
	full, err := b.srv.Copy(benchFull, benchBare)
	if err != nil {
		return err
	}
	if err := b.take(e, full, ingest.Odometer, ingest.Fitments, ingest.Readings); err != nil {
		return err
	}
	if _, err := (benchProcessCmd{Do: doRefit, database: database{Database: full}}).work(e); err != nil {
		return err
	}
	for _, n := range b.c.Processes {
		if err := splitCSV(filepath.Join(b.dir, string(ingest.Readings)+".csv"), n); err != nil {
			return err
		}
	}
	return nil
}

func (b *processesRun) take(e *env, url string, kinds ...ingest.Kind) error {
	db, err := database{Database: url}.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	for _, k := range kinds {
		if _, err := importFile(e, e.service(db, 0), k, "bench", filepath.Join(b.dir, string(k)+".csv")); err != nil {
			return err
		}
	}
	return nil
}

// partOf names the part of a file that one of n processes takes in.
func partOf(file string, n, i int) string { return fmt.Sprintf("%s.%d-of-%d.csv", file, i, n) }

// splitCSV writes a file's rows into n files, each vehicle's into one. No cell
// of an invented file has a line break.
func splitCSV(file string, n int) error {
	in, err := os.Open(file)
	if err != nil {
		return err
	}
	defer in.Close()
	lines := bufio.NewScanner(in)
	lines.Scan() // the header
	outs := make([]*bufio.Writer, n)
	for i := range outs {
		f, err := os.Create(partOf(file, n, i))
		if err != nil {
			return err
		}
		defer f.Close()
		outs[i] = bufio.NewWriter(f)
		fmt.Fprintln(outs[i], lines.Text())
	}
	at := make(map[string]int)
	for lines.Scan() {
		vehicle, _, _ := strings.Cut(lines.Text(), ",")
		i, ok := at[vehicle]
		if !ok {
			i = len(at) % n
			at[vehicle] = i
		}
		fmt.Fprintln(outs[i], lines.Text())
	}
	for _, w := range outs {
		if err := w.Flush(); err != nil {
			return err
		}
	}
	return lines.Err()
}

// one has n processes do something together, each on so many processors (0: all
// there are), on a copy of a database.
func (b *processesRun) one(e *env, what, from string, n, each int) (processesBench, error) {
	res := processesBench{What: what, Each: each, Processes: n, Processors: runtime.NumCPU()}
	if each == 0 {
		res.Each = res.Processors
	}
	b.copies++
	url, err := b.srv.Copy(fmt.Sprint("copy", b.copies), from)
	if err != nil {
		return res, err
	}
	self, err := os.Executable()
	if err != nil {
		return res, err
	}
	ctx, cancel := context.WithCancel(e.ctx)
	defer cancel() // a process that is left over ends with it
	var workers []*benchWorker
	stderr := &oneAtATime{w: e.stderr}
	for i := range n {
		cmd := exec.CommandContext(ctx, self, "bench", "process", "--do", what, "--database", url,
			"--file", partOf(filepath.Join(b.dir, string(ingest.Readings)+".csv"), n, i),
			"--seed", strconv.Itoa(i+1), "--reading", b.c.Reading.String())
		cmd.Env = append(os.Environ(), "GOMAXPROCS="+strconv.Itoa(res.Each))
		cmd.Stderr = stderr
		w, err := startWorker(cmd)
		if err != nil {
			return res, err
		}
		workers = append(workers, w)
	}
	for _, w := range workers { // all are ready, and begin at once
		if err := w.line(new(string)); err != nil {
			return res, err
		}
	}
	served, _ := b.srv.CPU()
	start := e.now()
	for _, w := range workers {
		if err := w.in.Close(); err != nil {
			return res, err
		}
	}
	for _, w := range workers {
		var done int
		if err := w.line(&done); err != nil {
			return res, err
		}
		if what == doRefit { // each tells of all
			res.Done = max(res.Done, done)
		} else {
			res.Done += done
		}
	}
	res.Seconds = e.now().Sub(start).Seconds()
	res.Rate = float64(res.Done) / res.Seconds
	for _, w := range workers {
		if err := w.cmd.Wait(); err != nil {
			return res, err
		}
		res.ProcessCPU += (w.cmd.ProcessState.UserTime() + w.cmd.ProcessState.SystemTime()).Seconds()
	}
	time.Sleep(serverPause)
	if cpu, ok := b.srv.CPU(); ok {
		res.ServerCPU = (cpu - served).Seconds()
	}
	return res, nil
}

// serverPause is how long a server may take to see that connections have ended.
const serverPause = 500 * time.Millisecond

// oneAtATime lets several processes write to one writer, which may not bear
// that itself.
type oneAtATime struct {
	mu sync.Mutex
	w  io.Writer
}

func (o *oneAtATime) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.w.Write(p)
}

// benchWorker is a process that works for a measurement. It says that it is
// ready, begins when its input ends, and says how much it did.
type benchWorker struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *json.Decoder
}

func startWorker(cmd *exec.Cmd) (*benchWorker, error) {
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	return &benchWorker{cmd, in, json.NewDecoder(out)}, cmd.Start()
}

// line reads the next thing that it says.
func (w *benchWorker) line(v any) error {
	if err := w.out.Decode(v); err != nil {
		return fmt.Errorf("a process ended: %w", errors.Join(err, w.cmd.Wait()))
	}
	return nil
}

func processesTable(w io.Writer, results []processesBench) error {
	if len(results) > 0 {
		fmt.Fprintf(w, "one PostgreSQL server and all processes on %d processors\n", results[0].Processors)
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "what\tprocessors each\tprocesses\tseconds\tper second\tof\tratio\tcore-seconds\tserver's\t")
	for _, r := range results {
		fmt.Fprintf(t, "%s\t%d\t%d\t%.1f\t%.0f\t%s\t%.2f\t%.1f\t%.1f\t\n", r.What, r.Each, r.Processes, r.Seconds, r.Rate, r.Per, r.Ratio, r.ProcessCPU, r.ServerCPU)
	}
	return t.Flush()
}
