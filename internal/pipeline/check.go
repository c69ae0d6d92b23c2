package pipeline

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Checked is what would become of a file.
type Checked struct {
	// Upload has the counts and problems that taking the file in would give;
	// it has no id and no time.
	Upload fleet.Upload
	// Before is the upload that had the same bytes, if any: nothing is new.
	Before *fleet.Upload
	// First are the first rows as they were read, for a person to see that
	// columns, units and dates were understood.
	First []ReadRow
	// Err is why the file cannot be read at all, a fleet.ErrInvalid.
	Err error `json:"-"`
}

// firstRows is how many rows a check shows as they were read.
const firstRows = 8

// ReadRow is a row as it was read. What a kind of file does not have is nil or
// blank.
type ReadRow struct {
	Line       int         `json:"line"`
	Vehicle    string      `json:"vehicle"`
	Date       *fleet.Date `json:"date,omitempty"`
	OdometerKm *float64    `json:"odometer_km,omitempty"`
	Place      string      `json:"place,omitempty"` // axle and position, or depot
	Part       fleet.Part  `json:"part,omitempty"`
	MM         *float64    `json:"mm,omitempty"`
	Given      string      `json:"given,omitempty"` // the value as written, with its unit
	Says       []string    `json:"says,omitempty"`  // what else it says; quantities of the program's writing are in an axle's only
}

// says adds what is not blank.
func (r *ReadRow) says(words ...string) {
	for _, w := range words {
		if w = strings.TrimSpace(w); w != "" {
			r.Says = append(r.Says, w)
		}
	}
}

func readRow(row *ingest.Row) ReadRow {
	r := ReadRow{Line: row.Line, Vehicle: row.Vehicle}
	switch {
	case row.Entry != nil:
		r.Place = row.Entry.Depot
		r.says(row.Entry.Plate, string(row.Entry.Category), row.Entry.Make+" "+row.Entry.Model, row.Entry.Duty)
	case row.Axle != nil:
		r.Place = (fleet.Position{Axle: row.Axle.Number}).String() + string(row.Axle.Brake)
		for _, p := range fleet.Parts {
			if x, ok := row.Axle.Specs[p]; ok {
				r.says(fmt.Sprintf("%s new %g mm, limit %g mm", p, x.New, x.Limit))
			}
		}
	case row.Odometer != nil:
		r.Date, r.OdometerKm = &row.Odometer.Date, &row.Odometer.Km
	case row.Absence != nil && row.Absence.Vehicle != nil:
		r.Date = row.Absence.Vehicle.First
		r.says(row.Absence.Vehicle.Reason)
	case row.Absence != nil:
		r.Date, r.Place = &row.Absence.Closure.First, row.Absence.Depot
		r.says(row.Absence.Closure.Reason)
	case row.Part != nil:
		r.Place = row.Part.Depot
		r.says(row.Part.Part.Number, row.Part.Part.Name)
		if row.Part.Stock != nil {
			r.says(fmt.Sprintf("%d on the shelf", *row.Part.Stock))
		}
	case row.Visit != nil:
		r.Date, r.Place = &row.Visit.Day, row.Visit.Depot
		r.says(row.Visit.What)
	case row.BrakeTest != nil:
		r.Date, r.OdometerKm = &row.BrakeTest.Date, row.BrakeTest.OdometerKm
		r.says(string(row.BrakeTest.Method), string(row.BrakeTest.System))
	case row.Fitment != nil:
		f := row.Fitment
		r.Date, r.OdometerKm, r.Place, r.Part, r.MM = &f.Date, f.OdometerKm, f.Position.String(), f.Position.Part, &f.MM
	case row.Reading != nil:
		d := row.Reading
		r.Date, r.OdometerKm, r.Place, r.Part, r.MM = &d.Date, d.OdometerKm, d.Position.String(), d.Position.Part, &d.MM
		r.Given = d.Given + " " + d.Unit
	}
	return r
}

// Check says what taking a file in would do, and does not do it.
func (s *Service) Check(ctx context.Context, sc auth.Scope, by string, f File) (Checked, error) {
	cs, err := s.CheckAll(ctx, sc, by, []File{f})
	if err != nil {
		return Checked{}, err
	}
	return cs[0], cs[0].Err
}

// CheckAll checks files that are to be taken in one after the other: each is
// looked at as if those before it were taken in. A file that cannot be read
// has an Err, and the others go on.
func (s *Service) CheckAll(ctx context.Context, sc auth.Scope, by string, files []File) ([]Checked, error) {
	out := make([]Checked, len(files))
	err := s.DB.Trial(ctx, func(db *store.DB) error {
		trial := *s
		trial.DB = db
		for i, f := range files {
			f.Key = "" // it names the taking in
			t, err := trial.take(ctx, sc, by, f)
			if err != nil && !errors.Is(err, fleet.ErrInvalid) {
				return err
			}
			out[i] = Checked{Upload: t.up, Before: t.first, Err: err}
			out[i].Upload.ID, out[i].Upload.At = 0, time.Time{}
			if t.known != nil {
				out[i].First = t.known.first
			}
		}
		return nil
	})
	return out, err
}
