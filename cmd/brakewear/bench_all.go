package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/plan"
	"brakewear/internal/store"
)

type benchAllCmd struct {
	Vehicles   []int         `help:"How many vehicles; several sizes, one after the other, show how the cost grows." default:"300,1000,3000"`
	Databases  []string      `help:"On which databases." default:"sqlite,postgres" enum:"sqlite,postgres"`
	Seed       uint64        `help:"The same seed gives the same fleet." default:"1"`
	Jobs       int           `help:"How many due axles the proposal plans." default:"1000"`
	Asking     time.Duration `help:"How long each kind of page is asked for." default:"5s"`
	Ask        []string      `help:"What to ask for." default:"upload,due,written,first,vehicle,night,rest" enum:"upload,due,written,first,vehicle,night,rest"`
	Format     string        `help:"How to print: table or json." default:"table" enum:"table,json"`
	Out        string        `help:"Folder to write bench.txt, bench.json and the plots of cost against size to." placeholder:"DIR"`
	With       []string      `help:"bench.json of earlier runs, for the growth of the cost and the plots." placeholder:"FILE"`
	Keep       string        `help:"Folder to keep the embedded databases in. Where they are there already, only what is asked of them is measured, on PostgreSQL after they were moved there." placeholder:"DIR"`
	CPUProfile string        `name:"cpuprofile" help:"File to write a profile of processor time to." placeholder:"FILE"`
	MemProfile string        `name:"memprofile" help:"File to write a profile of memory held to." placeholder:"FILE"`
}

func (c benchAllCmd) Help() string {
	return `Builds an invented fleet of each size and does with it what a day and a night do, on the
embedded database and on a PostgreSQL server of its own (where one is installed): taking
readings in, a refit of all and of what changed, uploads, the list of what is to be booked
while nothing is written, and under any filter while something is each second, and vehicles'
pages, at first and seen again, by 20 clients at once, a proposal. Beside each stands the
ceiling it is held against, measured in the same run: compare the ratio, for times depend on the machine and on what
else runs there. Then what has no ceiling, for its time and memory: the night's work, and the
rest: the overview, the lists as files, other pages, and a second import and a refit beside 20
people who ask for a page a second, whose waits are p50 and p99. Before a server is asked it
has cleaned up behind the filling of its tables. Memory is what the process
had resident at the most, clients included, the server's not. Pages are asked of the program's
handlers, without a network between and not compressed.
An exponent says how the cost grows with the fleet: 1 is in proportion. Examples:
  brakewear bench all --vehicles 300
  brakewear bench all --vehicles 1000,10000 --databases sqlite --out bench`
}

// allReport is what one run found.
type allReport struct {
	Processors int          `json:"processors"`
	Results    []*workBench `json:"results"`
}

// workBench is one kind of work on one database in a fleet of one size.
type workBench struct {
	Work     string  `json:"work"`
	Database string  `json:"database"`
	Vehicles int     `json:"vehicles"`
	Done     int     `json:"done"`
	Of       string  `json:"of"` // what is counted
	Seconds  float64 `json:"seconds"`
	Rate     float64 `json:"per_second"`
	P50      float64 `json:"p50_ms,omitempty"`
	P99      float64 `json:"p99_ms,omitempty"`
	PeakMB   float64 `json:"peak_memory_mb,omitempty"`
	Ceiling  float64 `json:"ceiling_per_second,omitempty"`
	Beside   string  `json:"beside,omitempty"` // what the ceiling does
	Ratio    float64 `json:"ratio,omitempty"`
	Aim      string  `json:"aim"`
	Met      bool    `json:"met"`
	Exponent float64 `json:"exponent,omitempty"` // over all sizes; 0 = of one size
	// Cost is what grows with the fleet, in CostOf.
	Cost   float64 `json:"cost"`
	CostOf string  `json:"cost_of"` // s, ms, MB
}

// The kinds of work.
const (
	workImport     = "import of readings"
	workImportOne  = "the same, beside readings alone"
	workRefit      = "refit of every axle"
	workChanged    = "refit of 1 % changed"
	workUpload     = "upload to new forecast, 20 at once"
	workDue        = "list page, 20 clients"
	workDueWritten = "list page, any filter, a write a second"
	workFirst      = "vehicle page, first view"
	workVehicle    = "vehicle page, seen again"
	workProposal   = "proposal"
	workService    = "memory of the whole service"
)

func (c benchAllCmd) Run(e *env) (err error) {
	for _, n := range c.Vehicles {
		if n < 100 {
			return fleet.Invalidf("want at least 100 vehicles, not %d: a hundredth of them is asked for", n)
		}
	}
	rep := &allReport{Processors: runtime.GOMAXPROCS(0)}
	for _, name := range c.With {
		if err := rep.add(name); err != nil {
			return err
		}
	}
	if err := keepMemory(e, usualMemory); err != nil { // as it is served
		return err
	}
	if c.Out != "" {
		if err := os.MkdirAll(c.Out, 0o755); err != nil {
			return err
		}
	}
	end, err := profileCPU(c.CPUProfile)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, end()) }()
	if err := c.measure(e, rep); err != nil {
		return err
	}
	if c.MemProfile != "" {
		f, err := os.Create(c.MemProfile)
		if err != nil {
			return err
		}
		if err := errors.Join(pprof.WriteHeapProfile(f), f.Close()); err != nil {
			return err
		}
	}
	rep.grow()
	if c.Out != "" {
		if err := rep.write(c.Out); err != nil {
			return err
		}
	}
	if c.Format == "json" {
		return e.printJSON(rep)
	}
	return rep.table(e.stdout)
}

// profileCPU writes a profile of processor time to a file, "" = none, until end is
// called.
func profileCPU(name string) (end func() error, err error) {
	if name == "" {
		return func() error { return nil }, nil
	}
	f, err := os.Create(name)
	if err != nil {
		return nil, err
	}
	if err := pprof.StartCPUProfile(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return func() error {
		pprof.StopCPUProfile()
		return f.Close()
	}, nil
}

// add takes the results of an earlier run in.
func (r *allReport) add(name string) error {
	b, err := os.ReadFile(name)
	if err != nil {
		return fleet.Invalidf("%v", err)
	}
	var earlier allReport
	if err := json.Unmarshal(b, &earlier); err != nil {
		return fleet.Invalidf("%s: %v: want a bench.json", name, err)
	}
	r.Results = append(r.Results, earlier.Results...)
	return nil
}

func (c benchAllCmd) measure(e *env, rep *allReport) error {
	proposal, err := benchProposal(e, c.Jobs, c.Seed)
	if err != nil {
		return err
	}
	rep.Results = append(rep.Results, proposal)
	for _, n := range c.Vehicles {
		if was, err := c.again(e, rep, n); err != nil {
			return err
		} else if was {
			continue
		}
		if err := c.size(e, rep, n); err != nil {
			return err
		}
	}
	return nil
}

// size measures a fleet of n vehicles.
func (c benchAllCmd) size(e *env, rep *allReport, n int) error {
	if len(c.Databases) == 0 {
		return nil
	}
	return benchFleet(e, n, c.Seed, c.Databases, func(dialect, dir string, urls [2]string) error {
		w := &allRun{c: c, e: e, rep: rep, dialect: dialect, n: n, dir: dir, urls: urls}
		if err := w.all(); err != nil {
			return fmt.Errorf("%d vehicles on %s: %w", n, dialect, err)
		}
		if dialect == store.SQLite {
			for _, url := range urls { // room for the next
				os.Remove(url)
				os.Remove(url + "-wal")
			}
		}
		return nil
	})
}

// The aims of a proposal of 1,000 axles.
const (
	proposalSeconds = 5
	proposalGap     = .02

	// proposalSearch leaves time to write the plan up.
	proposalSearch = 4500 * time.Millisecond
)

// benchProposal plans the due axles of a fleet; it knows no database.
func benchProposal(e *env, jobs int, seed uint64) (*workBench, error) {
	f, err := benchPlanCmd{Jobs: jobs, Days: 60, Shops: 5, Load: .7, Seed: seed}.fleet()
	if err != nil {
		return nil, err
	}
	peak := watchResident(e.ctx)
	start := e.now()
	ctx, cancel := context.WithTimeout(e.ctx, proposalSearch)
	defer cancel()
	best, err := plan.Solve(e.ctx, f.problem, plan.Options{Enough: ctx.Done()})
	took := e.now().Sub(start).Seconds()
	if err != nil {
		return nil, err
	}
	return &workBench{
		Work: workProposal, Database: "-", Done: jobs, Of: "due axles", Seconds: took, Rate: float64(jobs) / took, PeakMB: peak(),
		Beside: "gap to the bound", Ratio: best.Gap,
		Aim: "< 5 s, gap ≤ 2 %", Met: took < proposalSeconds && best.Gap <= proposalGap,
		Cost: took, CostOf: "s",
	}, nil
}

// write writes the report into a folder.
func (r *allReport) write(dir string) error {
	b, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return err
	}
	text, err := os.Create(filepath.Join(dir, "bench.txt"))
	if err != nil {
		return err
	}
	if err := errors.Join(r.table(text), text.Close()); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "bench.json"), append(b, '\n'), 0o644); err != nil {
		return err
	}
	return r.plots(dir)
}
