package ingest

import (
	"errors"
	"io"
	"slices"

	"brakewear/internal/fleet"
)

// Kind is what a file holds.
type Kind string

// The kinds of files there are.
const (
	Vehicles Kind = "vehicles"
	Axles    Kind = "axles"
	Odometer Kind = "odometer"
	Fitments Kind = "fitments"
	Readings Kind = "readings"
	// BrakeTests has a line for each wheel of a roller or plate test, and one
	// for any other.
	BrakeTests Kind = "brake_tests"
	// Parts are what a workshop buys and keeps: what fits what, stock, lead
	// time, price.
	Parts Kind = "parts"
	// Absences are days on which vehicles cannot be spared, and workshops are
	// closed or short of hands.
	Absences Kind = "absences"
	// PlannedVisits are days on which vehicles come in anyway: tests, services.
	PlannedVisits Kind = "planned_visits"
)

// Kinds in the order in which a new workshop needs them.
var Kinds = []Kind{Vehicles, Axles, Odometer, Fitments, Readings, BrakeTests, Parts, Absences, PlannedVisits}

// OfThePlan says whether a file holds what only the plan looks at, and no forecast.
func (k Kind) OfThePlan() bool { return k == Parts || k == Absences || k == PlannedVisits }

// kindNames lists them in a sentence.
const kindNames = "vehicles, axles, odometer, fitments, readings, brake_tests, parts, absences or planned_visits"

// Row is one record of a file. Exactly one of the pointers is set; its
// vehicle's id is left to the caller. A line of a wide readings file gives
// several rows.
type Row struct {
	Line     int    // of the file or sheet, from 1; of JSON the item, from 1
	Vehicle  string // number, as written
	Fleet    string // blank when the file does not say
	Entry    *VehicleEntry
	Axle     *fleet.Axle
	Reading  *fleet.Reading
	Odometer *fleet.Odometer
	Fitment  *fleet.Fitment
	// BrakeTest is of several lines, Line being the first.
	BrakeTest *fleet.BrakeTest
	// Part may be of no vehicle.
	Part *PartRow
	// Absence is of a vehicle or of a depot.
	Absence *AbsenceRow
	Visit   *VisitRow
}

// VehicleEntry is a vehicle with the names of its fleet and depot.
type VehicleEntry struct {
	Fleet, Depot string
	fleet.Vehicle
}

// Options say what is known of a file beforehand.
type Options struct {
	// Kind is what the file holds; "" = found by its header.
	Kind Kind
	// DateOrder is how the file writes its dates: "dmy", "mdy" or "ymd"; ""
	// takes ISO dates only, unless the header declares an order. It is never
	// guessed row by row.
	DateOrder string
	// MaxRows and MaxBytes bound the file; 0 = DefaultMaxRows, DefaultMaxBytes.
	MaxRows, MaxBytes int64
	// Today refuses dates after it; 0 = none.
	Today fleet.Date
	// AxleCount says how many axles a vehicle is known to have, 0 when it is
	// not known. "front" and "rear" name an axle of a vehicle that has two,
	// and of no other; nil = never.
	AxleCount func(fleet, vehicle string) int
}

// Bounds of one file unless Options say otherwise: several years of a fleet of
// 10,000 vehicles, and what a server can spool without harm.
const (
	DefaultMaxRows  = 5_000_000
	DefaultMaxBytes = 1 << 30
)

// source is a file as lines of cells, whatever its format.
type source interface {
	// next returns the next line that is not blank, which holds until the
	// call after; io.EOF at the end.
	next() (record, error)
}

// record is one line.
type record struct {
	line  int
	cells []string
	// fault is set when the line cannot be parted into cells.
	fault *fleet.Problem
	// note is something assumed in reading the line.
	note *fleet.Problem
	// header is set when the line brings columns not seen before, as an item
	// of JSON may: all of them so far.
	header []string
}

// Reader reads the rows of one file. It is for one goroutine.
type Reader struct {
	in    *meter
	src   source
	form  form
	name  string
	opt   Options
	lay   *layout
	dates *dates
	problems
	build func(rec *record) // puts the rows of a line into queue, or problems
	queue []Row             // rows of the present line
	given int               // how many of queue were handed over
	lines int64
	err   error

	readings []fleet.Reading // memory for the next rows
	kms      []float64

	otherUnit [numFields]bool // a cell of this column named another unit

	test  *openTest // brake test whose lines are being read
	lost  lostLine  // between its lines, or before those of the next
	ended bool      // the source has no more lines
}

// NewReader finds out what r holds and reads as far as its header. name is the
// file's, for messages and to tell fitments from readings where the header
// does not. A file that cannot be read at all is a fleet.ErrInvalid that says
// what to do.
func NewReader(r io.Reader, name string, opt Options) (*Reader, error) {
	if opt.Kind != "" && columns[opt.Kind] == nil {
		return nil, fleet.Invalidf("kind %q: want "+kindNames, opt.Kind)
	}
	if opt.MaxRows == 0 {
		opt.MaxRows = DefaultMaxRows
	}
	if opt.MaxBytes == 0 {
		opt.MaxBytes = DefaultMaxBytes
	}
	name = valid(name)
	rd := &Reader{in: newMeter(r, name, opt.MaxBytes), name: name, opt: opt}
	var err error
	if rd.dates, err = newDates(opt.DateOrder, opt.Today); err != nil {
		return nil, err
	}
	if err := rd.open(); err != nil {
		return nil, err
	}
	if rd.lay.kind == Absences || rd.lay.kind == PlannedVisits {
		rd.dates.ahead = fleet.MaxAhead
	}
	if rd.dates.order == "" {
		rd.dates.order = rd.lay.order
	}
	for _, n := range rd.lay.notes {
		rd.add(n)
	}
	rd.build = rd.builder()
	return rd, nil
}

// Kind says what the file holds.
func (r *Reader) Kind() Kind { return r.lay.kind }

// Read fills dst with the next rows, which may be kept, and returns how many
// there are; io.EOF comes with or after the last. Any other error ends the
// file, and none of its rows should be kept.
func (r *Reader) Read(dst []Row) (n int, err error) {
	for {
		c := copy(dst[n:], r.queue[r.given:])
		n += c
		r.given += c
		if n == len(dst) {
			return n, nil
		}
		if r.err == nil {
			if r.err = r.line(); r.err != nil {
				r.Close()
			}
		}
		if r.err != nil {
			return n, r.err
		}
	}
}

// Close removes what a large workbook was unpacked to, for a caller that stops
// before the end. Read does so at the end and at an error.
func (r *Reader) Close() error {
	if c, ok := r.src.(io.Closer); ok {
		return c.Close()
	}
	return nil
}

// line reads the next line into queue.
func (r *Reader) line() error {
	r.queue, r.given = r.queue[:0], 0
	if r.ended {
		return r.in.drain()
	}
	rec, err := r.src.next()
	if rec.note != nil {
		r.add(*rec.note)
	}
	if err != nil {
		if errors.Is(err, io.EOF) {
			r.ended = true
			if r.lines == 0 {
				r.add(fleet.Problem{Message: "the file has its columns, and no rows below them"})
			}
			r.endTest()
			return nil
		}
		return err
	}
	if r.lines++; r.lines > r.opt.MaxRows {
		return fleet.Invalidf("%s: more than %d rows: split the file", r.name, r.opt.MaxRows)
	}
	if rec.header != nil {
		if err := r.widen(rec.header); err != nil {
			return err
		}
	}
	if rec.fault != nil {
		r.refuse(*rec.fault)
		r.refused++
		r.lose(rec.line, testKey{})
		return nil
	}
	r.build(&rec)
	return nil
}

// widen takes columns that came up after the first line.
func (r *Reader) widen(header []string) error {
	l := match(header, r.lay.kind)
	if l.fault != "" {
		return fleet.Invalidf("%s: %s", r.name, l.fault)
	}
	for _, n := range l.notes {
		if !slices.Contains(r.lay.notes, n) {
			r.add(n)
		}
	}
	r.lay = l
	return nil
}

// refuse notes why a row, or a cell of it, is refused.
func (r *Reader) refuse(p fleet.Problem) {
	p.Refused = true
	r.add(p)
}

// Problems returns what was refused or assumed so far, in the order of the
// lines, at most MaxProblems and then one that says how many more there are.
func (r *Reader) Problems() []fleet.Problem { return r.all() }

// Refused returns how many rows were refused so far. A row with several
// problems counts once.
func (r *Reader) Refused() int { return r.refused }

// BytesRead returns how much of the file has been read. Any goroutine may call
// it, also while another reads.
func (r *Reader) BytesRead() int64 { return r.in.done.Load() }

// SHA256 returns the hash of the file's bytes in hex, after io.EOF.
func (r *Reader) SHA256() string { return r.in.sum() }
