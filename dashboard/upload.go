package dashboard

import (
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// UploadPage says what became of the rows of one upload.
type UploadPage struct {
	Shell
	Upload     fleet.Upload
	NothingNew bool // it was just handed in, and every row was there already
	Refused    []fleet.Problem
	Doubtful   []fleet.Problem // rows taken that are unlikely
	Notes      []fleet.Problem // rows taken with an assumption
	More       int             // problems that the page leaves out
	CSV        string          // link to all problems
	Forecast   bool            // its rows went into the forecasts
	Form       bool            // no file
}

// problemsShown bounds the rows of the page; the file has them all.
const problemsShown = 300

func (d *Dashboard) upload(c *gin.Context) error {
	up, err := d.oneUpload(c)
	if err != nil {
		return err
	}
	p := UploadPage{
		Shell:      Shell{Title: up.Name, Place: "readings", Cautions: true},
		Upload:     up,
		NothingNew: c.Query("nothing") == "new",
		CSV:        fmt.Sprintf("/readings/%d/problems.csv", up.ID),
		Forecast:   up.Accepted > 0 && up.Kind != string(ingest.Vehicles) && !ingest.Kind(up.Kind).OfThePlan(),
	}
	p.Form = up.Kind == pipeline.FormKind
	if up.Kind == store.CorrectionsKind {
		p.Form, p.Upload.Kind = true, "correction"
	}
	p.Doubtful, p.Refused, p.Notes, p.More = sortProblems(reader(c), up.Problems)
	p.Upload.Problems = nil
	return d.send(c, http.StatusOK, "upload", p)
}

func (d *Dashboard) oneUpload(c *gin.Context) (fleet.Upload, error) {
	id, err := web.PathID(c, "upload")
	if err != nil {
		return fleet.Upload{}, err
	}
	return d.svc.DB.Upload(c.Request.Context(), d.scope(c), id)
}

// problemsCSV sends all problems of an upload, to mend the file by.
func (d *Dashboard) problemsCSV(c *gin.Context) error {
	up, err := d.oneUpload(c)
	if err != nil {
		return err
	}
	return sendProblems(c, fmt.Sprintf("upload-%d-problems.csv", up.ID), up.Problems)
}

// sendProblems sends problems as a file.
func sendProblems(c *gin.Context, name string, ps []fleet.Problem) error {
	out := csvDownload{c: c, name: name, head: []string{"line", "column", "read", "verdict", "message"}}
	for _, x := range ps {
		verdict := "taken, note"
		switch {
		case x.Refused:
			verdict = "refused"
		case x.Doubtful:
			verdict = "taken, doubtful"
		}
		if err := out.row(x.Line, x.Column, x.Read, verdict, x.Message); err != nil {
			return err
		}
	}
	return out.finish()
}
