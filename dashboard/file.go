package dashboard

import (
	"fmt"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// FilePage is a file that was handed in: being worked on, or checked and
// waiting to be taken in.
type FilePage struct {
	Shell
	File    store.KeptFile
	Path    string // of the page
	Refresh int    // seconds until the page looks again; 0 = it need not

	// While it is worked on.
	Doing   string
	Percent int // of the file read; 0 = not known

	// Once it is checked.
	Checked  bool
	Upload   fleet.Upload // what would become of it
	Doubtful []fleet.Problem
	Refused  []fleet.Problem
	Notes    []fleet.Problem
	More     int // problems that the page leaves out
	First    []FirstRow
	Before   *UploadRow // the upload that had all of it
}

// FirstRow is a row of the file as it was read, in words.
type FirstRow struct {
	Line    int
	Vehicle string
	Date    string
	Km      string
	Place   string
	Value   string // or what else the row says
}

// lookAgain is how many seconds a page of work waits before it looks again.
const lookAgain = 2

// handIn keeps a file and checks it, or takes it in at once where that was
// asked for, and leads to what is to be seen of it. A file that cannot be read
// at all leads back to the form, with what to do.
func (d *Dashboard) handIn(c *gin.Context) error {
	head, err := c.FormFile("file")
	switch {
	case web.BodyError(err) != nil:
		return err
	case err != nil:
		return d.showReadings(c, http.StatusBadRequest, "No file was chosen: choose one, then check it.")
	}
	kind, dates := ingest.Kind(c.PostForm("kind")), c.PostForm("dates")
	if kind != "" && !slices.Contains(ingest.Kinds, kind) {
		return fleet.Invalidf("kind %q: want one of %s", kind, fleet.OneOf(ingest.Kinds))
	}
	body, err := head.Open()
	if err != nil {
		return fmt.Errorf("open the uploaded file: %w", err)
	}
	defer body.Close()
	name := path.Base(strings.ReplaceAll(head.Filename, `\`, "/"))
	f := pipeline.File{Name: name, Kind: kind, DateOrder: dates, Body: body}
	k, err := d.svc.HandIn(c.Request.Context(), d.scope(c), d.who(c), f, c.PostForm("direct") != "")
	if err != nil {
		return err
	}
	if k.State == store.FileUnreadable {
		return d.showReadings(c, http.StatusBadRequest, k.Fault)
	}
	return d.follow(c, &k)
}

// follow leads to the page of a file, or of its upload when it is done with.
func (d *Dashboard) follow(c *gin.Context, k *store.KeptFile) error {
	to := fmt.Sprintf("/readings/files/%d", k.ID)
	if k.State == store.FileDone {
		to = fmt.Sprintf("/readings/%d", k.UploadID)
		if done, ok, err := pipeline.CheckedOf(k); err != nil {
			return err
		} else if ok && done.Upload.Accepted == 0 {
			to += "?nothing=new"
		}
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// file shows a kept file.
func (d *Dashboard) file(c *gin.Context) error {
	k, err := d.oneFile(c)
	if err != nil {
		return err
	}
	if k.State == store.FileDone {
		return d.follow(c, &k)
	}
	p := FilePage{
		Shell: Shell{Title: k.Name, Place: "readings"},
		File:  k,
		Path:  fmt.Sprintf("/readings/files/%d", k.ID),
		Doing: map[store.FileState]string{
			store.FileChecking: "Checking the rows",
			store.FileTaking:   "Taking the rows in",
			store.FileTaken:    "Taken in. The forecasts of its vehicles follow",
		}[k.State],
	}
	if k.State.Working() {
		p.Refresh = lookAgain
		if k.State != store.FileTaken && k.Bytes > 0 && k.ReadBytes < k.Bytes { // a workbook is read at once
			p.Percent = int(100 * k.ReadBytes / k.Bytes)
		}
	}
	if k.State == store.FileChecked {
		if err := d.showCheck(c, &p, &k); err != nil {
			return err
		}
	}
	p.File.Report = nil
	return d.send(c, http.StatusOK, "file", p)
}

// showCheck puts what the check found on the page.
func (d *Dashboard) showCheck(c *gin.Context, p *FilePage, k *store.KeptFile) error {
	tell := reader(c)
	checked, _, err := pipeline.CheckedOf(k)
	if err != nil {
		return err
	}
	p.Checked, p.Cautions = true, true
	p.Upload = checked.Upload
	p.Doubtful, p.Refused, p.Notes, p.More = sortProblems(tell, checked.Upload.Problems)
	p.Upload.Problems = nil
	for _, r := range checked.First {
		p.First = append(p.First, firstRow(tell, ingest.Kind(checked.Upload.Kind), &r, d.svc.Today()))
	}
	if b := checked.Before; b != nil {
		row := uploadRow(b)
		p.Before = &row
	}
	return nil
}

func firstRow(tell units.Reader, kind ingest.Kind, r *pipeline.ReadRow, today fleet.Date) FirstRow {
	row := FirstRow{Line: r.Line, Vehicle: r.Vehicle, Place: r.Place}
	if r.Date != nil {
		row.Date = tell.Day(*r.Date)
	}
	if r.OdometerKm != nil {
		row.Km = tell.Distance(*r.OdometerKm)
	}
	if r.MM != nil {
		row.Value = tell.Exactly(string(r.Part), *r.MM)
		if given := strings.TrimSpace(r.Given); given != "" && !strings.HasSuffix(given, " "+tell.GaugeUnit(string(r.Part))) {
			row.Value += " (" + given + ")"
		}
	}
	for i, words := range r.Says {
		if i > 0 {
			row.Value += ", "
		}
		if kind == ingest.Axles { // said by the program; what other kinds say is the file's own
			words = tell.Text(words, today)
		}
		row.Value += words
	}
	return row
}

// sortProblems parts problems by what there is to do, as many as a page shows.
// Their quantities stay as they are, to be held against the file.
func sortProblems(tell units.Reader, all []fleet.Problem) (doubtful, refused, notes []fleet.Problem, more int) {
	for i, x := range all {
		x.Message = tell.Days(x.Message)
		switch {
		case i == problemsShown:
			return doubtful, refused, notes, len(all) - i
		case x.Refused:
			refused = append(refused, x)
		case x.Doubtful:
			doubtful = append(doubtful, x)
		default:
			notes = append(notes, x)
		}
	}
	return doubtful, refused, notes, 0
}

func (d *Dashboard) oneFile(c *gin.Context) (store.KeptFile, error) {
	id, err := web.PathID(c, "file")
	if err != nil {
		return store.KeptFile{}, err
	}
	return d.svc.Kept(c.Request.Context(), d.scope(c), d.who(c), id)
}

// takeFile takes a checked file in.
func (d *Dashboard) takeFile(c *gin.Context) error {
	id, err := web.PathID(c, "file")
	if err != nil {
		return err
	}
	k, err := d.svc.TakeKept(c.Request.Context(), d.scope(c), d.who(c), id)
	if err != nil {
		return err
	}
	return d.follow(c, &k)
}

// dropFile forgets a file that is not to be taken in.
func (d *Dashboard) dropFile(c *gin.Context) error {
	id, err := web.PathID(c, "file")
	if err != nil {
		return err
	}
	if err := d.svc.DB.DropFile(c.Request.Context(), d.scope(c), d.who(c), id); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/readings")
	return nil
}

// fileCSV sends all problems of a checked file, to mend it by.
func (d *Dashboard) fileCSV(c *gin.Context) error {
	k, err := d.oneFile(c)
	if err != nil {
		return err
	}
	checked, ok, err := pipeline.CheckedOf(&k)
	if err != nil {
		return err
	}
	if !ok {
		return fleet.NotFoundf("file %d: it is not checked", k.ID)
	}
	return sendProblems(c, fmt.Sprintf("file-%d-problems.csv", k.ID), checked.Upload.Problems)
}

// WaitingFile is a file in the list of those not done with.
type WaitingFile struct {
	Link string
	Name string
	What string // how far it is
	By   string
	At   time.Time
}

// waiting returns the files that are not done with.
func (d *Dashboard) waiting(c *gin.Context) (out []WaitingFile, err error) {
	ks, err := d.svc.DB.KeptFiles(c.Request.Context(), d.scope(c), d.who(c))
	for _, k := range ks {
		what := map[store.FileState]string{
			store.FileChecking:   "being checked",
			store.FileChecked:    "checked, not taken in",
			store.FileTaking:     "being taken in",
			store.FileTaken:      "taken in, its forecasts follow",
			store.FileUnreadable: "cannot be read",
			store.FileFailed:     "failed",
		}[k.State]
		out = append(out, WaitingFile{fmt.Sprintf("/readings/files/%d", k.ID), k.Name, what, k.By, k.At})
	}
	return out, err
}
