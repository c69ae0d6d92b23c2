package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// WorkPage is the scheduled work: what runs when, and how it went.
type WorkPage struct {
	Shell
	Busy bool // something waits or is under way: the page looks again by itself
	Jobs []WorkRow
	Runs []RunRow
	Days int // that are counted
}

// WorkRow is a job in a time zone.
type WorkRow struct {
	Name, What string
	Job, Zone  string // for the form
	Next       Moment
	Last       *RunRow  // nil: none yet
	Now        string   // waits or is under way, in words
	Far        []string // how far that is, where it is known: a line a piece of work
	Known      bool     // the clock looks after it, so it can be asked for
	Count      string   // how the runs of the last days ended
}

// RunRow is one run of a job.
type RunRow struct {
	Name, Zone string
	Began      Moment
	Took       string
	State      string
	Well       bool
	Why        string // the clock or a person
	Message    string
}

// Moment is an instant on the clocks of a time zone.
type Moment struct{ ISO, Words string }

func momentOf(tell units.Reader, t time.Time, loc *time.Location) Moment {
	return Moment{t.UTC().Format("2006-01-02T15:04:05Z"), t.In(loc).Format("Mon ") + tell.Day(fleet.DateOf(t.In(loc))) + t.In(loc).Format(" 15:04")}
}

const (
	runsShown = 25
	// daysCounted is how far back runs are counted: a month of nights.
	daysCounted = 30
)

func (d *Dashboard) work(c *gin.Context) error {
	ctx := c.Request.Context()
	runs, err := d.svc.DB.JobRuns(ctx, runsShown)
	if err != nil {
		return err
	}
	p := WorkPage{Shell: Shell{Title: "Scheduled work", Place: "work"}, Days: daysCounted}
	for i := range runs {
		p.Runs = append(p.Runs, runRow(reader(c), &runs[i]))
	}
	if p.Jobs, err = d.workRows(ctx, reader(c)); err != nil {
		return err
	}
	for _, j := range p.Jobs {
		p.Busy = p.Busy || j.Now != "" || len(j.Far) > 0
	}
	return d.send(c, http.StatusOK, "work", p)
}

func (d *Dashboard) workRows(ctx context.Context, tell units.Reader) (rows []WorkRow, err error) {
	db := d.svc.DB
	zones, err := db.TimeZones(ctx)
	if err != nil {
		return nil, err
	}
	times, err := db.JobTimes(ctx)
	if err != nil {
		return nil, err
	}
	latest, err := db.LatestRuns(ctx)
	if err != nil {
		return nil, err
	}
	open, err := db.OpenRuns(ctx)
	if err != nil {
		return nil, err
	}
	counts, err := db.RunCounts(ctx, db.Now().AddDate(0, 0, -daysCounted))
	if err != nil {
		return nil, err
	}
	refits, err := db.RefitProgress(ctx, 0)
	if err != nil {
		return nil, err
	}
	for _, j := range d.svc.Jobs() {
		in := zones
		if !j.PerZone {
			in = zones[:1]
		}
		for _, zone := range in {
			row := WorkRow{Name: capital(j.Name), What: j.What, Job: j.Name, Zone: zone, Count: countWords(j.Name, counts)}
			for _, t := range times {
				if t.Job == j.Name && t.Zone == zone && t.Next != nil {
					row.Known = true
					row.Next = momentOf(tell, *t.Next, pipeline.Zone(zone))
				}
			}
			for i := range latest {
				if r := &latest[i]; r.Job == j.Name && r.Zone == zone {
					last := runRow(tell, r)
					row.Last = &last
				}
			}
			for i := range open {
				if r := &open[i]; r.Job == j.Name && r.Zone == zone {
					row.Now = stateWords[r.State]
				}
			}
			if j.Help != nil && zone == zones[0] { // whatever zones they are for
				for i := range refits {
					row.Far = append(row.Far, farWords(&refits[i]))
				}
			}
			rows = append(rows, row)
		}
	}
	return rows, nil
}

// farWords says how far a refit is, and who is at it.
func farWords(p *store.RefitProgress) string {
	who := plural(p.Workers, "process is", "processes are") + " at work"
	if p.Workers == 0 {
		who = "no process is at work"
	}
	if p.Learning {
		return fmt.Sprintf("Learning, step %d: %s of %s shares are done; %s.", p.Step+1, count(p.SharesDone), count(p.Shares), who)
	}
	return fmt.Sprintf("Forecasting: %s of %s vehicles are done; %s.", count(p.Forecast), count(p.Vehicles), who)
}

// stateWords says what became of a run.
var stateWords = map[string]string{
	store.RunWaiting:  "waits to begin",
	store.RunRunning:  "under way",
	store.RunDone:     "done",
	store.RunFailed:   "failed",
	store.RunPanicked: "broke down",
	store.RunOverran:  "took too long",
	store.RunCutShort: "cut short",
}

func runRow(tell units.Reader, r *store.JobRun) RunRow {
	loc := pipeline.Zone(r.Zone)
	row := RunRow{
		Name:    capital(r.Job),
		Zone:    r.Zone,
		Began:   momentOf(tell, r.AskedAt, loc),
		State:   stateWords[r.State],
		Well:    r.State == store.RunDone || r.State == store.RunRunning || r.State == store.RunWaiting,
		Why:     "by the clock",
		Message: r.Message,
	}
	if r.AskedBy != "" {
		row.Why = "asked for by " + r.AskedBy
	}
	if r.Attempt > 1 {
		row.Why += fmt.Sprintf(", attempt %d", r.Attempt)
	}
	if r.Started != nil {
		row.Began = momentOf(tell, *r.Started, loc)
		if r.Ended != nil {
			row.Took = tookWords(r.Ended.Sub(*r.Started))
		}
	}
	return row
}

// tookWords is how long a run took, no finer than it matters.
func tookWords(d time.Duration) string {
	switch {
	case d < 0: // the clock was put back meanwhile
		return ""
	case d < time.Second:
		return "under a second"
	case d < 2*time.Minute:
		return plural(int(d.Round(time.Second)/time.Second), "second", "seconds")
	case d < 2*time.Hour:
		return plural(int(d.Round(time.Minute)/time.Minute), "minute", "minutes")
	}
	return fmt.Sprintf("%.1f hours", d.Hours())
}

// countWords says how a job's runs ended: 28 done, 2 failed.
func countWords(job string, counts []store.RunCount) string {
	var words []string
	for _, state := range []string{store.RunDone, store.RunFailed, store.RunPanicked, store.RunOverran, store.RunCutShort} {
		for _, c := range counts {
			if c.Job == job && c.State == state {
				words = append(words, count(c.Runs)+" "+stateWords[state])
			}
		}
	}
	return strings.Join(words, ", ")
}

// runNow leaves word that a job is to run.
func (d *Dashboard) runNow(c *gin.Context) error {
	_, err := d.svc.DB.AskForRun(c.Request.Context(), c.PostForm("job"), c.PostForm("zone"), d.who(c))
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/work")
	return nil
}
