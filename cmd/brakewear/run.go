package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/user"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // depots' time zones, where the machine has none

	"github.com/alecthomas/kong"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// Exit codes beside 0; scripts rely on them.
const (
	exitFailed  = 1 // something went wrong that the caller cannot mend
	exitUsage   = 2 // the command line or a file cannot be read as meant
	exitRefused = 3 // done, but rows of the input were refused
	// exitDoubtful: checked, and no row is refused, but some are doubtful.
	exitDoubtful = 4
	exitCut      = 130 // cut short by Ctrl-C or SIGTERM, as shells give it
)

// exitCodes says what each means.
var exitCodes = []struct {
	code    int
	meaning string
}{
	{0, "done"},
	{exitFailed, "it failed for a reason that the caller cannot mend, such as a database out of reach; the error says which"},
	{exitUsage, "the command line, a setting or a file cannot be read as meant, or names what is not there; that file is not taken in, those before it are"},
	{exitRefused, "done, and rows of the input were refused; they are listed"},
	{exitDoubtful, "a check found no row to refuse, but doubtful ones; they are listed"},
	{exitCut, "it was told to end (Ctrl-C, SIGTERM) before it was done; what it was at is not kept, such as the file being taken in"},
}

// errCut ends a command that was told to end before it was done.
var errCut = errors.New("told to end before it was done: what it was at is not kept, what it had finished is")

// errRefused ends a command that did its work but had to refuse rows.
var errRefused = errors.New("some rows were refused; they are listed above")

// cli is the command line. Each command is a file.
type cli struct {
	Forecast   forecastCmd   `cmd:"" help:"Forecast from files, without a server or a database."`
	Serve      serveCmd      `cmd:"" help:"Serve the pages and the API."`
	Demo       demoCmd       `cmd:"" help:"Serve an invented fleet, to look around in."`
	Import     importCmd     `cmd:"" help:"Take files in: ${kinds}."`
	Correct    correctCmd    `cmd:"" help:"Correct a reading, an odometer reading or a fitment, or set it aside."`
	Findings   findingsCmd   `cmd:"" help:"List what the data show that a person should look at."`
	Refit      refitCmd      `cmd:"" help:"Learn from all readings and forecast every axle anew."`
	Replay     replayCmd     `cmd:"" help:"Hold past forecasts, worked out afterwards, against what came off."`
	Propose    proposeCmd    `cmd:"" help:"Plan the workshops: what is to come in when, for what."`
	Backtest   backtestCmd   `cmd:"" help:"Replay history and score the models side by side."`
	Simulate   simulateCmd   `cmd:"" help:"Write an invented fleet's files, and the truth behind them."`
	Bench      benchCmd      `cmd:"" help:"Time parts of the program."`
	Run        runCmd        `cmd:"" help:"Do a piece of scheduled work now, or list what there is."`
	People     peopleCmd     `cmd:"" help:"Who is told by e-mail of what became due, moved and was missed."`
	Accounts   accountsCmd   `cmd:"" help:"Who signs in, and what they may do."`
	Backup     backupCmd     `cmd:"" help:"Copy the embedded database to a file, also while it is in use."`
	Restore    restoreCmd    `cmd:"" help:"Put a backup where the embedded database is to be."`
	Move       moveCmd       `cmd:"" help:"Move everything from the embedded database to a PostgreSQL server."`
	Migrate    migrateCmd    `cmd:"" help:"Bring the database to this version's schema."`
	Check      checkCmd      `cmd:"" help:"Ask whether the database is whole and the data in it agree."`
	Completion completionCmd `cmd:"" help:"Print what makes a shell complete commands and flags."`
	Help       helpCmd       `cmd:"" help:"Print a chapter of the guide, or what a command does."`
	Version    versionCmd    `cmd:"" help:"Print the version."`
}

// env is what a command gets from outside.
type env struct {
	ctx    context.Context
	getenv func(string) string
	stdout io.Writer
	stderr io.Writer
	now    func() time.Time
	log    *slog.Logger
	// environ is the whole environment, of which kong reads what it knows.
	environ []string
}

// run executes one command line. It is main without the process around it, so
// that tests can run the program.
func run(ctx context.Context, args []string, getenv func(string) string, stdout, stderr io.Writer) error {
	e := &env{
		ctx:    ctx,
		getenv: getenv,
		stdout: stdout,
		stderr: stderr,
		now:    time.Now,
		log:    slog.New(slog.NewTextHandler(stderr, nil)),

		environ: os.Environ(),
	}
	return e.run(args)
}

// run executes a command line in e.
func (e *env) run(args []string) error {
	done := false
	parser, err := newParser(e.stdout, e.stderr, func(int) { done = true }) // help was printed
	if err != nil {
		return err
	}
	kctx, err := parser.Parse(args)
	switch {
	case done:
		return nil
	case err != nil:
		return fleet.Invalidf("%v (%s)", err, helpFor(err))
	}
	switch kctx.Selected().Name {
	case "help", "version", "completion": // they need no setting
	default:
		if err := knownVariables(parser.Model.Node, e.environ); err != nil {
			return err
		}
	}
	origin := auth.Origin{Via: auth.ViaCommand, From: machineUser(), Name: commandLine}
	switch kctx.Selected().Name {
	case "serve", "demo": // go on by themselves
		origin = auth.Origin{Via: auth.ViaWork}
	}
	e.ctx = auth.WithOrigin(e.ctx, origin)
	out := &checkedWriter{w: e.stdout}
	e.stdout = out
	err = kctx.Run(e)
	switch {
	case errors.Is(err, context.Canceled) && e.ctx.Err() != nil:
		return errCut
	case err == nil:
		return out.err // a result that is lost is no success
	}
	return err
}

// checkedWriter keeps the first error of writing to w.
type checkedWriter struct {
	w   io.Writer
	err error
}

func (c *checkedWriter) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.err = cmp.Or(c.err, err)
	return n, err
}

// helpFor says where to read on after a command line that was not understood.
func helpFor(err error) string {
	var at *kong.ParseError
	if errors.As(err, &at) {
		if n := at.Context.Selected(); n != nil {
			return n.FullPath() + " --help explains it"
		}
	}
	return "brakewear --help lists the commands"
}

// machineUser is who runs the program, as the machine calls them.
func machineUser() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return strconv.Itoa(os.Getuid()) // a container without a list of users
}

// newParser returns the command line's parser, whose model knows every command
// and setting.
func newParser(stdout, stderr io.Writer, exit func(int)) (*kong.Kong, error) {
	parser, err := kong.New(&cli{},
		kong.Name("brakewear"),
		kong.Description("Forecasts brake wear for vehicle fleets and plans the work."),
		kong.Writers(stdout, stderr),
		kong.Exit(exit),
		kong.Vars{
			"model":   pipeline.DefaultModel,
			"models":  strings.Join(pipeline.ModelNames(), ","),
			"kinds":   kindNames(),
			"files":   strconv.Itoa(web.FilesPerMinute),
			"memory":  strconv.Itoa(usualMemory),
			"changes": strconv.Itoa(web.ChangesPerMinute),
			"dates":   strings.Join(ingest.DateOrders, ","),
		},
	)
	if err != nil {
		return nil, fmt.Errorf("command line: %w", err)
	}
	return parser, nil
}

// exitCode maps an error to the process's exit code.
func exitCode(err error) int {
	switch {
	case errors.Is(err, errCut):
		return exitCut
	case errors.Is(err, errRefused):
		return exitRefused
	case errors.Is(err, errDoubtful):
		return exitDoubtful
	case errors.Is(err, fleet.ErrInvalid), errors.Is(err, fleet.ErrNotFound):
		return exitUsage
	}
	return exitFailed
}

// printJSON prints v for people and scripts alike.
func (e *env) printJSON(v any) error {
	enc := json.NewEncoder(e.stdout)
	enc.SetIndent("", " ")
	return enc.Encode(v)
}

// listed is the flag of commands that list.
type listed struct {
	Format string `help:"How to print: text or json." default:"text" enum:"text,json"`
}

func (l listed) json() bool { return l.Format == "json" }

// database is the flag that commands working on a database share.
type database struct {
	Database string `help:"PostgreSQL URL, or the file of the embedded database." env:"DATABASE_URL" default:"brakewear.db" placeholder:"URL|FILE"`
	Memory   int    `help:"MB that the program's own data are kept within where they can be, by clearing up more often; the program itself and the embedded database take some 120 beside them. 0 = no bound." env:"BRAKEWEAR_MEMORY" default:"${memory}" placeholder:"MB"`
}

// usualMemory is what 100,000 vehicles need with room to clear up: an import of
// them holds some 130 MB at a time. Judgement: a small machine's other work
// matters more than a tenth of the processor.
const usualMemory = 200

// gcPercent lets what is no longer used come to three times what is before it is
// cleared up, where the bound on memory leaves room: at Go's usual once, a sixth of
// the processor's time of 20 uploads at once went into clearing up.
const gcPercent = 300

// keepMemory bounds what Go's runtime takes, unless its own variable does.
func keepMemory(e *env, mb int) error {
	if mb < 0 {
		return fleet.Invalidf("memory of %d MB: want a number of MB, or 0 for no bound", mb)
	}
	if mb > 0 && e.getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(int64(mb) << 20)
		if e.getenv("GOGC") == "" {
			debug.SetGCPercent(gcPercent)
		}
	}
	return nil
}

// open opens the database and brings it to the present schema.
func (d database) open(e *env) (*store.DB, error) {
	if err := keepMemory(e, d.Memory); err != nil {
		return nil, err
	}
	db, err := store.Open(e.ctx, d.Database)
	if err != nil {
		return nil, err
	}
	if err := db.Migrate(e.ctx); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// there refuses a file of the embedded database that is not there.
func (d database) there() error {
	if d.server() {
		return nil
	}
	if _, err := os.Stat(d.Database); errors.Is(err, os.ErrNotExist) {
		return fleet.NotFoundf("database %s: there is no such file", d.Database)
	}
	return nil
}

// existing is open for what has nothing to do in a new database: a mistyped
// path would read as a fleet without faults, and leave an empty file behind.
func (d database) existing(e *env) (*store.DB, error) {
	if err := d.there(); err != nil {
		return nil, err
	}
	return d.open(e)
}

// kept is existing for those who may have to do with a temporary one instead.
func (d database) kept(e *env) (db *store.DB, done func(), err error) {
	db, err = d.existing(e)
	return db, func() { db.Close() }, err
}

// lasting is open for those who may have to do with a temporary one instead.
func (d database) lasting(e *env) (db *store.DB, done func(), err error) {
	db, err = d.open(e)
	return db, func() { db.Close() }, err
}

// temporary opens an embedded database that lasts until done.
func temporary(e *env) (db *store.DB, done func(), err error) {
	dir, err := os.MkdirTemp("", "brakewear-*")
	if err != nil {
		return nil, nil, err
	}
	db, err = database{Database: filepath.Join(dir, "brakewear.db")}.open(e)
	if err != nil {
		os.RemoveAll(dir)
		return nil, nil, err
	}
	return db, func() {
		db.Close()
		os.RemoveAll(dir)
	}, nil
}

// service returns the verbs over db.
func (e *env) service(db *store.DB, risk float64) *pipeline.Service {
	return &pipeline.Service{DB: db, Risk: risk, Now: e.now, Overviews: &pipeline.Overviews{}, Remembered: &pipeline.Remembered{}}
}
