package demo

import (
	"math"
	"testing"

	"brakewear/internal/fleet"
)

// seeds of the fleets that the tests of the world look at.
var seeds = []uint64{11, 12}

// TestGroupMeans wants the medians of the groups and the spreads below them to
// make the class means of the method file.
func TestGroupMeans(t *testing.T) {
	const fleets = 3000
	// The effects of two models and a depot, .14 together, leave .3 %.
	const tolerance = .01
	below := math.Exp((vehicleVar + axleSD*axleSD + setSD*setSD) / 2)
	for c := range classes {
		k := &classes[c]
		var sum, weight [2]float64
		for seed := range uint64(fleets) {
			w := newWorld(Options{Seed: seed, Until: until})
			d := w.depot(0, 0)
			for m := range k.models {
				for duty := range k.duties {
					share := k.models[m].share * k.duties[duty].share
					for place := range 2 {
						if place == 0 || !k.models[m].rearDrum {
							sum[place] += share * w.groupRate(c, place+1, duty, m, d)
							weight[place] += share
						}
					}
				}
			}
		}
		for place := range 2 {
			got := sum[place] / weight[place] * below * 10000
			if math.Abs(got/k.wear[place]-1) > tolerance {
				t.Errorf("%s axle %d: got %.3f mm/10,000 km, want %.2f", k.name, place+1, got, k.wear[place])
			}
		}
	}
}

// tally is what fleets show of one class.
type tally struct {
	km, days float64
	sets     float64
	ratio    float64 // sum of the first pads' rate over their group's
	log      float64 // of its log
	logs     float64 // of its log's square
	taken    float64 // lives removed
	late     float64 // of them, past the limit
	used     float64 // sum of the share of the way to the limit at removal
}

func (c *tally) add(v *Vehicle) {
	d := v.Truth.Distance
	c.km += d[len(d)-1].Km - d[0].Km
	c.days += float64(d[len(d)-1].Date - d[0].Date)
	for i := range v.Truth.Lives {
		l := &v.Truth.Lives[i]
		if l.Part == fleet.Rotor || l.Part == fleet.Drum {
			continue
		}
		// The first pads of a new vehicle: what is on others, and what follows,
		// is picked by how fast it wears.
		if v.Truth.Origin == brandNew && l.Number == 1 && l.Part == fleet.Pad {
			x := math.Log(l.Rate / l.GroupRate)
			c.sets++
			c.ratio += l.Rate / l.GroupRate
			c.log += x
			c.logs += x * x
		}
		if l.Removed.Known && l.Crossing.Known {
			c.taken++
			c.used += (l.Removed.Km - l.Fitted.Km) / (l.Crossing.Km - l.Fitted.Km)
			if l.Crossing.Date < l.Removed.Date {
				c.late++
			}
		}
	}
}

// TestClasses looks at what comes out of the classes: wear against the group's,
// distance, and how the workshop changes parts.
func TestClasses(t *testing.T) {
	got := map[string]*tally{}
	for _, seed := range seeds {
		for v := range Generate(Options{Vehicles: 1500, Seed: seed, Until: until}) {
			if got[v.Truth.Class] == nil {
				got[v.Truth.Class] = new(tally)
			}
			got[v.Truth.Class].add(v)
		}
	}
	// Vehicle .28, axle .10 and set .14 make .33, regimes and seizing a little
	// more; the mean of the ratio lies half the square of it above 1, and wear
	// that speeds up and calipers that seize add a twentieth.
	wantRatio, wantSD := math.Exp(.33*.33/2)*1.05, .36
	for i := range classes {
		k := &classes[i]
		c := got[k.name]
		ratio, mean := c.ratio/c.sets, c.log/c.sets
		sd := math.Sqrt(c.logs/c.sets - mean*mean)
		if math.Abs(ratio/wantRatio-1) > .12 || math.Abs(sd-wantSD) > .08 {
			t.Errorf("%s: wear over the group's median: got %.3f, sd of log %.3f from %.0f sets; want %.3f, %.2f", k.name, ratio, sd, c.sets, wantRatio, wantSD)
		}
		// Between vehicles use differs by .3 of its log, between their years by
		// about as much: 5 % at 350 vehicles is three standard errors.
		if km := c.km / c.days; math.Abs(km/k.kmPerDay-1) > .06 {
			t.Errorf("%s: got %.1f km/day, want %.1f", k.name, km, k.kmPerDay)
		}
		// Crossings are mostly not seen (method, pitfall 1).
		late, used := c.late/c.taken, c.used/c.taken
		if late < .02 || late > .25 || used < .6 || used > .95 {
			t.Errorf("%s: %.2f of the parts changed late, %.2f of the way: want few and most", k.name, late, used)
		}
		t.Logf("%s: rate over group's median %.3f, sd of log %.3f, changed late %.2f, used %.2f of the way", k.name, ratio, sd, late, used)
	}
}

// TestShares compares how often things go wrong with what was asked for.
func TestShares(t *testing.T) {
	want := DefaultShares()
	var n, hit struct {
		typos, swaps, changes, used, odometer, years, axleYears, depots, fuel float64
	}
	depots := map[string]bool{} // depot: reads inner pads
	for _, seed := range seeds {
		clear(depots)
		for v := range Generate(Options{Vehicles: 1500, Seed: seed, Until: until}) {
			n.used++
			if v.Truth.Origin == bought {
				hit.used++
			}
			n.years += float64(until-v.Truth.Entry) / yearDays
			n.typos += float64(len(v.Readings))
			// A side swap exchanges all readings of an axle on one day.
			type visit struct {
				day  fleet.Date
				axle int
			}
			visits, swapped := map[visit]bool{}, map[visit]bool{}
			for _, r := range v.Readings {
				depots[v.Depot] = depots[v.Depot] || r.Position.Face == fleet.Inner && !r.Tripped
				if r.Position.Part == fleet.Pad || r.Position.Part == fleet.Lining {
					visits[visit{r.Date, r.Position.Axle}] = true
				}
			}
			for _, x := range v.Truth.Typos {
				if x.Kind == "side swap" {
					swapped[visit{x.Date, x.Position.Axle}] = true
				} else {
					hit.typos++
				}
			}
			n.swaps += float64(len(visits))
			hit.swaps += float64(len(swapped))
			n.odometer += float64(len(v.Odometer)+len(v.Fitments)) + visitsWithOdometer(v)
			for _, x := range v.Truth.OdometerFaults {
				if x.Kind == clusterSwap {
					hit.years++
				} else {
					hit.odometer++
				}
			}
			for i := range v.Truth.Lives {
				l := &v.Truth.Lives[i]
				if l.Part != fleet.Pad {
					continue
				}
				if l.Number > 1 {
					n.changes++
					if !l.Declared {
						hit.changes++
					}
				}
				end := l.Crossing.Date
				if l.Drag.Known {
					hit.axleYears++
					end = l.Drag.Date
				}
				if l.Crossing.Known {
					n.axleYears += float64(end-l.Fitted.Date) / yearDays
				}
			}
			if len(v.Odometer) > 0 && float64(len(v.Odometer)) > float64(until-v.Truth.Entry)/fuelDays/2 {
				hit.fuel++
			}
			n.fuel++
		}
		for _, inner := range depots {
			n.depots++
			if !inner {
				hit.depots++
			}
		}
	}
	// Tolerances are three standard errors of a share, and a little more where
	// events come in runs.
	for _, c := range []struct {
		name              string
		hit, n, want, tol float64
	}{
		{"typos", hit.typos, n.typos, want.Typos, .002},
		{"side swaps", hit.swaps, n.swaps, want.SideSwaps, .002},
		{"undeclared changes", hit.changes, n.changes, want.Undeclared, .02},
		{"bought used", hit.used, n.used, want.BoughtUsed, .02},
		{"odometer typos", hit.odometer, n.odometer, want.OdometerTypos, .002},
		{"cluster swaps per year", hit.years, n.years, want.ClusterSwaps, .005},
		{"seized calipers per axle and year", hit.axleYears, n.axleYears, want.Drag, .004},
		{"depots that read outer pads only", hit.depots, n.depots, want.OuterOnly, 1e-9},
		{"fuel cards", hit.fuel, n.fuel, want.FuelCards, .03},
	} {
		if got := c.hit / c.n; math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: got %.4f of %.0f, want %.4f +- %.4f", c.name, got, c.n, c.want, c.tol)
		}
	}
}

// visitsWithOdometer counts the days on which a reading has an odometer value.
func visitsWithOdometer(v *Vehicle) float64 {
	days := map[fleet.Date]bool{}
	for _, r := range v.Readings {
		if r.OdometerKm != nil {
			days[r.Date] = true
		}
	}
	return float64(len(days))
}

func TestGauges(t *testing.T) {
	for _, g := range append(gauges, micrometer, drumGauge) {
		r := stream(1, streamPen)
		const n = 200000
		sum, square := 0.0, 0.0
		for range n {
			// Anywhere between the marks, as thicknesses lie.
			mm := uniform(r, 5, 15)
			e := g.read(r, mm) - mm
			sum += e
			square += e * e
		}
		mean := sum / n
		sd := math.Sqrt(square/n - mean*mean)
		want := 0.0
		if g.floor {
			want = -g.step / 2
		}
		if math.Abs(mean-want) > .01 || math.Abs(sd/g.sd-1) > .02 {
			t.Errorf("%s: got error %.3f, sd %.3f mm, want %.3f, %.3f", g.name, mean, sd, want, g.sd)
		}
	}
}

func TestMistype(t *testing.T) {
	r := stream(1, streamPen)
	kinds := map[string]int{}
	for range 3000 {
		for _, c := range []struct {
			value    float64
			decimals int
			most     float64
		}{{7.5, 1, 200}, {12, 0, 200}, {0, 1, 200}, {228.6, 1, 1000}, {23.47, 2, 240}, {123456, 0, 1e7}, {0, 0, 1e7}} {
			got, kind := mistype(r, c.value, c.decimals, c.most)
			kinds[kind]++
			if kind == "" {
				continue
			}
			if got == c.value || got < 0 || got > c.most {
				t.Errorf("%g with %d decimals: got %g (%s)", c.value, c.decimals, got, kind)
			}
		}
	}
	for _, kind := range []string{"digit", "transposition", "factor ten"} {
		if kinds[kind] < 3000 {
			t.Errorf("got %d times %q in %v", kinds[kind], kind, kinds)
		}
	}
}
