package forecast

import (
	"bufio"
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

var lme4Groups = flag.Int("lme4groups", 2000, "groups of 8 readings that lme4 and Mixed are both given")

// lme4Script fits y ~ x + (x | g) by REML with the package's defaults and
// prints the variance components, the slope and the seconds it took.
const lme4Script = `
options(digits = 15)
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1])
d$g <- factor(d$g)
s <- system.time(m <- suppressWarnings(lmer(y ~ x + (x | g), d)))["elapsed"]
v <- as.data.frame(VarCorr(m))$vcov
cat(v[4], v[1], v[3], v[2], fixef(m)[2], s, "\n")
`

// TestMixedAgainstLme4 gives lme4 and Mixed the same points: the invented pads
// and an invented fleet. The likelihood is flat: lme4 stops at its own rule,
// up to 1e-3 from the maximum on the pads of both axles (it says so), so 1 %.
func TestMixedAgainstLme4(t *testing.T) {
	if testing.Short() {
		t.Skip("starts R")
	}
	if out, err := exec.Command("Rscript", "-e", "library(lme4)").CombinedOutput(); err != nil {
		t.Skipf("no R with lme4 here (Debian: r-cran-lme4): %v\n%s", err, bytes.TrimSpace(out))
	}
	script := filepath.Join(t.TempDir(), "fit.R")
	if err := os.WriteFile(script, []byte(lme4Script), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		each func(point func(g int, x, y float64))
	}{
		{"pads", func(point func(int, float64, float64)) {
			g, last := 0, ""
			for _, r := range csvTable(t, "pads/synthetic_pads.csv") {
				if r["series"] != last {
					g, last = g+1, r["series"]
				}
				point(g, number(t, r["km_since_new"])/1000, number(t, r["thickness_mm"]))
			}
		}},
		{"fleet", func(point func(int, float64, float64)) {
			rng := rand.New(rand.NewPCG(1, 1))
			for g := range *lme4Groups {
				a, b, x := 12+.15*rng.NormFloat64(), -.12+.028*rng.NormFloat64(), 0.0
				for range 8 {
					x += 4 + 4*rng.Float64()
					point(g+1, x, a+b*x+.2*rng.NormFloat64())
				}
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			name := filepath.Join(t.TempDir(), "points.csv")
			f, err := os.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			w := bufio.NewWriter(f)
			fmt.Fprintln(w, "g,x,y")
			var xs, ys []float64
			var gs []int
			c.each(func(g int, x, y float64) {
				fmt.Fprintf(w, "%d,%.17g,%.17g\n", g, x, y)
				gs, xs, ys = append(gs, g-1), append(xs, x), append(ys, y)
			})
			if err := w.Flush(); err != nil {
				t.Fatal(err)
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}

			start := time.Now()
			groups := make([]Group, gs[len(gs)-1]+1)
			for i := range xs {
				groups[gs[i]].Add(xs[i], ys[i])
			}
			fit, err := Mixed{Cells: PlainCells}.Fit(groups)
			if err != nil {
				t.Fatal(err)
			}
			ours := time.Since(start).Seconds()

			out, err := exec.Command("Rscript", script, name).Output()
			if err != nil {
				t.Fatal(err)
			}
			var want [5]float64
			var theirs float64
			if _, err := fmt.Sscan(string(out), &want[0], &want[1], &want[2], &want[3], &want[4], &theirs); err != nil {
				t.Fatalf("%v in %q", err, out)
			}
			t.Logf("%d groups, %d points: lme4 %.3f s, here %.4f s, %.0f times faster", len(groups), len(xs), theirs, ours, theirs/ours)
			for i, got := range [5]float64{fit.Sigma2, fit.G.AA, fit.G.AB, fit.G.BB, fit.Beta[1]} {
				t.Logf("%-12s here %.10g, lme4 %.10g", [...]string{"residual", "intercept", "covariance", "slope", "mean slope"}[i], got, want[i])
				if d := lre(got, want[i]); d < 2 {
					t.Errorf("got %g, want %g", got, want[i])
				}
			}
		})
	}
}
