package forecast

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// lineCase is a data set of testdata/regression/README.md.
type lineCase struct {
	x, y, w []float64
	limit   float64
	w0      float64 // weight of a new reading
}

func lineCases(t *testing.T) map[string]lineCase {
	t.Helper()
	read := func(file, x, y string, keep func(map[string]string) bool, weight func(map[string]string) float64) (c lineCase) {
		for _, r := range csvTable(t, file) {
			if keep != nil && !keep(r) {
				continue
			}
			c.x, c.y = append(c.x, number(t, r[x])), append(c.y, number(t, r[y]))
			if weight != nil {
				c.w = append(c.w, weight(r))
			}
		}
		c.w0 = 1
		return c
	}
	series := func(name string) func(map[string]string) bool {
		return func(r map[string]string) bool { return r["series"] == name }
	}
	pads := func(name string, weight func(map[string]string) float64) lineCase {
		c := read("pads/synthetic_pads.csv", "km_since_new", "thickness_mm", series(name), weight)
		c.limit = 3
		return c
	}
	cases := map[string]lineCase{
		"norris_ols": read("nist/norris.csv", "x", "y", nil, nil),
		"norris_wls": read("nist/norris.csv", "x", "y", nil, func(r map[string]string) float64 {
			return 1 / math.Pow(1+number(t, r["x"])/100, 2)
		}),
		"pads_S09_ols": pads("S09", nil),
		"pads_S09_wls": pads("S09", func(r map[string]string) float64 {
			return 1 / math.Pow(number(t, r["sd_mm"]), 2)
		}),
		"pads_S07_ols_n3": pads("S07", nil),
		"flat5_ols":       read("regression/flat5.csv", "x", "y", nil, nil),
		"flat5_y10_ols":   read("regression/flat5.csv", "x", "y", nil, nil),
		"short5_ols":      read("regression/short5.csv", "x", "y", nil, nil),
	}
	for name, edit := range map[string]func(*lineCase){
		"norris_ols":    func(c *lineCase) { c.limit = 400 },
		"norris_wls":    func(c *lineCase) { c.limit, c.w0 = 400, 1./25 },
		"pads_S09_wls":  func(c *lineCase) { c.w0 = 100 },
		"flat5_ols":     func(c *lineCase) { c.limit = 8 },
		"flat5_y10_ols": func(c *lineCase) { c.limit = 10 },
		"short5_ols":    func(c *lineCase) { c.limit = 3 },
	} {
		c := cases[name]
		edit(&c)
		cases[name] = c
	}
	return cases
}

// studentT returns the two-sided quantile at a level.
func studentT(df, level float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile((1 + level) / 2)
}

// item answers one line of the expected values.
func (c lineCase) item(f LineFit, section, item, arg string) (float64, bool) {
	name, level := item, 0.0
	if i := strings.LastIndex(item, "_0."); i >= 0 {
		fmt.Sscanf(item[i+1:], "%g", &level)
		name = item[:i]
	}
	var at float64
	fmt.Sscanf(arg, "%g", &at)
	a, seA := f.At(0)
	seB := math.Sqrt(f.VBB)
	extra := f.SD * f.SD / c.w0
	rss := f.SD * f.SD * f.DF
	switch section {
	case "fit":
		v, ok := map[string]float64{
			"n": f.N, "intercept": a, "slope": f.B, "se_intercept": seA, "se_slope": seB,
			"cov_intercept_slope": f.VAB - f.X0*f.VBB, "sigma": f.SD, "df": f.DF,
			"r_squared": 1 - rss/f.YY, "t_slope": f.B / seB, "f_statistic": f.B * f.B / f.VBB,
			"rss_weighted": rss,
		}[name]
		return v, ok
	case "tquantile":
		fmt.Sscanf(arg, "%g", &level)
		return studentT(f.DF, level), true
	case "diagnostic":
		i := int(at) - 1
		y, se := f.At(c.x[i])
		hat := weight(c.w, i) * se * se / (f.SD * f.SD)
		if name == "hat" {
			return hat, true
		}
		return (c.y[i] - y) * math.Sqrt(weight(c.w, i)) / (f.SD * math.Sqrt(1-hat)), true
	case "inverse":
		x, se := f.Inverse(c.limit, 0)
		switch name {
		case "x_at_y0":
			return x, true
		case "delta_se_mean":
			return se, true
		case "delta_se_single":
			_, se := f.Inverse(c.limit, extra)
			return se, true
		}
	}
	q := studentT(f.DF, level)
	switch section + " " + name {
	case "confint intercept_lo":
		return a - q*seA, true
	case "confint intercept_hi":
		return a + q*seA, true
	case "confint slope_lo":
		return f.B - q*seB, true
	case "confint slope_hi":
		return f.B + q*seB, true
	case "fieller g":
		return q * q * f.VBB / (f.B * f.B), true
	}
	y, se := f.At(at)
	switch name {
	case "mean_fit":
		return y, true
	case "mean_lo", "mean_hi", "new_lo", "new_hi":
		if strings.HasPrefix(name, "new") {
			se = math.Hypot(se, math.Sqrt(extra))
		}
		if strings.HasSuffix(name, "lo") {
			q = -q
		}
		if section == "predict" {
			return y + q*se, true
		}
	}
	if section == "fieller" {
		if strings.HasPrefix(name, "mean") {
			extra = 0
		}
		set := f.Fieller(c.limit, math.Abs(q), extra)
		kind := map[string]SetKind{"interval": Interval, "complement": Complement, "all": Everywhere}
		_, what, _ := strings.Cut(name, "_")
		switch {
		case what == "lo":
			return set.Lo, true
		case what == "hi":
			return set.Hi, true
		case strings.HasPrefix(what, "kind_"):
			if kind[what[5:]] == set.Kind {
				return 1, true
			}
			return 0, true
		}
	}
	return 0, false
}

// TestStraightLine compares every item of testdata/regression/expected.csv:
// R 4.2.2 lm, and Fieller sets written out in R. Its values have 15 digits;
// here 11 agree or more.
func TestStraightLine(t *testing.T) {
	cases := lineCases(t)
	fits := map[string]LineFit{}
	worst := map[string]float64{}
	n := map[string]int{}
	for _, r := range csvTable(t, "regression/expected.csv") {
		name := r["case"]
		c := cases[name]
		f, ok := fits[name]
		if !ok {
			var err error
			if f, err = FitLine(c.x, c.y, c.w); err != nil {
				t.Fatal(err)
			}
			fits[name] = f
		}
		if r["item"] == "p_slope" || r["item"] == "logLik" {
			continue // not used here
		}
		want := number(t, r["value"])
		got, ok := c.item(f, r["section"], r["item"], r["arg"])
		if !ok {
			t.Fatalf("%s %s %s: no such item", name, r["section"], r["item"])
		}
		d := lre(got, want)
		if math.Abs(want) < 1e-6 && math.Abs(got-want) < 1e-15 {
			d = 15 // what is left of a difference
		}
		key := r["section"]
		n[key]++
		if w, ok := worst[key]; !ok || d < w {
			worst[key] = d
		}
		if d < 11 {
			t.Errorf("%s %s %s %s: got %.15g, want %.15g", name, r["section"], r["item"], r["arg"], got, want)
		}
	}
	for _, section := range []string{"fit", "diagnostic", "confint", "predict", "inverse", "fieller", "tquantile"} {
		t.Logf("%s: %d values, at least %.1f digits", section, n[section], worst[section])
		if n[section] == 0 {
			t.Errorf("%s: nothing compared", section)
		}
	}
}

// TestStraightLineOfMoments fits from sums alone. Cars: Ezekiel (1930),
// Methods of Correlation Analysis, 50 stopping distances in ft against mph;
// laser: unit 102 of Meeker and Escobar (1998), Statistical Methods for
// Reliability Data, rise of the operating current in % against hours, 17
// readings 250 h apart from 0, unweighted and with weights 1/(1+hours/1000).
// Of both only the sums stand here. Expected: R 4.2.2 lm.
func TestStraightLineOfMoments(t *testing.T) {
	for _, c := range []struct {
		name                            string
		m                               Moments
		limit                           float64
		slope, sigma, x, se, lo90, hi90 float64
	}{
		{
			"cars", momentsOfSums(50, 50, 770, 2149, 13228, 38482, 124903), 100,
			3.93240875912409, 15.3795867488199, 29.9000185618295, 1.62890264642147, 27.5546831552672, 33.1857074914599,
		},
		{
			"laser", momentsOfSums(17, 17, 34000, 81.9114, 93500000, 224035.8, 537.09728012), 10,
			0.00236129411764706, 0.126894522819421, 4194.42479198844, 26.7440131422349, 4148.29082786728, 4242.08680082115,
		},
		{
			"laser weighted", momentsOfSums(17, 7.057625295241395, 9942.374704758606, 24.07564872766896, 24057625.295241393, 57835.75127233104, 139.1339783211255), 10,
			0.00237970935409167, 0.0746859445239679, 4177.44336888528, 29.845679094921, 4125.9419285376, 4230.61293886843,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := c.m.Fit()
			if err != nil {
				t.Fatal(err)
			}
			x, se := f.Inverse(c.limit, 0)
			set := f.Fieller(c.limit, studentT(f.DF, .9), 0)
			for _, v := range [][2]float64{{f.B, c.slope}, {f.SD, c.sigma}, {x, c.x}, {se, c.se}, {set.Lo, c.lo90}, {set.Hi, c.hi90}} {
				if lre(v[0], v[1]) < 10 {
					t.Errorf("got %.15g, want %.15g", v[0], v[1])
				}
			}
		})
	}
}

// momentsOfSums centres plain (weighted) sums of n points.
func momentsOfSums(n, w, x, y, xx, xy, yy float64) Moments {
	return Moments{N: n, W: w, X: x / w, Y: y / w, XX: xx - x*x/w, XY: xy - x*y/w, YY: yy - y*y/w}
}

// TestReach draws trends: where one is reached at q standard errors it really
// lies there, did not lie there before, and a larger q is reached no earlier.
func TestReach(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := Trend{
			X0:  rapid.Float64Range(0, 1e5).Draw(t, "x0"),
			A:   rapid.Float64Range(0, 9).Draw(t, "a"),
			B:   rapid.Float64Range(-1e-4, 5e-4).Draw(t, "b"),
			VAA: rapid.Float64Range(1e-4, 1).Draw(t, "vaa"),
			VBB: rapid.Float64Range(1e-14, 1e-8).Draw(t, "vbb"),
		}
		tr.VAB = rapid.Float64Range(-.99, .99).Draw(t, "corr") * math.Sqrt(tr.VAA*tr.VBB)
		const limit, start = 10, 0
		pivot := func(x float64) float64 {
			y, se := tr.At(x)
			return (y - limit) / se
		}
		last := math.Inf(-1)
		for _, p := range Levels {
			q := distuv.UnitNormal.Quantile(p)
			x := tr.Reach(limit, q, start)
			if math.IsNaN(x) || x < last {
				t.Fatalf("level %g reached at %g, the one before at %g", p, x, last)
			}
			last = x
			end := x
			if math.IsInf(x, 1) {
				end = 1e9
			} else if x > start && math.Abs(pivot(x)-q) > 1e-6*(1+math.Abs(q)) {
				t.Fatalf("level %g: pivot %g at %g, want %g", p, pivot(x), x, q)
			}
			for i := range 200 {
				if at := start + (end-start)*float64(i)/200; at < end && pivot(at) > q+1e-6 {
					t.Fatalf("level %g: pivot is %g at %g already, before %g", p, pivot(at), at, x)
				}
			}
		}
	})
}

// TestReachExact: a line without error reaches its limit with certainty.
func TestReachExact(t *testing.T) {
	for _, q := range []float64{-3, 0, 3} {
		if got := (Trend{A: 1, B: .5}).Reach(10, q, 0); got != 18 {
			t.Errorf("q %g: got %g, want 18", q, got)
		}
		if got := (Trend{A: 1, B: -.5}).Reach(10, q, 0); !math.IsInf(got, 1) {
			t.Errorf("falling, q %g: got %g, want never", q, got)
		}
		if got := (Trend{A: 11, B: .5}).Reach(10, q, 7); got != 7 {
			t.Errorf("past it, q %g: got %g, want 7", q, got)
		}
	}
}

// TestFiellerShapes: a level line through the limit gives every x, one off it
// the complement, a slope exactly q standard errors from zero a half-line.
func TestFiellerShapes(t *testing.T) {
	for _, c := range []struct {
		name string
		t    Trend
		y0   float64
		want Set
	}{
		{"every x", Trend{A: 10, VAA: 1, VBB: 1}, 10, Set{Everywhere, math.Inf(-1), math.Inf(1)}},
		{"level, off the limit", Trend{A: 10, VAA: 1, VBB: 1}, 15, Set{Complement, -math.Sqrt(24), math.Sqrt(24)}},
		{"half-line upward", Trend{A: 0, B: 1, VAA: 1, VBB: 1}, 3, Set{Complement, math.Inf(-1), 8. / 6}},
		{"half-line downward", Trend{A: 0, B: 1, VAA: 1, VBB: 1}, -3, Set{Complement, -8. / 6, math.Inf(1)}},
		{"interval", Trend{X0: 5, A: 0, B: 1, VAA: 1}, 3, Set{Interval, 7, 9}},
	} {
		// By hand: (y0-A-Bu)^2 = VAA + u^2 VBB with q = 1.
		got := c.t.Fieller(c.y0, 1, 0)
		near := func(a, b float64) bool { return a == b || math.Abs(a-b) < 1e-12 }
		if got.Kind != c.want.Kind || !near(got.Lo, c.want.Lo) || !near(got.Hi, c.want.Hi) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}
