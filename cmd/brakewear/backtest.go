package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"text/tabwriter"

	"brakewear/dashboard/chart"
	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

type backtestCmd struct {
	Files    string   `help:"Folder with vehicles.csv, axles.csv, odometer.csv, fitments.csv and readings.csv; truth in its folder truth is used." type:"existingdir" placeholder:"DIR" xor:"source"`
	Database string   `help:"PostgreSQL URL, or the file of the embedded database." env:"DATABASE_URL" placeholder:"URL|FILE" xor:"source"`
	AsOf     []string `help:"Days to forecast from." required:"" placeholder:"2025-03-31,2025-09-30"`
	Lives    bool     `help:"Also follow whole lives of parts, planned anew at every inspection."`
	Risk     float64  `help:"Accepted chance of being past the limit on the book-by date." default:"0.05"`
	Plot     string   `help:"Also draw into this SVG file how often the quantiles held." placeholder:"FILE"`
	Format   string   `help:"How to print: table, csv or json." default:"table" enum:"table,csv,json"`
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
	scores, err := svc.Backtest(e.ctx, fleet.AllFleets(), opt)
	if err != nil {
		return err
	}
	rows := scores.Rows()
	if c.Plot != "" {
		if err := plotScores(c.Plot, rows); err != nil {
			return err
		}
	}
	switch c.Format {
	case "json":
		enc := json.NewEncoder(e.stdout)
		enc.SetIndent("", " ")
		return enc.Encode(rows)
	case "csv":
		return scoresCSV(e.stdout, rows)
	default:
		return scoresTable(e.stdout, rows)
	}
}

// takeIn imports the files and returns the truth that lies beside them, nil
// where there is none.
func (c backtestCmd) takeIn(e *env, svc *pipeline.Service) (map[string]*forecast.Truth, error) {
	for _, k := range ingest.Kinds {
		name := filepath.Join(c.Files, string(k)+".csv")
		if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
			if k == ingest.BrakeTests {
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

func scoresTable(w io.Writer, rows []forecast.ScoreRow) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "by\tvalue\tmodel\tcases\tno answer\tMAE km\tMAE %\tMAE days\t50/80/95 km\t50/80/95 days\tIS95 %\tCRPS %\tpast at book-by\twasted\t")
	for _, r := range rows {
		if r.By == "depot" {
			continue // too many for a table; csv and json have them
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%d\t%.0f\t%.1f\t%.0f\t%s\t%s\t%.0f\t%.2f\t%.1f%%\t%.1f%%\t\n",
			r.By, r.Value, r.Model, r.Cases, r.Unanswered, r.Km.MAE, r.Relative.MAE, r.Day.MAE,
			covers(&r.Km), covers(&r.Day), r.Relative.IS95, r.Relative.CRPS,
			100*r.Booking.Passed, 100*r.Booking.Wasted)
	}
	return t.Flush()
}

// covers prints how often the 50, 80 and 95 % intervals held, in %.
func covers(s *forecast.Score) string {
	return fmt.Sprintf("%.0f/%.0f/%.0f", 100*s.Cover50, 100*s.Cover80, 100*s.Cover95)
}

func scoresCSV(w io.Writer, rows []forecast.ScoreRow) error {
	c := csv.NewWriter(w)
	c.Write([]string{"by", "value", "model", "cases", "unanswered",
		"mae_km", "median_ae_km", "mae_days", "median_ae_days", "mae_relative_pct", "crps_relative_pct", "is95_relative_pct",
		"cover50_km", "cover80_km", "cover95_km", "cover50_days", "cover80_days", "cover95_days",
		"below05_days", "passed_per_decision", "wasted_per_decision"})
	f := func(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
	for _, r := range rows {
		c.Write([]string{r.By, ingest.CSVCell(r.Value), r.Model, strconv.Itoa(r.Cases), strconv.Itoa(r.Unanswered),
			f(r.Km.MAE), f(r.Km.MedianAE), f(r.Day.MAE), f(r.Day.MedianAE), f(r.Relative.MAE), f(r.Relative.CRPS), f(r.Relative.IS95),
			f(r.Km.Cover50), f(r.Km.Cover80), f(r.Km.Cover95), f(r.Day.Cover50), f(r.Day.Cover80), f(r.Day.Cover95),
			f(r.Day.Below05), f(r.Booking.Passed), f(r.Booking.Wasted)})
	}
	c.Flush()
	return c.Error()
}
