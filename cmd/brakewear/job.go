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
	Job string `arg:"" optional:"" help:"What to do; the list of it when left out."`
}

// commandLine is who asked for what is run here.
const commandLine = "command line"

func (c runCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	db, err := c.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	svc := e.service(db, c.Risk)
	if err := c.scheduled.set(e, svc); err != nil {
		return err
	}
	if c.Job == "" {
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
