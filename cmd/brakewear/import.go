package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

type importCmd struct {
	database
	Kind  string   `help:"What the files hold: vehicles, axles, readings, odometer or fitments; found by their header unless given."`
	By    string   `help:"Who hands the files in." default:"command line"`
	Files []string `arg:"" name:"file" help:"Files to take in, in this order." type:"existingfile"`
}

func (c importCmd) Run(e *env) error {
	db, err := c.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, 0)
	refused, changed := false, false
	for _, name := range c.Files {
		up, err := importFile(e, svc, ingest.Kind(c.Kind), c.By, name)
		if err != nil {
			return err
		}
		printUpload(e.stdout, &up)
		refused = refused || up.Refused > 0
		changed = changed || up.Accepted > 0
	}
	if changed {
		rep, err := svc.Refit(e.ctx, fleet.AllFleets(), nil, fleet.DateOf(e.now()))
		if err != nil {
			return err
		}
		printRefit(e.stdout, rep)
	}
	if refused {
		return errRefused
	}
	return nil
}

// importFile takes one file in.
func importFile(e *env, svc *pipeline.Service, kind ingest.Kind, by, name string) (fleet.Upload, error) {
	f, err := os.Open(name)
	if err != nil {
		return fleet.Upload{}, fleet.Invalidf("%v", err)
	}
	defer f.Close()
	return svc.Import(e.ctx, fleet.AllFleets(), by, pipeline.File{
		Name: filepath.Base(name),
		Kind: kind,
		Body: f,
	})
}

// printUpload says what became of a file, and of each of its rows that was
// refused or needed an assumption.
func printUpload(w io.Writer, up *fleet.Upload) {
	fmt.Fprintf(w, "%s (%s): %d accepted, %d refused, %d already there\n",
		up.Name, up.Kind, up.Accepted, up.Refused, up.Repeated)
	for _, p := range up.Problems {
		fmt.Fprintf(w, "  %s\n", problemLine(p))
	}
}

// problemLine puts a problem on one line: where, what was read, what to do.
func problemLine(p fleet.Problem) string {
	where := "file"
	if p.Line > 0 {
		where = fmt.Sprintf("line %d", p.Line)
	}
	if p.Column != "" {
		where += ", " + p.Column
	}
	verdict := "note"
	if p.Refused {
		verdict = "refused"
	}
	if p.Read != "" {
		return fmt.Sprintf("%s, %s, read %q: %s", verdict, where, p.Read, p.Message)
	}
	return fmt.Sprintf("%s, %s: %s", verdict, where, p.Message)
}
