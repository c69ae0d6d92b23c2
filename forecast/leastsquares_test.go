package forecast

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
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

// TestFitLineNIST asks for digits equal to the certified values of NIST StRD's
// Norris (SRD 140). The floors are what double precision gave here, less half a
// digit; certified values have 15.
func TestFitLineNIST(t *testing.T) {
	var x, y []float64
	for _, r := range csvTable(t, "nist/norris.csv") {
		x, y = append(x, number(t, r["x"])), append(y, number(t, r["y"]))
	}
	f, err := FitLine(x, y, nil)
	if err != nil {
		t.Fatal(err)
	}
	intercept, se := f.At(0)
	for _, c := range []struct {
		what      string
		got, want float64
		digits    float64
	}{
		{"intercept", intercept, -0.262323073774029, 12.3},
		{"slope", f.B, 1.00211681802045, 13.9},
		{"sd of intercept", se, .232818234301152, 13.2},
		{"sd of slope", math.Sqrt(f.VBB), .429796848199937e-3, 13.3},
		{"residual sd", f.SD, .884796396144373, 13.3},
	} {
		d := lre(c.got, c.want)
		t.Logf("%s: %.1f digits", c.what, d)
		if d < c.digits {
			t.Errorf("%s: got %v, want %v", c.what, c.got, c.want)
		}
	}
}

func TestFitLineRefuses(t *testing.T) {
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
