package ingest

import (
	"errors"
	"io"

	"brakewear/internal/fleet"
)

// Kind is what a file holds.
type Kind string

// The kinds of files there are.
const (
	Vehicles Kind = "vehicles"
	Axles    Kind = "axles"
	Readings Kind = "readings"
	Odometer Kind = "odometer"
	Fitments Kind = "fitments"
)

// Kinds in the order in which a new workshop needs them.
var Kinds = []Kind{Vehicles, Axles, Odometer, Fitments, Readings}

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
	// takes ISO dates only. It is declared, never guessed row by row.
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

// Reader reads the rows of one file. It is for one goroutine.
type Reader struct{}

// NewReader finds out what r holds and reads as far as its header. name is the
// file's, for messages and to tell fitments from readings when the header
// does not. A file that cannot be read at all is a fleet.ErrInvalid that says
// what to do.
func NewReader(r io.Reader, name string, opt Options) (*Reader, error) {
	return nil, errors.New("not built yet")
}

// Kind says what the file holds.
func (r *Reader) Kind() Kind { return "" }

// Read fills dst with the next rows, which may be kept, and returns how many
// there are; io.EOF comes with or after the last. Any other error ends the
// file and none of its rows should be kept.
func (r *Reader) Read(dst []Row) (n int, err error) { return 0, io.EOF }

// Problems returns what was refused or assumed so far, in the order of the
// lines, at most MaxProblems and then one that says how many more there are.
func (r *Reader) Problems() []fleet.Problem { return nil }

// Refused returns how many rows were refused so far. A row with several
// problems counts once.
func (r *Reader) Refused() int { return 0 }

// SHA256 returns the hash of the file's bytes in hex, after io.EOF.
func (r *Reader) SHA256() string { return "" }
