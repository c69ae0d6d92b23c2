package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"brakewear/api"
	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

type importCmd struct {
	database
	accepted
	listed
	Check bool     `help:"Say what would become of the files, and take nothing in."`
	Kind  string   `help:"What the files hold: ${kinds}; found by their header unless given." offer:"kinds"`
	Dates string   `help:"How the files write their dates, unless ISO or declared in their header: ${dates}." enum:",${dates}" default:""`
	By    string   `help:"Who hands the files in." default:"command line"`
	Files []string `arg:"" name:"file" help:"Files to take in, in this order." type:"existingfile"`
}

func (c importCmd) Help() string {
	return `Examples:
  brakewear import --check vehicles.csv axles.csv readings.csv
  brakewear import vehicles.csv axles.csv readings.csv
  brakewear import --format json readings.csv

A row is taken, refused, or taken as doubtful when what it says is unlikely; each
refused and doubtful one is listed with what to do. A file that was taken in before
changes nothing.

Exit codes: 0 done, 1 failed, 2 the command line or a file cannot be read as meant,
3 done but rows were refused, 4 with --check: no row is refused but some are doubtful.`
}

// errDoubtful ends a check of files of which no row is refused, but some are
// doubtful.
var errDoubtful = errors.New("some rows are doubtful; they are listed above")

func (c importCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	open := c.lasting
	if c.Check && c.there() != nil {
		// What is only looked at needs no new database, and makes none.
		open = temporary
		if !c.json() {
			fmt.Fprintf(e.stdout, "There is no %s yet: checked as for an empty one.\n", c.Database)
		}
	}
	db, done, err := open(e)
	if err != nil {
		return err
	}
	defer done()
	svc := e.service(db, c.Risk)
	if c.Check {
		return c.check(e, svc)
	}
	line, err := c.takeIn(e, svc)
	if c.json() {
		err = errors.Join(e.printJSON(line), err) // of those before the one that failed
	}
	return err
}

// importLine is what became of files, as JSON.
type importLine struct {
	Checked bool       `json:"checked_only"` // nothing was taken in
	Files   []fileLine `json:"files"`
	Refit   *refitLine `json:"refit,omitempty"`
}

// fileLine is what became of a file.
type fileLine struct {
	api.UploadDetail
	Unreadable string `json:"unreadable,omitempty"` // why
	Before     int64  `json:"before,omitempty"`     // upload that has every row of it already
}

// takeIn takes the files in and forecasts anew what they change.
func (c importCmd) takeIn(e *env, svc *pipeline.Service) (line importLine, err error) {
	refused, changed := false, false
	line.Files = []fileLine{}
	for _, name := range c.Files {
		up, err := c.file(e, svc, name)
		if err != nil {
			return line, err
		}
		line.Files = append(line.Files, fileLine{UploadDetail: api.DetailOf(&up)})
		if !c.json() {
			printUpload(e.stdout, &up)
		}
		refused = refused || up.Refused > 0
		changed = changed || up.Accepted > 0 && !ingest.Kind(up.Kind).OfThePlan()
	}
	if changed {
		rep, err := e.refitAll(svc, fleet.DateOf(e.now()))
		if err != nil {
			return line, err
		}
		refit := refitLineOf(rep)
		line.Refit = &refit
		if !c.json() {
			printRefit(e.stdout, rep)
		}
	}
	if refused {
		return line, errRefused
	}
	return line, nil
}

// file takes one file in, with a bar.
func (c importCmd) file(e *env, svc *pipeline.Service, name string) (fleet.Upload, error) {
	f, err := c.opened(e, name)
	if err != nil {
		return fleet.Upload{}, err
	}
	defer f.done()
	return svc.Import(e.ctx, auth.AllFleets(), c.By, f.File)
}

// check says what would become of the files.
func (c importCmd) check(e *env, svc *pipeline.Service) error {
	var files []pipeline.File
	for _, name := range c.Files {
		f, err := c.opened(e, name)
		if err != nil {
			return err
		}
		defer f.done()
		files = append(files, f.File)
	}
	checked, err := svc.CheckAll(e.ctx, auth.AllFleets(), c.By, files)
	if err != nil {
		return err
	}
	var unreadable error
	refused, doubtful := false, false
	for i := range checked {
		k := &checked[i]
		unreadable = errors.Join(unreadable, k.Err)
		refused = refused || k.Err == nil && k.Upload.Refused > 0
		doubtful = doubtful || k.Err == nil && k.Upload.Doubtful > 0
	}
	if c.json() {
		err = e.printJSON(checkedLine(files, checked))
	} else {
		printChecked(e.stdout, files, checked)
	}
	switch {
	case err != nil:
		return err
	case unreadable != nil:
		return unreadable
	case refused:
		return errRefused
	case doubtful:
		return errDoubtful
	}
	return nil
}

func printChecked(w io.Writer, files []pipeline.File, checked []pipeline.Checked) {
	for i := range checked {
		k := &checked[i]
		if k.Err != nil {
			name := files[i].Name
			fmt.Fprintf(w, "%s: cannot be read: %s\n", name, strings.TrimPrefix(k.Err.Error(), name+": "))
			continue
		}
		printUpload(w, &k.Upload)
		if k.Before != nil {
			fmt.Fprintf(w, "  every row is there already: taken in as upload %d\n", k.Before.ID)
		}
	}
	fmt.Fprintln(w, "checked only: nothing was taken in")
}

func checkedLine(files []pipeline.File, checked []pipeline.Checked) importLine {
	line := importLine{Checked: true}
	for i := range checked {
		k := &checked[i]
		l := fileLine{UploadDetail: api.DetailOf(&k.Upload)}
		l.Name = files[i].Name
		if k.Err != nil {
			l.Unreadable = k.Err.Error()
		}
		if k.Before != nil {
			l.Before = k.Before.ID
		}
		line.Files = append(line.Files, l)
	}
	return line
}

// openFile is a file on its way in, with its bar.
type openFile struct {
	pipeline.File
	done func()
}

func (c importCmd) opened(e *env, name string) (openFile, error) {
	f, err := os.Open(name)
	if name == "-" && err != nil {
		return openFile{}, fleet.Invalidf("-: name a file; what comes through a pipe is read as /dev/stdin")
	}
	if err != nil {
		return openFile{}, fleet.Invalidf("%v", err)
	}
	size := sizeOf(name)
	base := filepath.Base(name)
	var bar *bar
	return openFile{
		File: pipeline.File{
			Name:      base,
			Kind:      ingest.Kind(c.Kind),
			DateOrder: c.Dates,
			Body:      f,
			Progress: func(p pipeline.Progress) {
				if bar == nil {
					bar = e.bar(base, size)
				}
				bar.at(p.Bytes, fmt.Sprintf("%s: %d rows", base, p.Rows))
			},
		},
		done: func() {
			bar.done()
			f.Close()
		},
	}, nil
}

// importFile takes one file in, for commands that do so on the way.
func importFile(e *env, svc *pipeline.Service, kind ingest.Kind, by, name string) (fleet.Upload, error) {
	return importCmd{Kind: string(kind), By: by}.file(e, svc, name)
}

// kindNames lists the kinds of files.
func kindNames() string {
	var names []string
	for _, k := range ingest.Kinds {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

// printUpload says what became of a file, and of each of its rows that was
// refused, is doubtful or needed an assumption.
func printUpload(w io.Writer, up *fleet.Upload) {
	fmt.Fprintf(w, "%s (%s): %d accepted, %d refused, %d already there",
		up.Name, up.Kind, up.Accepted, up.Refused, up.Repeated)
	if up.Doubtful > 0 {
		fmt.Fprintf(w, ", %d doubtful", up.Doubtful)
	}
	fmt.Fprintln(w)
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
	switch {
	case p.Refused:
		verdict = "refused"
	case p.Doubtful:
		verdict = "doubtful"
	}
	if p.Read != "" {
		return fmt.Sprintf("%s, %s, read %q: %s", verdict, where, p.Read, p.Message)
	}
	return fmt.Sprintf("%s, %s: %s", verdict, where, p.Message)
}
