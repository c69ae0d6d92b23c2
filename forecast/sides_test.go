package forecast

import (
	"math"
	"math/rand/v2"
	"testing"
)

// sided is an axle whose four pads were fitted at 12 mm on day 0 at 0 km and
// read every 90 days and 9,000 km, n times: the right side wears 1 mm per
// 9,000 km, the left ratio times that. Invented.
func sided(ratio float64, n int, gauge float64, rng *rand.Rand) (*Axle, Track) {
	a := &Axle{
		Number:   1,
		Specs:    map[Part]Spec{Pad: {New: 12, Limit: 2}},
		Fitments: []Fitment{{Day: 0, Km: 0, Pos: Position{Part: Pad}, MM: 12}},
	}
	odo := []Odometer{{0, 0}}
	for k := 1; k <= n; k++ {
		day, km := Day(90*k), 9000*float64(k)
		odo = append(odo, Odometer{day, km})
		for _, side := range []string{"left", "right"} {
			for _, face := range []string{"inner", "outer"} {
				wear := float64(k)
				if side == "left" {
					wear *= ratio
				}
				a.Readings = append(a.Readings, Reading{
					Day: day, Km: km, Pos: Position{Pad, side, face}, MM: 12 - wear + gauge*rng.NormFloat64(),
				})
			}
		}
	}
	return a, CleanOdometer(odo)
}

func TestSidePaces(t *testing.T) {
	for _, c := range []struct {
		name   string
		ratio  float64
		visits int
		faster string // "" = nothing to say
	}{
		{"alike", 1, 4, ""},
		{"a little apart", 1.15, 4, ""}, // as two sound sides may be
		{"twice as fast", 2, 4, "left"},
		{"a lazy side", 0.4, 4, "right"},
		{"one visit, both faces", 3.5, 1, "left"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, track := sided(c.ratio, c.visits, 0, rand.New(rand.NewPCG(1, 2)))
			got := SidePaces(Line{}, a, track, &AxleForecast{AsOf: Day(90 * c.visits)})
			if c.faster == "" {
				if len(got) != 0 {
					t.Errorf("got %+v, want nothing", got)
				}
				return
			}
			if len(got) != 1 || got[0].Faster != c.faster || got[0].Visits != c.visits {
				t.Fatalf("got %+v, want %s", got, c.faster)
			}
			want := max(c.ratio, 1/c.ratio)
			if math.Abs(got[0].Ratio-want) > 0.02*want {
				t.Errorf("got ratio %.3f, want %.3f as the data were made", got[0].Ratio, want)
			}
			if ahead := math.Abs(c.ratio-1) * float64(c.visits); math.Abs(got[0].Ahead-ahead) > 1e-9 {
				t.Errorf("got %.3f mm ahead, want %.3f", got[0].Ahead, ahead)
			}
		})
	}
}

// Sound sides are called uneven no more often than the test says, and sides
// that differ by half nearly always; by simulation with the model's own
// spreads, 4,000 axles each. The bounds are five standard errors wide.
func TestSidePacesErrorRates(t *testing.T) {
	n := defaultNoise(Pad)
	rng := rand.New(rand.NewPCG(3, 4))
	const axles = 4000
	called := func(ratio float64) (share float64) {
		for range axles {
			// One side's wear against the other's, as the spreads have it: the
			// sides' own and the places', two of which are averaged.
			usual := math.Exp(math.Sqrt(2*n.Side*n.Side+n.Place*n.Place) * rng.NormFloat64())
			a, track := sided(ratio*usual, 5, n.Gauge, rng)
			if len(SidePaces(Line{}, a, track, &AxleForecast{AsOf: 450})) > 0 {
				share += 1.0 / axles
			}
		}
		return share
	}
	if got := called(1); got > sideP+5*math.Sqrt(sideP/axles) {
		t.Errorf("sound sides: %.4f called uneven, want about %.4f", got, sideP)
	}
	if got := called(2); got < 0.9 {
		t.Errorf("one side twice as fast: %.3f called uneven, want 0.9 or more", got)
	}
}

func TestSidePacesLeaveOut(t *testing.T) {
	// The left readings of the last visit were mistyped and set aside: without
	// them the sides are alike.
	a, track := sided(1, 3, 0, rand.New(rand.NewPCG(1, 2)))
	f := &AxleForecast{AsOf: 270}
	for i := range a.Readings {
		if r := &a.Readings[i]; r.Day == 270 && r.Pos.Side == "left" {
			r.MM = 2
			f.Basis.SetAside = append(f.Basis.SetAside, SetAside{Reading: *r})
		}
	}
	if got := SidePaces(Line{}, a, track, f); len(got) != 0 {
		t.Errorf("got %+v of readings set aside", got)
	}
	if got := SidePaces(Line{}, a, track, &AxleForecast{AsOf: 270}); len(got) != 1 {
		t.Errorf("got %+v with them, want one side", got)
	}
	// What was read before a change that nobody recorded is of other parts.
	f = &AxleForecast{AsOf: 270, Basis: Basis{Changes: []Change{{Part: Pad, After: 180, Before: 270}}}}
	if got := SidePaces(Line{}, a, track, f); len(got) != 0 {
		t.Errorf("got %+v of one visit whose beginning nobody saw", got)
	}
}
