package forecast

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// mixedCase is a model of testdata/mixed/README.md.
type mixedCase struct {
	model  Mixed
	names  []string // of the groups
	groups []Group
	fixed  []string // terms of the fixed effects
	x      string   // name of the slope
}

// interceptCells have no slope at all.
var interceptCells = []Cell{{Intercept: []float64{1}, Slope: []float64{0}}}

// originCells go through the origin.
var originCells = []Cell{{Intercept: []float64{0}, Slope: []float64{1}}}

func mixedCases(t testing.TB) map[string]mixedCase {
	t.Helper()
	cases := map[string]mixedCase{
		"sleepstudy_slope": {fixed: []string{"(Intercept)", "days"}, x: "days"},
		"orthodont":        {fixed: []string{"(Intercept)", "age"}, x: "age"},
		"gaas":             {fixed: []string{"(Intercept)", "khours"}, x: "khours"},
		"dyestuff":         {fixed: []string{"(Intercept)"}},
	}
	for name, c := range cases {
		c.model.Cells = PlainCells
		if name == "dyestuff" {
			c.model.Cells, c.model.Structure = interceptCells, InterceptOnly
		}
		set := name
		if name == "sleepstudy_slope" {
			set = "sleepstudy"
		}
		for _, r := range csvTable(t, "mixed/moments.csv") {
			if r["set"] == set {
				c.names = append(c.names, r["group"])
				n := number(t, r["n"])
				c.groups = append(c.groups, Group{Moments: Moments{
					N: n, W: n, X: number(t, r["x"]), Y: number(t, r["y"]),
					XX: number(t, r["xx"]), XY: number(t, r["xy"]), YY: number(t, r["yy"]),
				}})
			}
		}
		cases[name] = c
	}
	front := mixedCase{model: Mixed{Cells: PlainCells}, fixed: []string{"(Intercept)", "mkm"}, x: "mkm"}
	both := mixedCase{
		model: Mixed{Cells: []Cell{
			{Intercept: []float64{1, 0, 0, 0}, Slope: []float64{0, 0, 1, 0}},
			{Intercept: []float64{1, 1, 0, 0}, Slope: []float64{0, 0, 1, 1}},
		}},
		fixed: []string{"(Intercept)", "rear", "mkm", "rear:mkm"}, x: "mkm",
	}
	both.names, both.groups = padGroups(t, "")
	front.names, front.groups = padGroups(t, "front")
	cases["pads_front"], cases["pads_axle"] = front, both
	return cases
}

// padGroups reads the invented pads; of one axle unless it is blank. Cell 1 is
// the rear.
func padGroups(t testing.TB, axle string) (names []string, groups []Group) {
	for _, r := range csvTable(t, "pads/synthetic_pads.csv") {
		if axle != "" && r["axle"] != axle {
			continue
		}
		if n := len(names); n == 0 || names[n-1] != r["series"] {
			names = append(names, r["series"])
			g := Group{}
			if r["axle"] == "rear" {
				g.Cell = 1
			}
			groups = append(groups, g)
		}
		groups[len(groups)-1].Add(number(t, r["km_since_new"])/1000, number(t, r["thickness_mm"]))
	}
	return names, groups
}

// item answers one line of the expected values.
func (c mixedCase) item(t *testing.T, f *MixedFit, r map[string]string) float64 {
	t.Helper()
	const z90 = 1.6448536269514722 // normal quantile at 0.95
	fixed := func(term string) int { return slices.Index(c.fixed, term) }
	component := func(term string) int {
		return slices.Index([]string{"residual", "(Intercept):(Intercept)", "(Intercept):" + c.x, c.x + ":" + c.x}, term)
	}
	components := [4]float64{f.Sigma2, f.G.AA, f.G.AB, f.G.BB}
	switch r["item"] {
	case "fixef":
		return f.Beta[fixed(r["term"])]
	case "fixef_se":
		i := fixed(r["term"])
		return math.Sqrt(f.BetaCov[i][i])
	case "fixef_cov":
		return f.BetaCov[fixed(r["term"])][fixed(r["term2"])]
	case "varcomp":
		return components[component(r["term"])]
	case "varcomp_se_observed_info":
		return f.SE[component(r["term"])]
	case "logLik_REML":
		return f.LogREML
	case "logLik_ML":
		return f.LogML
	}
	g := c.groups[slices.Index(c.names, r["term"])]
	a, b, _ := f.fixed(g.Cell)
	given := posterior(Trend{A: a, B: b, VAA: f.G.AA, VAB: f.G.AB, VBB: f.G.BB}, g.Moments, f.Sigma2)
	line := lineOf(f, g)
	switch r["item"] {
	case "blup":
		if r["term2"] == "(Intercept)" {
			return line.A - a
		}
		return line.B - b
	case "blup_condvar":
		return [4]float64{0, given.VAA, given.VAB, given.VBB}[component(r["term2"])]
	case "line_intercept":
		return line.A
	case "line_slope":
		return line.B
	case "line_cov":
		return map[string]float64{"aa": line.VAA, "ab": line.VAB, "bb": line.VBB}[r["term2"]]
	}
	at := number(t, r["term2"])
	y, se := line.At(at)
	switch r["item"] {
	case "predict_line":
		return y
	case "predict_line_se":
		return se
	case "predict_newobs_se":
		return math.Sqrt(se*se + f.Sigma2)
	case "x_at_limit":
		x, _ := line.Inverse(at, 0)
		return x
	case "x_at_limit_fieller_lo90_z":
		return line.Fieller(at, z90, 0).Lo
	case "x_at_limit_fieller_hi90_z":
		return line.Fieller(at, z90, 0).Hi
	}
	t.Fatalf("no item %s", r["item"])
	return 0
}

// TestMixedExact compares every value of testdata/mixed/expected.csv.
func TestMixedExact(t *testing.T) {
	cases := mixedCases(t)
	type key struct{ model, method string }
	fits := map[key]*MixedFit{}
	worst := map[key]float64{}
	var order []key
	n := 0
	for _, r := range csvTable(t, "mixed/expected.csv") {
		k := key{r["model"], r["method"]}
		c := cases[k.model]
		if fits[k] == nil {
			m := c.model
			m.ML = k.method == "ML"
			f, err := m.Fit(c.groups)
			if err != nil {
				t.Fatalf("%v: %v", k, err)
			}
			fits[k], worst[k] = f, 15
			order = append(order, k)
		}
		got, want := c.item(t, fits[k], r), number(t, r["value"])
		n++
		d := lre(got, want)
		if r["item"] == "blup" && math.Abs(got-want) < 1e-12 {
			d = 15 // a difference of fixed and own effect that nearly vanishes
		}
		worst[k] = min(worst[k], d)
		if d < 11 {
			t.Errorf("%v %s %s %s: got %.15g, want %.15g", k, r["item"], r["term"], r["term2"], got, want)
		}
	}
	for _, k := range order {
		t.Logf("%s %s: %d steps, decrement %.0e, at least %.1f digits", k.model, k.method, fits[k].Iterations, fits[k].Decrement, worst[k])
	}
	t.Logf("%d values compared", n)
}

// TestMixedStructures compares the other structures with lme4 1.1-31 (R 4.2.2,
// nloptwrap, tolerances 1e-16). Its optimiser leaves 8 digits or more.
func TestMixedStructures(t *testing.T) {
	cases := mixedCases(t)
	sleep, gaas := cases["sleepstudy_slope"].groups, cases["gaas"].groups
	for _, c := range []struct {
		name            string
		model           Mixed
		groups          []Group
		beta, se        float64 // of the slope
		aa, bb, s2, log float64
	}{
		{"intercept, REML", Mixed{PlainCells, InterceptOnly, false}, sleep, 10.4672859596, 0.804221428546, 1378.17852778, 0, 960.456577606, -893.232542697},
		{"intercept, ML", Mixed{PlainCells, InterceptOnly, true}, sleep, 10.4672859596, 0.801735421019, 1296.87006567, 0, 954.527832695, -897.039321503},
		{"uncorrelated, REML", Mixed{PlainCells, Uncorrelated, false}, sleep, 10.4672859596, 1.559565935, 627.569064534, 35.8581982308, 653.583815807, -871.834646791},
		{"uncorrelated, ML", Mixed{PlainCells, Uncorrelated, true}, sleep, 10.4672859596, 1.51931447788, 584.250073433, 33.6331388629, 653.116020601, -876.00162757},
		{"through the origin, REML", Mixed{originCells, SlopeOnly, false}, gaas, 2.04665226382, 0.119450021219, 0, 0.213601457131, 0.0395651240284, 2.56939708659},
		{"through the origin, ML", Mixed{originCells, SlopeOnly, true}, gaas, 2.04665226381, 0.115399692547, 0, 0.199333179196, 0.0395651236714, 3.79276228744},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := c.model.Fit(c.groups)
			if err != nil {
				t.Fatal(err)
			}
			last := len(f.Beta) - 1
			log := f.LogREML
			if c.model.ML {
				log = f.LogML
			}
			for _, v := range [][2]float64{
				{f.Beta[last], c.beta}, {math.Sqrt(f.BetaCov[last][last]), c.se},
				{f.G.AA, c.aa}, {f.G.BB, c.bb}, {f.Sigma2, c.s2}, {log, c.log},
			} {
				if lre(v[0], v[1]) < 7 {
					t.Errorf("got %.12g, want %.12g", v[0], v[1])
				}
			}
			if f.G.AB != 0 {
				t.Errorf("covariance %g, want none", f.G.AB)
			}
		})
	}
}

// inventGroups draws lines with these spreads, n points each.
func inventGroups(rng *rand.Rand, groups, n int, sdA, sdB, sd float64) []Group {
	out := make([]Group, groups)
	for i := range out {
		a, b := sdA*rng.NormFloat64(), .12+sdB*rng.NormFloat64()
		start := 5 * rng.Float64()
		for range n {
			start += 4 + 4*rng.Float64()
			out[i].Add(start, a+b*start+sd*rng.NormFloat64())
		}
	}
	return out
}

// TestMixedBounds: estimates at a bound are found, and are no worse than
// those of the simpler model that the bound is.
func TestMixedBounds(t *testing.T) {
	for seed := range uint64(400) {
		rng := rand.New(rand.NewPCG(seed, 1))
		groups := inventGroups(rng, 12, 5, 0, .01*float64(seed%3), .2)
		full, err := Mixed{Cells: PlainCells}.Fit(groups)
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		if g := full.G; g.AA < 0 || g.BB < 0 || g.AA*g.BB-g.AB*g.AB < -1e-12*g.AA*g.BB {
			t.Errorf("seed %d: %+v is no covariance", seed, g)
		}
		for _, s := range []Structure{Uncorrelated, InterceptOnly, SlopeOnly} {
			part, err := Mixed{Cells: PlainCells, Structure: s}.Fit(groups)
			if err != nil {
				t.Errorf("seed %d, structure %d: %v", seed, s, err)
				continue
			}
			if part.LogREML > full.LogREML+1e-6 {
				t.Errorf("seed %d: structure %d reaches %.9f, the full model %.9f", seed, s, part.LogREML, full.LogREML)
			}
		}
	}
}

// TestMixedCentred: taking the level out of every group leaves the slopes of a
// model whose intercepts have a huge variance.
func TestMixedCentred(t *testing.T) {
	groups := inventGroups(rand.New(rand.NewPCG(1, 2)), 30, 6, 100, .03, .2)
	centred := make([]Group, len(groups))
	for i, g := range groups {
		centred[i] = Group{Moments: g.Centred()}
	}
	wide, err := Mixed{Cells: PlainCells, Structure: Uncorrelated}.Fit(groups)
	if err != nil {
		t.Fatal(err)
	}
	slope, err := Mixed{Cells: originCells, Structure: SlopeOnly}.Fit(centred)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range [][2]float64{{slope.Beta[0], wide.Beta[1]}, {slope.G.BB, wide.G.BB}, {slope.Sigma2, wide.Sigma2}} {
		if lre(v[0], v[1]) < 4 {
			t.Errorf("got %g, want %g", v[0], v[1])
		}
	}
}

// TestMixedOrder: the order of the groups, the units, and the way the readings
// of a group were put together do not matter.
func TestMixedOrder(t *testing.T) {
	c := mixedCases(t)["pads_front"]
	want, err := c.model.Fit(c.groups)
	if err != nil {
		t.Fatal(err)
	}
	again, err := c.model.Fit(c.groups)
	if err != nil || again.Sigma2 != want.Sigma2 || again.G != want.G {
		t.Errorf("the same groups gave other bits: %v, %v", again, err)
	}
	const perMile = 1.609344
	turned := slices.Clone(c.groups)
	slices.Reverse(turned)
	for i := range turned {
		m := &turned[i].Moments
		m.X, m.XX, m.XY = m.X*perMile, m.XX*perMile*perMile, m.XY*perMile
	}
	got, err := c.model.Fit(turned)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range [][2]float64{
		{got.Sigma2, want.Sigma2}, {got.G.AA, want.G.AA}, {got.G.AB * perMile, want.G.AB},
		{got.G.BB * perMile * perMile, want.G.BB}, {got.Beta[1] * perMile, want.Beta[1]},
	} {
		if lre(v[0], v[1]) < 10 {
			t.Errorf("got %.15g, want %.15g", v[0], v[1])
		}
	}
}

func TestMixedRefuses(t *testing.T) {
	line := func(y float64) Group {
		return Group{Moments: MomentsOf([]float64{0, 1, 2}, []float64{y, y + 1, y + 2.1}, nil)}
	}
	one := func(x, y float64) Group { return Group{Moments: MomentsOf([]float64{x}, []float64{y}, nil)} }
	for _, c := range []struct {
		name   string
		groups []Group
	}{
		{"no groups", nil},
		{"one group", []Group{line(1)}},
		{"one point each", []Group{one(1, 1), one(2, 2.2), one(3, 2.9), one(4, 4.4)}},
		{"not a number", []Group{line(1), line(nan), line(3)}},
		{"no such cell", []Group{line(1), line(2), {Moments: line(3).Moments, Cell: 7}}},
		{"all at one place", []Group{one(1, 1), one(1, 2), one(1, 3)}},
		{"no scatter at all", []Group{one(0, 0), one(1, 1), one(2, 2)}},
	} {
		if f, err := (Mixed{Cells: PlainCells}).Fit(c.groups); err == nil {
			t.Errorf("%s: fitted %+v", c.name, f)
		}
	}
}

// BenchmarkMixed100k fits 100,000 lines of 8 readings: what lme4 is timed on
// in TestMixedAgainstLme4.
func BenchmarkMixed100k(b *testing.B) {
	groups := inventGroups(rand.New(rand.NewPCG(1, 1)), 100_000, 8, .15, .028, .2)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := (Mixed{Cells: PlainCells}).Fit(groups); err != nil {
			b.Fatal(err)
		}
	}
}

// lineOf returns the line of a group, which only lme4 is compared with: its
// posterior given the fitted components, with the covariance of its error, the
// fixed effects' included (Henderson's mixed model equations). A group without
// points gets the prior of its cell.
func lineOf(f *MixedFit, g Group) Trend {
	a, b, fixed := f.fixed(g.Cell)
	t := posterior(Trend{A: a, B: b, VAA: f.G.AA, VAB: f.G.AB, VBB: f.G.BB}, g.Moments, f.Sigma2)
	// Error of the fixed effects: (I - G T) A Phi A' (I - G T)'.
	k := groupAlgebra(&g, f.Sigma2, f.G, f.G.det())
	r11 := 1 - f.G.AA*k.t.AA - f.G.AB*k.t.AB
	r12 := -f.G.AA*k.t.AB - f.G.AB*k.t.BB
	r21 := -f.G.AB*k.t.AA - f.G.BB*k.t.AB
	r22 := 1 - f.G.AB*k.t.AB - f.G.BB*k.t.BB
	x1, x2 := r11*fixed.AA+r12*fixed.AB, r11*fixed.AB+r12*fixed.BB
	y1, y2 := r21*fixed.AA+r22*fixed.AB, r21*fixed.AB+r22*fixed.BB
	t.VAA += x1*r11 + x2*r12
	t.VAB += x1*r21 + x2*r22
	t.VBB += y1*r21 + y2*r22
	return t
}
