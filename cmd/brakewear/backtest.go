package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"brakewear/dashboard/chart"
	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

type backtestCmd struct {
	Files    string   `help:"Folder with vehicles.csv, axles.csv, odometer.csv, fitments.csv and readings.csv; truth in its folder truth is used." type:"existingdir" placeholder:"DIR" xor:"source"`
	Database string   `help:"PostgreSQL URL, or the file of the embedded database." env:"DATABASE_URL" placeholder:"URL|FILE" xor:"source"`
	AsOf     []string `help:"Days to forecast from." required:"" placeholder:"2025-03-31,2025-09-30"`
	Lives    bool     `help:"Also follow whole lives of parts, planned anew at every inspection."`
	accepted
	told
	Plot   string `help:"Also draw into this SVG file how often the quantiles held." placeholder:"FILE"`
	Format string `help:"How to print: table, csv or json." default:"table" enum:"table,csv,json"`
}

func (c backtestCmd) Help() string {
	return `Forecasts from past days, each with what was known then, and scores what followed,
every model on the same cases. Example:
  brakewear simulate --vehicles 1500 --seed 1 --out fleet
  brakewear backtest --files fleet --as-of 2025-03-31,2025-09-30`
}

func (c backtestCmd) Run(e *env) error {
	if err := validRisk(c.Risk); err != nil {
		return err
	}
	tell, err := c.reader()
	if err != nil {
		return err
	}
	var opt pipeline.BacktestOptions
	for _, s := range c.AsOf {
		d, err := dayOr(s, e)
		if err != nil {
			return err
		}
		opt.AsOf = append(opt.AsOf, d)
	}
	opt.Along = c.Lives
	open := database{Database: c.Database}.kept
	switch {
	case c.Files != "":
		open = temporary
	case c.Database == "":
		return fleet.Invalidf("say what to replay: --files DIR or --database URL|FILE")
	}
	db, done, err := open(e)
	if err != nil {
		return err
	}
	defer done()
	svc := e.service(db, c.Risk)
	if c.Files != "" {
		if opt.Truth, err = c.takeIn(e, svc); err != nil {
			return err
		}
	}
	var scores *forecast.Scores
	err = e.during("forecasting past days", func() error {
		scores, err = svc.Backtest(e.ctx, auth.AllFleets(), opt)
		return err
	})
	if err != nil {
		return err
	}
	rows, found := scores.Rows(), scores.Detection()
	if c.Plot != "" {
		if err := plotScores(c.Plot, rows); err != nil {
			return err
		}
	}
	switch c.Format {
	case "json":
		return e.printJSON(backtestResult{rows, found})
	case "csv":
		return scoresCSV(e.stdout, rows, found)
	default:
		if err := scoresTable(e.stdout, tell, rows); err != nil {
			return err
		}
		return detectionTable(e.stdout, found)
	}
}

// takeIn imports the files and returns the truth that lies beside them, nil
// where there is none.
func (c backtestCmd) takeIn(e *env, svc *pipeline.Service) (map[string]*forecast.Truth, error) {
	for _, k := range ingest.Kinds {
		name := filepath.Join(c.Files, string(k)+".csv")
		if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
			if k == ingest.BrakeTests || k.OfThePlan() {
				continue // no forecast looks at them
			}
			return nil, fleet.Invalidf("%s holds no %s.csv; want a folder with the five files that simulate writes", c.Files, k)
		}
		up, err := importFile(e, svc, k, "command line", name)
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(e.stderr, "%s: %d accepted, %d refused\n", up.Name, up.Accepted, up.Refused)
	}
	truth, err := demo.ReadTruth(c.Files)
	if errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintln(e.stderr, "no truth in these files: judged by what was measured later")
		return nil, nil
	}
	return truth, err
}

func plotScores(name string, rows []forecast.ScoreRow) error {
	c := chart.Reliability(rows)
	if c == nil {
		return fleet.Invalidf("nothing to draw: no case was scored on these days")
	}
	return os.WriteFile(name, c.SVG(chart.WideWidth, chart.WideWidth), 0o644)
}
