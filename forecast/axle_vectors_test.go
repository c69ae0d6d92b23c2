package forecast

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"testing"
)

// vectorFile holds 25 part sets of an invented fleet worked through by an
// independent implementation of the same model (401 nodes over theta, 400
// points per joint probability).
type vectorFile struct {
	Hyper map[string]float64
	Cases []vectorCase
}

type vectorCase struct {
	Kind      string
	New       float64   `json:"new_mm"`
	Limit     float64   `json:"limit_mm"`
	Gap       float64   `json:"gap_1000km"`
	KmPerDay  float64   `json:"kmd"`
	PriorMean float64   `json:"prior_mean"`
	PriorVar  float64   `json:"prior_var"`
	S         []float64 `json:"s_1000km"`
	Pad       []int
	Visit     []int
	Y         []float64 `json:"y_mm"`
	Flagged   []int
	PostMean  float64 `json:"post_mean"`
	PostSD    float64 `json:"post_sd"`
	Evidence  float64 `json:"log_evidence"`
	Survival  []struct {
		S float64 `json:"s_1000km"`
		P float64 `json:"P_min_above_limit"`
	} `json:"survival_at"`
	MeanH [][]float64 `json:"mean_h_at"`
}

func readVectors(t testing.TB) (*Noise, *vectorFile) {
	t.Helper()
	b, err := os.ReadFile("testdata/axle_vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	var v vectorFile
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatal(err)
	}
	h := v.Hyper
	return &Noise{
		Gauge: h["gauge_sd"], Visit: h["visit_sd"], Start: h["start_sd_shared"], StartPlace: h["start_sd_position"],
		Side: h["side_sd"], Place: h["face_sd"], InnerOuter: h["inner_outer_beta"],
		Drift: h["drift_sd"], DriftSide: h["drift_sd_side"], DriftPlace: h["drift_sd_position"], DriftDays: h["drift_length_days"],
		Accel: h["acceleration_mean"], AccelSD: h["acceleration_sd"],
	}, &v
}

// life turns a vector into the model's terms. Positions are numbered left
// inner, left outer, right inner, right outer.
func (c *vectorCase) life(n *Noise) *axleLife {
	a := &axleLife{noise: n, length: n.DriftDays * c.KmPerDay / 1000, mean: c.PriorMean, vari: c.PriorVar}
	b := birth{mean: c.New, common: n.Start, own: n.StartPlace, gap: c.Gap}
	if c.Kind == "unknown" {
		b = birth{mean: (c.New+c.Limit)/2 + 1, common: 3.5, own: 0.7}
	}
	a.births = []birth{b}
	a.live = 4
	for j := range 4 {
		f := math.Exp(n.InnerOuter)
		if j%2 == 1 {
			f = 1 / f
		}
		a.places = append(a.places, place{side: 1 + j/2, f: f, limit: c.Limit, span: c.New - c.Limit})
	}
	last := math.MinInt
	for i := range c.S {
		if c.Visit[i] != last {
			last = c.Visit[i]
			a.visits = append(a.visits, c.S[i])
		}
		a.rows = append(a.rows, row{place: c.Pad[i], visit: len(a.visits) - 1, y: c.Y[i], sd: n.Gauge, n: 1})
	}
	return a
}

func TestVectorsPosterior(t *testing.T) {
	n, v := readVectors(t)
	var f fitter
	var worst [3]float64
	for i, c := range v.Cases {
		a := c.life(n)
		var use []int
		for k := range a.rows {
			if !slices.Contains(c.Flagged, k) {
				use = append(use, k)
			}
		}
		f.open(a)
		f.take(use)
		g := f.posterior()
		for k, d := range []float64{g.mean - c.PostMean, g.sd - c.PostSD, g.evidence - c.Evidence} {
			worst[k] = max(worst[k], math.Abs(d))
			if math.Abs(d) > 1e-3 {
				t.Errorf("case %d %s n=%d: %s off by %g", i, c.Kind, len(a.rows), []string{"mean", "sd", "log evidence"}[k], d)
			}
		}
	}
	t.Logf("largest errors: mean %.1e, sd %.1e, log evidence %.1e", worst[0], worst[1], worst[2])
}

func TestVectorsFlags(t *testing.T) {
	n, v := readVectors(t)
	var f fitter
	for i, c := range v.Cases {
		got := f.fitRobust(c.life(n))
		if !slices.Equal(got, c.Flagged) {
			t.Errorf("case %d %s %v: set aside %v, want %v", i, c.Kind, c.Y, got, c.Flagged)
		}
		if d := f.grid.mean - c.PostMean; math.Abs(d) > 1e-3 {
			t.Errorf("case %d: posterior mean off by %g after setting readings aside", i, d)
		}
	}
}

func TestVectorsSurvival(t *testing.T) {
	n, v := readVectors(t)
	var f fitter
	var p point
	var worstP, worstH float64
	for i, c := range v.Cases {
		f.fitRobust(c.life(n))
		for k, s := range c.Survival {
			p.at = s.S
			f.look(&p)
			d := p.above - s.P
			worstP = max(worstP, math.Abs(d))
			if math.Abs(d) > 0.01 {
				t.Errorf("case %d %s: P(T > %g) = %g, want %g", i, c.Kind, s.S, p.above, s.P)
			}
			for j, want := range c.MeanH[k] {
				d := p.mean[j] - want
				worstH = max(worstH, math.Abs(d))
				if math.Abs(d) > 0.01 {
					t.Errorf("case %d %s: mean of place %d at %g is %g, want %g", i, c.Kind, j, s.S, p.mean[j], want)
				}
			}
		}
	}
	t.Logf("largest errors: chance %.1e, mean %.1e mm", worstP, worstH)
}

func TestVectorsQuantiles(t *testing.T) {
	n, v := readVectors(t)
	plain := make([]float64, len(Levels))
	for i, p := range Levels {
		plain[i] = probit(p)
	}
	var f fitter
	var out crossed
	worst := 0.0
	for i, c := range v.Cases {
		f.fitRobust(c.life(n))
		f.cross(plain, &out)
		d := Dist{X: out.joint}
		for _, s := range c.Survival {
			if s.S < 1 {
				continue // beside the atom of a part bought worn out, where Levels are sparse
			}
			e := d.CDF(s.S) - (1 - s.P)
			worst = max(worst, math.Abs(e))
			if math.Abs(e) > 0.01 {
				t.Errorf("case %d %s: P(T <= %g) = %g, want %g", i, c.Kind, s.S, d.CDF(s.S), 1-s.P)
			}
		}
	}
	t.Logf("largest error of a chance %.1e", worst)
}

func BenchmarkAxle(b *testing.B) {
	n, v := readVectors(b)
	c := v.Cases[0]
	// Four places at six visits; invented values.
	c.S, c.Pad, c.Visit, c.Y = nil, nil, nil, nil
	for visit := range 6 {
		for j := range 4 {
			s := 6 * float64(visit+1)
			c.S, c.Pad, c.Visit = append(c.S, s), append(c.Pad, j), append(c.Visit, visit)
			c.Y = append(c.Y, math.Round(11-0.13*s*(1+0.05*float64(j))))
		}
	}
	zs := TailMap{Nu: 8}.levels(1.05)
	a := c.life(n)
	var f fitter
	var out crossed
	f.fitRobust(a)
	b.Run("posterior", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			f.open(a)
			f.take(f.use)
			f.posterior()
		}
	})
	b.Run("robust", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			f.fitRobust(a)
		}
	})
	b.Run("crossing", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			f.ahead.from = math.Inf(1)
			f.cross(zs, &out)
		}
		b.ReportMetric(float64(len(f.order)), "points")
	})
	b.Run("whole", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			f.fitRobust(a)
			f.cross(zs, &out)
		}
	})
}

// fitRobust fits a life to all its readings but those that are mistyped by the
// evidence, and returns the rows set aside, in order.
func (f *fitter) fitRobust(a *axleLife) (aside []int) {
	f.open(a)
	f.some = f.some[:0]
	for i := range a.rows {
		f.some = append(f.some, i)
	}
	return f.settle(f.some)
}
