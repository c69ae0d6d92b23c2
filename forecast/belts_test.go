package forecast

import (
	"encoding/csv"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The record ends at a load of 1 on a scale of the publication's own, put to
// 30,000 km. A millimetre of belt is a quarter of one of lining: readings of a
// belt scatter by more than a millimetre, those of a lining by 0.3, and two
// belts are too few for full to learn spreads from. With a millimetre left a
// millimetre (and 50,000 km) its assumed spreads are too small and its 80 %
// interval holds in 36 of 60 places; pooled, which learns them, holds in 55.
const (
	beltKm    = 30_000.0
	beltMM    = .25
	beltNew   = 10.0          // mm of lining; not published, and without effect
	beltLimit = 10.0 * beltMM // worn; no place had lost 10 mm by half of the record
	beltHalf  = .5
)

// belt is one of three conveyor belts, read at 20 places across it.
type belt struct {
	whole []*Vehicle    // with all readings
	lives []outsideLife // read until half of the record
}

// belts reads testdata/belts. Readings of one place go up and down by a
// millimetre, so the limit is taken to be reached where a rising line fitted
// to them (pool adjacent violators) reaches it. The models are judged against
// a truth that is itself uncertain by about a tenth of the record.
func belts(t *testing.T) map[string]*belt {
	t.Helper()
	f, err := os.Open("testdata/belts/wear.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	out := make(map[string]*belt)
	place := func(name string, rs []Reading) {
		of := strings.Fields(name)[0]
		if out[of] == nil {
			out[of] = new(belt)
		}
		b := out[of]
		spec := Spec{New: beltNew, Limit: beltNew - beltLimit}
		half := slices.IndexFunc(rs, func(r Reading) bool { return r.Km > beltHalf*beltKm })
		b.whole = append(b.whole, outsideUnit(name, spec, rs))
		b.lives = append(b.lives, outsideLife{
			v: outsideUnit(name, spec, rs[:half]), asOf: rs[half-1].Day,
			cross: risingCross(spec, rs), end: rs[len(rs)-1].Km,
		})
	}
	var name string
	var rs []Reading
	for _, r := range rows[1:] { // belt, days, tonnes, place, wear; by place, then time
		if n := r[0] + " " + r[3]; n != name {
			if name != "" {
				place(name, rs)
			}
			name, rs = n, nil
		}
		if number(r[1]) == 0 {
			continue // the zero of the gauge: the unit is fitted then
		}
		rs = append(rs, Reading{
			Day: Day(number(r[1])), Km: beltKm * number(r[2]), Pos: Position{Part: Lining},
			MM: beltNew - beltMM*number(r[4]),
		})
	}
	place(name, rs)
	return out
}

// risingCross returns where the isotonic fit to the wear reaches the limit.
func risingCross(spec Spec, rs []Reading) float64 {
	type block struct {
		sum, n float64
	}
	var bs []block
	for _, r := range rs {
		bs = append(bs, block{spec.Wear(r.MM), 1})
		for k := len(bs); k > 1 && bs[k-2].sum*bs[k-1].n > bs[k-1].sum*bs[k-2].n; k-- {
			bs[k-2].sum += bs[k-1].sum
			bs[k-2].n += bs[k-1].n
			bs = bs[:k-1]
		}
	}
	km, wear := 0.0, 0.0
	i := 0
	for _, b := range bs {
		for range int(b.n) {
			y := b.sum / b.n
			if y >= spec.Span() {
				return km + (rs[i].Km-km)*(spec.Span()-wear)/(y-wear)
			}
			km, wear = rs[i].Km, y
			i++
		}
	}
	return never
}

// TestBelts forecasts each belt from the first half of its record, with the
// two others, read to their end, to borrow from. The places of a belt share the
// errors of a visit, so that the scores vary more than those of 60 vehicles
// would; intervals that hold more often than they say are let pass.
func TestBelts(t *testing.T) {
	compareOutside(t, beltScores(t), true)
}

// beltScores returns how each model did on the belts, by its name.
func beltScores(t *testing.T) map[string]outsideScore {
	t.Helper()
	const later = 1000 // than any reading
	all, scores := belts(t), make(map[string]outsideScore)
	names := slices.Sorted(maps.Keys(all))
	for _, name := range names {
		var others []*Vehicle
		for _, n := range names {
			if n != name {
				others = append(others, all[n].whole...)
			}
		}
		for _, m := range []Model{Line{}, TrainTwoPoint(slices.Values(others), later), train(t, others, later), fullOf(t, others, later)} {
			s := scores[m.Name()]
			s.add(scoreOutside(t, m, all[name].lives))
			scores[m.Name()] = s
		}
	}
	return scores
}
