package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/units"
)

// backtestResult is what backtest prints as JSON.
type backtestResult struct {
	Scores    []forecast.ScoreRow
	Detection []forecast.Detected
}

// scoresTable prints forecasts against what came true and, where lives were
// followed, what planning by them would have cost.
func scoresTable(w io.Writer, tell units.Reader, rows []forecast.ScoreRow) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(t, "by\tvalue\tmodel\tcases\tno answer\tMAE %[1]s\tMAE %%\tMAE days\t50/80/95 %[1]s\t50/80/95 days\tIS95 %%\tCRPS %%\tpast at book-by\twasted\t\n", tell.DistanceUnit())
	along := false
	for _, r := range rows {
		along = along || r.Booking.Lives > 0
		if r.By == "depot" || r.Cases == 0 {
			continue // too many for a table; csv and json have them
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%d\t%.0f\t%.1f\t%.0f\t%s\t%s\t%.0f\t%.2f\t%.1f%%\t%.1f%%\t\n",
			r.By, r.Value, r.Model, r.Cases, r.Unanswered, tell.OfKm(r.Km.MAE), r.Relative.MAE, r.Day.MAE,
			covers(&r.Km), covers(&r.Day), r.Relative.IS95, r.Relative.CRPS,
			100*r.Booking.Passed, 100*r.Booking.Wasted)
	}
	if err := t.Flush(); err != nil || !along {
		return err
	}
	return livesTable(w, rows)
}

// livesTable prints what planning anew at every inspection comes to: at the
// accepted chance (of the threshold rule, at a tenth of the lining left) and at
// that level at which 5 % of the lives pass their limit.
func livesTable(w io.Writer, rows []forecast.ScoreRow) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "\nWhole lives, planned anew at every inspection:")
	fmt.Fprintln(t, "by\tvalue\tmodel\tlives\tlevel\tpast limit\twasted\tlevel for 5 % past\twasted\tin cone\tRA\tCRA\thorizon\t")
	for _, r := range rows {
		b, l := &r.Booking, &r.Lives
		if r.By == "depot" || b.Lives == 0 {
			continue
		}
		tuned := "none\t-"
		if b.At5.Level > 0 {
			tuned = fmt.Sprintf("%.3f\t%.1f%%", b.At5.Level, 100*b.At5.Wasted)
		}
		merit := "-\t-\t-\t-"
		if l.N > 0 {
			merit = fmt.Sprintf("%.2f\t%.2f\t%.2f\t%.2f", l.Cone[halfLife], l.RA[halfLife], l.CRA, l.Horizon)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%d\t%.3f\t%.1f%%\t%.1f%%\t%s\t%s\t\n",
			r.By, r.Value, r.Model, b.Lives, b.AtRisk.Level, 100*b.AtRisk.Passed, 100*b.AtRisk.Wasted, tuned, merit)
	}
	return t.Flush()
}

// halfLife is the index in forecast.Lambdas at which the table shows accuracy.
const halfLife = 1

// detectionTable prints what was found of what is wrong with the records and
// with calipers, one column a model; nothing where nobody knows what is.
func detectionTable(w io.Writer, found []forecast.Detected) error {
	if len(found) == 0 {
		return nil
	}
	var models []string
	for _, d := range found {
		if d.Model != "" && !slices.Contains(models, d.Model) {
			models = append(models, d.Model)
		}
	}
	slices.Sort(models)
	fmt.Fprintln(w, "\nWhat was found:")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "\t%s\n", strings.Join(models, "\t"))
	for i := 0; i < len(found); {
		what := found[i].What
		cells := make([]string, len(models))
		for ; i < len(found) && found[i].What == what; i++ {
			d := &found[i]
			k := max(0, slices.Index(models, d.Model)) // what is the same for all comes first
			if share, ok := d.Share(); ok {
				cells[k] = fmt.Sprintf("%.4g%% (%d of %d)", 100*share, d.N, d.Of)
			}
		}
		fmt.Fprintf(t, "%s\t%s\n", what, strings.Join(cells, "\t"))
	}
	return t.Flush()
}

// covers prints how often the 50, 80 and 95 % intervals held, in %.
func covers(s *forecast.Score) string {
	return fmt.Sprintf("%.0f/%.0f/%.0f", 100*s.Cover50, 100*s.Cover80, 100*s.Cover95)
}

// scoresCSV writes a row for each group and model, and one for each thing that
// may be found: by "found", with how many of how many cases.
func scoresCSV(w io.Writer, rows []forecast.ScoreRow, found []forecast.Detected) error {
	c := csv.NewWriter(w)
	header := []string{"by", "value", "model", "cases", "unanswered",
		"mae_km", "median_ae_km", "mae_days", "median_ae_days", "mae_relative_pct", "crps_relative_pct", "is95_relative_pct",
		"cover50_km", "cover80_km", "cover95_km", "cover50_days", "cover80_days", "cover95_days",
		"below05_days", "passed_per_decision", "wasted_per_decision",
		"lives", "level", "passed_per_life", "wasted_per_life", "level_at_5pct_of_lives", "wasted_at_5pct_of_lives",
		"in_cone_half_life", "ra_half_life", "cra", "prognostic_horizon", "found"}
	columns := len(header)
	c.Write(header)
	f := func(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
	for _, r := range rows {
		b, l := &r.Booking, &r.Lives
		row := []string{r.By, ingest.CSVCell(r.Value), r.Model, strconv.Itoa(r.Cases), strconv.Itoa(r.Unanswered),
			f(r.Km.MAE), f(r.Km.MedianAE), f(r.Day.MAE), f(r.Day.MedianAE), f(r.Relative.MAE), f(r.Relative.CRPS), f(r.Relative.IS95),
			f(r.Km.Cover50), f(r.Km.Cover80), f(r.Km.Cover95), f(r.Day.Cover50), f(r.Day.Cover80), f(r.Day.Cover95),
			f(r.Day.Below05), f(b.Passed), f(b.Wasted)}
		// Blank is "not followed", and of the tuned level "none comes down to 5 %".
		rest := make([]string, 11)
		if b.Lives > 0 {
			copy(rest, []string{strconv.Itoa(b.Lives), f(b.AtRisk.Level), f(b.AtRisk.Passed), f(b.AtRisk.Wasted)})
			if b.At5.Level > 0 {
				copy(rest[4:], []string{f(b.At5.Level), f(b.At5.Wasted)})
			}
			if l.N > 0 {
				copy(rest[6:], []string{f(l.Cone[halfLife]), f(l.RA[halfLife]), f(l.CRA), f(l.Horizon)})
			}
		}
		c.Write(append(row, rest...))
	}
	for _, d := range found {
		row := make([]string, columns)
		copy(row, []string{"found", d.What, d.Model, strconv.Itoa(d.Of)})
		row[columns-1] = strconv.Itoa(d.N)
		c.Write(row)
	}
	c.Flush()
	return c.Error()
}
