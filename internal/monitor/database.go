package monitor

import (
	"context"

	"github.com/prometheus/client_golang/prometheus"

	"brakewear/internal/store"
)

// databaseCollector reads the database, and what is known of its connections,
// whenever the figures are asked for. What it says of scheduled work is of all
// processes on the database, and outlives them.
type databaseCollector struct{ m *Monitor }

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc(name, help, labels, nil)
}

var (
	databaseUp = desc("brakewear_database_up", "1 when the database answers, 0 when it does not.")
	poolLimit  = desc("brakewear_database_connections_limit", "Connections that this process may open.", "pool")
	poolNow    = desc("brakewear_database_connections", "Connections of this process, in use and idle.", "pool", "state")
	poolWaits  = desc("brakewear_database_waits_total", "How often a connection had to be waited for.", "pool")
	poolWaited = desc("brakewear_database_wait_seconds_total", "Time spent waiting for connections.", "pool")
	jobEnd     = desc("brakewear_job_last_end_timestamp_seconds", "When a scheduled job's last run ended.", "job", "zone")
	jobTook    = desc("brakewear_job_last_duration_seconds", "How long a scheduled job's last run took.", "job", "zone")
	jobResult  = desc("brakewear_job_last_result", "1, with how a scheduled job's last run ended: done, failed, panicked, overran or cut_short.", "job", "zone", "result")
	jobOpen    = desc("brakewear_job_open", "Runs of a scheduled job that wait or are under way.", "job", "zone", "state")
)

func (c databaseCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{databaseUp, poolLimit, poolNow, poolWaits, poolWaited, jobEnd, jobTook, jobResult, jobOpen} {
		ch <- d
	}
}

func (c databaseCollector) Collect(ch chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	for _, p := range c.m.db.Pools() {
		gauge(poolLimit, float64(p.Limit), p.Name)
		gauge(poolNow, float64(p.InUse), p.Name, "in_use")
		gauge(poolNow, float64(p.Idle), p.Name, "idle")
		ch <- prometheus.MustNewConstMetric(poolWaits, prometheus.CounterValue, float64(p.Waits), p.Name)
		ch <- prometheus.MustNewConstMetric(poolWaited, prometheus.CounterValue, p.Waited.Seconds(), p.Name)
	}
	ctx, cancel := context.WithTimeout(context.Background(), askFor)
	defer cancel()
	if c.m.reach(ctx) != nil {
		gauge(databaseUp, 0)
		return
	}
	gauge(databaseUp, 1)
	ended, err := c.m.db.LatestRuns(ctx)
	if err != nil {
		c.m.log.Error("figures of scheduled work", "error", err)
		return
	}
	for _, r := range ended {
		gauge(jobResult, 1, r.Job, r.Zone, r.State)
		if r.Ended == nil {
			continue
		}
		gauge(jobEnd, float64(r.Ended.UnixMicro())/1e6, r.Job, r.Zone)
		if r.Started != nil {
			gauge(jobTook, r.Ended.Sub(*r.Started).Seconds(), r.Job, r.Zone)
		}
	}
	open, err := c.m.db.OpenRuns(ctx)
	if err != nil {
		c.m.log.Error("figures of scheduled work", "error", err)
		return
	}
	counts := map[store.JobRun]int{}
	for _, r := range open {
		counts[store.JobRun{Job: r.Job, Zone: r.Zone, State: r.State}]++
	}
	for r, n := range counts {
		gauge(jobOpen, float64(n), r.Job, r.Zone, r.State)
	}
}
