package main

import (
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/jobs"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// clock returns what does the scheduled work.
func (e *env) clock(svc *pipeline.Service) *jobs.Clock {
	return &jobs.Clock{DB: svc.DB, Jobs: svc.Jobs(), Log: e.log, Now: e.now}
}

type runCmd struct {
	database
	scheduled
	accepted
	listed
	Job string `arg:"" optional:"" help:"What to do; the list of it when left out." offer:"jobs"`
}

// commandLine is who asked for what is run here.
const commandLine = "command line"

func (c runCmd) Help() string {
	return `Examples:
  brakewear run
  brakewear run refit
  brakewear run --format json`
}

func (c runCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, c.Risk)
	if err := c.scheduled.set(e, svc); err != nil {
		return err
	}
	if c.Job == "" {
		if c.json() {
			return listJobsJSON(e, svc)
		}
		return listJobs(e, svc)
	}
	return e.clock(svc).RunNow(e.ctx, c.Job, commandLine, func(zone, did string) {
		fmt.Fprintf(e.stdout, "%s (%s): %s\n", c.Job, zone, did)
	})
}

// listJobs prints the jobs, and where serve has looked after them when they
// ran last and run next.
func listJobs(e *env, svc *pipeline.Service) error {
	times, err := svc.DB.JobTimes(e.ctx)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "JOB\tTIME ZONE\tLAST\tNEXT\tWHAT")
	for _, j := range svc.Jobs() {
		seen := false
		for _, t := range times {
			if t.Job != j.Name {
				continue
			}
			seen = true
			last, err := lastRun(e, svc, t)
			if err != nil {
				return err
			}
			next := "–"
			if t.Next != nil {
				next = minute(*t.Next, t.Zone)
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", j.Name, t.Zone, last, next, j.What)
		}
		if !seen {
			fmt.Fprintf(w, "%s\t\tnever\twhen brakewear serves\t%s\n", j.Name, j.What)
		}
	}
	return w.Flush()
}

// jobLine is a job in a time zone, as JSON.
type jobLine struct {
	Job     string     `json:"job"`
	Zone    string     `json:"zone,omitempty"` // none: serve has not looked after it yet
	What    string     `json:"what"`
	Last    *time.Time `json:"last,omitempty"`
	State   string     `json:"last_state,omitempty"`
	Message string     `json:"last_message,omitempty"`
	Next    *time.Time `json:"next,omitempty"`
}

func listJobsJSON(e *env, svc *pipeline.Service) error {
	times, err := svc.DB.JobTimes(e.ctx)
	if err != nil {
		return err
	}
	runs, err := svc.DB.LatestRuns(e.ctx)
	if err != nil {
		return err
	}
	list := []jobLine{}
	for _, j := range svc.Jobs() {
		before := len(list)
		for _, t := range times {
			if t.Job != j.Name {
				continue
			}
			l := jobLine{Job: j.Name, Zone: t.Zone, What: j.What, Next: t.Next}
			for _, r := range runs {
				if r.Job == t.Job && r.Zone == t.Zone {
					l.Last, l.State, l.Message = &r.AskedAt, r.State, r.Message
				}
			}
			list = append(list, l)
		}
		if len(list) == before {
			list = append(list, jobLine{Job: j.Name, What: j.What})
		}
	}
	return e.printJSON(list)
}

// lastRun says when a job ran last, and how that ended.
func lastRun(e *env, svc *pipeline.Service, t store.JobTime) (string, error) {
	run, err := svc.DB.LastRun(e.ctx, t.Job, t.Zone)
	if errors.Is(err, fleet.ErrNotFound) {
		return "never", nil
	}
	if err != nil {
		return "", err
	}
	return minute(run.AskedAt, t.Zone) + ", " + strings.ReplaceAll(run.State, "_", " "), nil
}

// minute is a moment on the clocks of a time zone.
func minute(t time.Time, zone string) string {
	return t.In(pipeline.Zone(zone)).Format("2006-01-02 15:04 MST")
}
