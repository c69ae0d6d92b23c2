package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"brakewear/dashboard/chart"
)

// growth is one kind of work on one database, in fleets of all sizes.
type growth struct {
	work, database, costOf string
	sizes, costs           []float64
}

// growths are the kinds of work measured in more than one size.
func (r *allReport) growths() (gs []*growth) {
	sorted := slices.Clone(r.Results)
	slices.SortStableFunc(sorted, func(a, b *workBench) int { return cmp.Compare(a.Vehicles, b.Vehicles) })
	for _, x := range sorted {
		if x.Vehicles == 0 || x.Cost <= 0 {
			continue
		}
		i := slices.IndexFunc(gs, func(g *growth) bool { return g.work == x.Work && g.database == x.Database })
		if i < 0 {
			i, gs = len(gs), append(gs, &growth{work: x.Work, database: x.Database, costOf: x.CostOf})
		}
		gs[i].sizes = append(gs[i].sizes, float64(x.Vehicles))
		gs[i].costs = append(gs[i].costs, x.Cost)
	}
	return slices.DeleteFunc(gs, func(g *growth) bool { return g.sizes[0] == g.sizes[len(g.sizes)-1] })
}

// exponent is the slope of the line through the logarithms of sizes and costs
// that leaves the least squares.
func (g *growth) exponent() float64 {
	var n, sx, sy, sxx, sxy float64
	for i := range g.sizes {
		x, y := math.Log(g.sizes[i]), math.Log(g.costs[i])
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}

// inProportion is the highest exponent of a cost that is said to grow in
// proportion to the fleet: the rest is left to chance. Judgement.
const inProportion = 1.1

// faster are the kinds of work whose cost grows faster than the fleet.
func (r *allReport) faster() (works []string) {
	for _, g := range r.growths() {
		if x := g.exponent(); x > inProportion {
			works = append(works, fmt.Sprintf("%s on %s (%.2f)", g.work, g.database, x))
		}
	}
	return works
}

// grow fills in the exponents.
func (r *allReport) grow() {
	for _, g := range r.growths() {
		for _, x := range r.Results {
			if x.Work == g.work && x.Database == g.database {
				x.Exponent = g.exponent()
			}
		}
	}
}

// Size of a plot in px, and dots per px.
const (
	costWidth, costHeight = 960, 560
	costScale             = 2
)

// plots draws the costs against the size, a file for each database and unit.
func (r *allReport) plots(dir string) error {
	lines := map[[2]string][]chart.Cost{}
	for _, g := range r.growths() {
		k := [2]string{g.database, g.costOf}
		lines[k] = append(lines[k], chart.Cost{Name: g.work, Sizes: g.sizes, Values: g.costs, Exponent: g.exponent()})
	}
	for k, costs := range lines {
		png, err := chart.Costs("cost on "+k[0]+", "+k[1], costs).PNG(costWidth, costHeight, costScale)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("cost-%s-%s.png", k[0], k[1])), png, 0o644); err != nil {
			return err
		}
	}
	return nil
}

func (r *allReport) table(w io.Writer) error {
	fmt.Fprintf(w, "%d processors\n", r.Processors)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "work\tdatabase\tvehicles\tdone\tof\tseconds\tper second\tp50 ms\tp99 ms\tpeak MB\tceiling\tratio\taim\tmet\texponent\t")
	blank := func(format string, x float64) string {
		if x == 0 {
			return "–"
		}
		return fmt.Sprintf(format, x)
	}
	for _, x := range r.Results {
		met := "yes"
		if !x.Met {
			met = "no"
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%d\t%s\t%.2f\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n",
			x.Work, x.Database, x.Vehicles, x.Done, x.Of, x.Seconds, blank("%.0f", x.Rate), blank("%.1f", x.P50), blank("%.1f", x.P99),
			blank("%.0f", x.PeakMB), blank("%.0f", x.Ceiling), blank("%.3f", x.Ratio), x.Aim, met, blank("%.2f", x.Exponent))
	}
	if err := t.Flush(); err != nil || len(r.growths()) == 0 {
		return err
	}
	says := "No cost grows faster than the fleet"
	if works := r.faster(); works != nil {
		says = "These costs grow faster than the fleet: " + strings.Join(works, "; ")
	}
	_, err := fmt.Fprintf(w, "%s (exponent above %g).\n", says, inProportion)
	return err
}
