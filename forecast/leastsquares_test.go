package forecast

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// csvTable reads a CSV file of testdata by its header.
func csvTable(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]map[string]string, 0, len(rows)-1)
	for _, row := range rows[1:] {
		m := make(map[string]string, len(row))
		for j, v := range row {
			m[rows[0][j]] = v
		}
		out = append(out, m)
	}
	return out
}

// number reads a number of a test table.
func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// lre is the log relative error, about the number of equal digits, 15 at
// most; the log absolute error where want is 0 (McCullough 1998, from memory).
func lre(got, want float64) float64 {
	switch {
	case got == want:
		return 15
	case math.IsNaN(got):
		return 0
	}
	e := math.Abs(got - want)
	if want != 0 {
		e /= math.Abs(want)
	}
	return math.Min(15, math.Max(0, -math.Log10(e)))
}

// nistSet is one StRD set: design matrix, values and certified results.
type nistSet struct {
	x    *mat.Dense
	y    []float64
	x1   []float64 // first regressor
	coef []float64
	sd   []float64 // of coef
	resd float64
}

func loadNIST(t *testing.T, name string) nistSet {
	t.Helper()
	var s nistSet
	for _, r := range csvTable(t, "nist/certified_coefficients.csv") {
		if r["dataset"] == name {
			s.coef = append(s.coef, number(t, r["estimate"]))
			s.sd = append(s.sd, number(t, r["standard_deviation_of_estimate"]))
		}
	}
	for _, r := range csvTable(t, "nist/certified_statistics.csv") {
		if r["dataset"] == name {
			s.resd = number(t, r["residual_sd"])
		}
	}
	p := len(s.coef)
	var cells []float64
	for _, r := range csvTable(t, "nist/"+name+".csv") {
		s.y = append(s.y, number(t, r["y"]))
		switch {
		case name == "longley":
			cells = append(cells, 1)
			for j := 1; j < p; j++ {
				cells = append(cells, number(t, r["x"+strconv.Itoa(j)]))
			}
		case p == 1: // through the origin
			cells = append(cells, number(t, r["x"]))
		default: // polynomial
			x := number(t, r["x"])
			s.x1 = append(s.x1, x)
			for j := range p {
				cells = append(cells, math.Pow(x, float64(j)))
			}
		}
	}
	s.x = mat.NewDense(len(s.y), p, cells)
	return s
}

// TestRegressNIST asks for digits equal to the certified values of NIST StRD
// (SRD 140), in the coefficients, their standard deviations and the residual
// standard deviation. The floors are what double precision gave here, less
// half a digit; certified values have 15.
func TestRegressNIST(t *testing.T) {
	for _, c := range []struct {
		name           string
		coef, sd, resd float64
	}{
		{"norris", 13.5, 13.4, 13.5},
		{"pontius", 13, 13.2, 13.3},
		{"noint1", 14.2, 14.5, 14.5},
		{"noint2", 14.5, 14.4, 14.5},
		// The powers of x, rounded to float64, already differ this much.
		{"filip", 7, 7, 8.4},
		{"longley", 14, 12.3, 14.5},
		{"wampler1", 14.5, 14.5, 14.5},
		{"wampler2", 12.7, 14.5, 14.5},
		{"wampler3", 14.5, 12.9, 14.3},
		{"wampler4", 14.5, 12.9, 14.3},
		{"wampler5", 14.5, 12.9, 14.3},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := loadNIST(t, c.name)
			r, err := Regress(s.x, s.y, nil)
			if err != nil {
				t.Fatal(err)
			}
			coef, sd := 15., 15.
			for j := range s.coef {
				coef = min(coef, lre(r.Coef[j], s.coef[j]))
				sd = min(sd, lre(math.Sqrt(r.Cov.At(j, j)), s.sd[j]))
			}
			resd := lre(r.SD, s.resd)
			t.Logf("digits: coefficients %.1f, their sd %.1f, residual sd %.1f", coef, sd, resd)
			if coef < c.coef || sd < c.sd || resd < c.resd {
				t.Errorf("want %.1f, %.1f, %.1f", c.coef, c.sd, c.resd)
			}
		})
	}
}

// TestRegressCovariance compares with the covariance in exact rational
// arithmetic (testdata/nist/README.md).
func TestRegressCovariance(t *testing.T) {
	floor := map[string]float64{"filip": 6.9, "longley": 11.2}
	worst := map[string]float64{}
	regs := map[string]*Regression{}
	for _, row := range csvTable(t, "nist/exact_covariance.csv") {
		name := row["dataset"]
		want := number(t, row["covariance"])
		if regs[name] == nil {
			s := loadNIST(t, name)
			r, err := Regress(s.x, s.y, nil)
			if err != nil {
				t.Fatal(err)
			}
			regs[name], worst[name] = r, 15
		}
		i, j := number(t, row["row"][1:]), number(t, row["col"][1:])
		if len(regs[name].Coef) == 1 {
			i, j = 0, 0 // B1 is the only one
		}
		got := regs[name].Cov.At(int(i), int(j))
		worst[name] = min(worst[name], lre(got, want))
	}
	if len(worst) != 11 {
		t.Fatalf("%d sets, want 11", len(worst))
	}
	for name, d := range worst {
		want := 12.6
		if f, ok := floor[name]; ok {
			want = f
		}
		t.Logf("%s: %.1f digits", name, d)
		if d < want {
			t.Errorf("%s: %.1f digits, want %.1f", name, d, want)
		}
	}
}

func TestFitLineNIST(t *testing.T) {
	s := loadNIST(t, "norris")
	f, err := FitLine(s.x1, s.y, nil)
	if err != nil {
		t.Fatal(err)
	}
	intercept, se := f.At(0)
	for _, c := range []struct {
		what      string
		got, want float64
		digits    float64
	}{
		{"intercept", intercept, s.coef[0], 12.3},
		{"slope", f.B, s.coef[1], 13.9},
		{"sd of intercept", se, s.sd[0], 13.2},
		{"sd of slope", math.Sqrt(f.VBB), s.sd[1], 13.3},
		{"residual sd", f.SD, s.resd, 13.3},
	} {
		d := lre(c.got, c.want)
		t.Logf("%s: %.1f digits", c.what, d)
		if d < c.digits {
			t.Errorf("%s: got %v, want %v", c.what, c.got, c.want)
		}
	}
}

func TestRegressRefuses(t *testing.T) {
	x := mat.NewDense(3, 2, []float64{1, 2, 1, 2, 1, 2})
	for _, c := range []struct {
		name string
		x    *mat.Dense
		y, w []float64
	}{
		{"columns that depend on each other", x, []float64{1, 2, 3}, nil},
		{"fewer points than coefficients", mat.NewDense(1, 2, []float64{1, 2}), []float64{1}, nil},
		{"lengths that differ", x, []float64{1, 2}, nil},
		{"a column of zeros", mat.NewDense(3, 2, []float64{1, 0, 1, 0, 1, 0}), []float64{1, 2, 3}, nil},
		{"not a number", mat.NewDense(3, 2, []float64{1, nan, 1, 0, 1, 0}), []float64{1, 2, 3}, nil},
	} {
		if _, err := Regress(c.x, c.y, c.w); err == nil {
			t.Errorf("%s: no error", c.name)
		}
	}
	if _, err := FitLine([]float64{5, 5}, []float64{1, 2}, nil); err == nil {
		t.Error("two points at one place: no error")
	}
}

// TestMomentsMerge cuts invented points at every place: the parts add up to
// the whole, in either order.
func TestMomentsMerge(t *testing.T) {
	x := []float64{1e6, 1e6 + 3, 1e6 + 7, 1e6 + 8, 1e6 + 20}
	y := []float64{12, 11.5, 11.3, 10.8, 9}
	want := MomentsOf(x, y, nil)
	for k := 0; k <= len(x); k++ {
		a, b := MomentsOf(x[:k], y[:k], nil), MomentsOf(x[k:], y[k:], nil)
		if a.Merge(b) != b.Merge(a) {
			t.Errorf("cut at %d: order matters", k)
		}
		checkMoments(t, a.Merge(b), want)
	}
	var one Moments
	for i := range x {
		one.Add(x[i], y[i])
	}
	checkMoments(t, one, want)
}

func checkMoments(t *testing.T, got, want Moments) {
	t.Helper()
	for _, d := range []float64{
		lre(got.N, want.N), lre(got.W, want.W), lre(got.X, want.X), lre(got.Y, want.Y),
		lre(got.XX, want.XX), lre(got.XY, want.XY), lre(got.YY, want.YY),
	} {
		if d < 9 { // an offset of 1e6 on a spread of 10 costs five of 15 digits
			t.Errorf("got %+v, want %+v", got, want)
			return
		}
	}
}
