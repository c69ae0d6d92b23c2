package dashboard

import (
	"bytes"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

// ReadingsPage is where files are handed in.
type ReadingsPage struct {
	Shell
	Fault    string     // why the file handed in was not taken
	Kinds    []FileKind // those that whoever looks may hand in
	NoPlan   bool       // and not those of the plan
	MaxSize  string
	Dates    []Choice // orders of dates
	Waiting  []WaitingFile
	Uploads  []UploadRow
	From     string // link to the newest uploads; blank on them
	Next     string // link to older ones
	ToLookAt string // how many findings are open, in words; blank for none
}

// FileKind is a kind of file, with its columns.
type FileKind struct {
	Kind    string
	What    string
	Columns []ingest.Column
}

// UploadRow is one upload in the list.
type UploadRow struct {
	Link     string
	Name     string
	Kind     string
	By       string
	At       time.Time
	Accepted int
	Refused  int
	Repeated int
	Doubtful int
}

func uploadRow(u *fleet.Upload) UploadRow {
	return UploadRow{
		Link:     fmt.Sprintf("/readings/%d", u.ID),
		Name:     u.Name,
		Kind:     u.Kind,
		By:       u.By,
		At:       u.At,
		Accepted: u.Accepted,
		Refused:  u.Refused,
		Repeated: u.Repeated,
		Doubtful: u.Doubtful,
	}
}

// kindWords says what each kind of file holds.
var kindWords = map[ingest.Kind]string{
	ingest.Vehicles: "which vehicles there are, and where they stand",
	ingest.Axles:    "the axles of each, with new and limit values",
	ingest.Odometer: "odometer readings between inspections",
	ingest.Fitments: "parts fitted: where a new life begins",
	ingest.Readings: "what was measured",

	ingest.BrakeTests: "brake tests, a line for each wheel",
	ingest.Parts:      "parts on the shelf: what fits what, stock, lead time, price",
	ingest.Absences:   "days on which vehicles cannot be spared, and workshops are closed or short of hands",

	ingest.PlannedVisits: "days on which vehicles come in anyway: statutory tests, services",
}

// fileKinds returns the kinds of file that somebody may hand in.
func fileKinds(who auth.Who) []FileKind {
	var ks []FileKind
	for _, k := range ingest.Kinds {
		if k.OfThePlan() && !who.May(auth.Plan) {
			continue
		}
		ks = append(ks, FileKind{string(k), kindWords[k], ingest.Columns(k)})
	}
	return ks
}

// uploadsShown is how many uploads a page lists: about a month of a busy desk.
const uploadsShown = 25

func (d *Dashboard) readings(c *gin.Context) error {
	return d.showReadings(c, http.StatusOK, "")
}

// showReadings sends the page, with what was wrong with the file handed in.
func (d *Dashboard) showReadings(c *gin.Context, status int, fault string) error {
	before, err := queryID(c, "before")
	if err != nil {
		return err
	}
	ups, err := d.svc.DB.Uploads(c.Request.Context(), d.scope(c), uploadsShown+1, before)
	if err != nil {
		return err
	}
	who := web.SignedIn(c)
	p := ReadingsPage{
		Shell:   Shell{Title: "Readings", Place: "readings"},
		Fault:   sentence(fault),
		Kinds:   fileKinds(who),
		NoPlan:  !who.May(auth.Plan),
		MaxSize: fmt.Sprintf("%d MB", web.MaxFile>>20),
		Dates: []Choice{
			{Label: "year-month-day, or as its header says"},
			{Value: "dmy", Label: "day, month, year"},
			{Value: "mdy", Label: "month, day, year"},
			{Value: "ymd", Label: "year, month, day"},
		},
	}
	if len(ups) > uploadsShown {
		ups = ups[:uploadsShown]
		p.Next = fmt.Sprintf("/readings?before=%d", ups[uploadsShown-1].ID)
	}
	if before != 0 {
		p.From = "/readings"
	}
	for i := range ups {
		p.Uploads = append(p.Uploads, uploadRow(&ups[i]))
	}
	if before == 0 {
		if p.Waiting, err = d.waiting(c); err != nil {
			return err
		}
	}
	if p.ToLookAt, err = d.openFindings(c); err != nil {
		return err
	}
	return d.send(c, status, "readings", p)
}

// template sends an empty file to fill in.
func (d *Dashboard) template(c *gin.Context) error {
	kind, format, _ := strings.Cut(c.Param("file"), ".")
	var b bytes.Buffer
	if err := ingest.Template(&b, ingest.Kind(kind), format); err != nil {
		return err
	}
	types := map[string]string{
		"csv":  "text/csv; charset=utf-8; header=present",
		"xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	}
	c.Header("Content-Disposition", "attachment; filename="+strconv.Quote(kind+"."+format))
	web.Send(c, http.StatusOK, types[format], b.Bytes())
	return nil
}
