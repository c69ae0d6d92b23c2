package forecast

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// One car's odometer in miles, every second week of two years, by days since
// 1970-01-01: a quarter of the fill-ups in Pena and Slate (2006), Global
// validation of linear model assumptions, JASA 101(473), 341-354.
var carMiles = []Odometer{
	{9789, 392}, {9805, 2218}, {9820, 3769}, {9835, 5139}, {9850, 6600}, {9868, 7505}, {9883, 8869},
	{9897, 10437}, {9913, 11989}, {9927, 13535}, {9947, 15418}, {9962, 16947}, {9977, 18480}, {9996, 20452},
	{10022, 20769}, {10036, 21957}, {10052, 23535}, {10066, 24667}, {10088, 25014}, {10105, 26523}, {10119, 28075},
	{10135, 29998}, {10150, 31520}, {10168, 33397}, {10183, 35295}, {10197, 36767}, {10211, 38222}, {10231, 39288},
	{10246, 40775}, {10262, 42650}, {10277, 44522}, {10291, 46005}, {10306, 47454}, {10320, 49373}, {10336, 50990},
	{10352, 52939}, {10366, 54473}, {10380, 56727}, {10396, 58300}, {10411, 59859}, {10426, 60979}, {10455, 62021},
	{10471, 63564}, {10488, 65038}, {10503, 66585}, {10517, 68084}, {10532, 69633}, {10548, 71480}, {10563, 73050},
	{10580, 75007}, {10599, 75564}, {10616, 76972}, {10618, 77354},
}

func carKm() []Odometer {
	rs := slices.Clone(carMiles)
	for i := range rs {
		rs[i].Km *= kmPerMile
	}
	return rs
}

// Expected values: Brownian motion with drift over all 205 fill-ups of the same
// car, computed in R 4.2.2. The drift needs the first and the last reading only.
func TestDriftOfOneCar(t *testing.T) {
	d, _ := driftOf(CleanOdometer(carKm()))
	if got, want := d.rate, 149.406915474065; math.Abs(got/want-1) > 1e-12 {
		t.Errorf("drift = %.12f km/day, want %.12f", got, want)
	}
	d.rate, d.sigma2 = 92.8371531966224, 7940.18168392912 // miles, R
	for _, tt := range []struct{ days, mean, se float64 }{
		{30, 80139.1145958987 - 77354, 496.815531045115},
		{90, 85709.343787696 - 77354, 890.055247656861},
		{180, 94064.687575392 - 77354, 1318.92405862461},
	} {
		mu, sd := d.logKm(0, 0, tt.days)
		mean := math.Exp(mu + sd*sd/2)
		se := mean * math.Sqrt(math.Expm1(sd*sd))
		if math.Abs(mean/tt.mean-1) > 1e-10 || math.Abs(se/tt.se-1) > 1e-10 {
			t.Errorf("%g days: mean %.6f, se %.6f; want %.6f, %.6f", tt.days, mean, se, tt.mean, tt.se)
		}
	}
}

// sigma2 worked by hand: increments 100 and 500 in 10 and 20 days, rate 20:
// (100-200)²/10 + (500-400)²/20 = 1500, over 2-1.
func TestDriftByHand(t *testing.T) {
	d, k := driftOf(CleanOdometer([]Odometer{{100, 1000}, {110, 1100}, {130, 1600}}))
	if k != 2 || d.rate != 20 || math.Abs(d.sigma2-1500) > 1e-9 || d.span != 30 {
		t.Errorf("drift = %+v from %d, want 20, 1500, 30 from 2", d, k)
	}
}

// holds forecasts from every origin and returns the shares of outcomes inside
// the 80 and 95 % intervals, and the number of forecasts.
func holds(rs []Odometer, ahead Day, forecast func(Track, Day) Usage) (c80, c95 float64, n int) {
	all := CleanOdometer(rs)
	for i := 6; i < len(rs); i++ {
		end := rs[i].Day + ahead
		if end > all.Last.Day {
			break
		}
		u := forecast(CleanOdometer(rs[:i+1]), rs[i].Day)
		mu, sd := u.LogKm(float64(ahead))
		z := math.Abs(math.Log(all.Km(end)-all.Km(rs[i].Day))-mu) / sd
		if z < distuv.UnitNormal.Quantile(.9) {
			c80++
		}
		if z < distuv.UnitNormal.Quantile(.975) {
			c95++
		}
		n++
	}
	return c80 / float64(n), c95 / float64(n), n
}

// The forecasts of one car overlap, so a share of 80 % has a standard error of
// some ten points: the bounds are wide on purpose. Brownian motion takes months
// for independent and is held to less.
func TestUsageOfOneCar(t *testing.T) {
	m := DefaultUsage()
	for name, forecast := range map[string]func(Track, Day) Usage{
		"simple": SimpleUsage,
		"model":  func(t Track, d Day) Usage { return m.Forecast(t, "M1", d) },
	} {
		for _, ahead := range []Day{30, 90, 180} {
			c80, c95, n := holds(carKm(), ahead, forecast)
			t.Logf("%s, %d days ahead: 80 %% interval holds %.0f %%, 95 %% %.0f %% of %d", name, ahead, 100*c80, 100*c95, n)
			if name == "model" && (c80 < .65 || c95 < .85) || c80 < .4 {
				t.Errorf("%s, %d days ahead: coverage %.2f, %.2f is too low", name, ahead, c80, c95)
			}
		}
	}
}

// The recursion against the dense Gaussian process it stands for, solved with
// gonum's Cholesky: cov of block means = vv + OU averaged + noise.
func TestFilterIsExact(t *testing.T) {
	c := ClassUsage{LogKmPerDay: 4, VehicleSD: .5, OUSD: .3, OUDays: 70, BlockSD: .15, Weekday: [7]float64{1, 1, 1, 1, 1, 1, 1}}
	blocks := []block{{from: 100, days: 30, km: 1500}, {from: 130, days: 45, km: 3000}, {from: 175, days: 31, km: 1400},
		{from: 206, days: 200, km: 9000}, {from: 406, days: 30, km: 2500}}
	c.weigh(blocks, c.standing())
	const a, b = 20., 110. // days after the last reading, day 436
	ends := [][2]float64{{100, 130}, {130, 175}, {175, 206}, {206, 406}, {406, 436}, {436 + a, 436 + b}}
	n := len(blocks)
	// Mean of the OU covariance over two intervals, by a fine double sum.
	mean := func(p, q [2]float64) float64 {
		const cuts = 300
		var sum float64
		for i := range cuts {
			x := p[0] + (p[1]-p[0])*(float64(i)+.5)/cuts
			for j := range cuts {
				y := q[0] + (q[1]-q[0])*(float64(j)+.5)/cuts
				sum += math.Exp(-math.Abs(x-y) / c.OUDays)
			}
		}
		return c.OUSD * c.OUSD * sum / (cuts * cuts)
	}
	cov := mat.NewSymDense(n, nil)
	cross, y := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v := c.VehicleSD*c.VehicleSD + mean(ends[i], ends[j])
			if i == j {
				v += c.BlockSD * c.BlockSD * 30 / blocks[i].days
			}
			cov.SetSym(i, j, v)
		}
		cross.SetVec(i, c.VehicleSD*c.VehicleSD+mean(ends[i], ends[n]))
		y.SetVec(i, c.logRate(blocks[i]))
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		t.Fatal("covariance is not positive definite")
	}
	var ay, ac mat.VecDense
	if chol.SolveVecTo(&ay, y) != nil || chol.SolveVecTo(&ac, cross) != nil {
		t.Fatal("cannot solve")
	}
	wantMu := c.LogKmPerDay + mat.Dot(cross, &ay) + math.Log(b-a)
	wantVar := c.VehicleSD*c.VehicleSD + mean(ends[n], ends[n]) + c.BlockSD*c.BlockSD*30/(b-a) - mat.Dot(cross, &ac)
	wantLik := -.5 * (mat.Dot(y, &ay) + chol.LogDet())

	f := c.filter(blocks)
	mu, sd := (&ouLaw{c, f, c.seasonIntegral(436)}).logKm(436, a, b)
	if math.Abs(mu-wantMu) > 1e-5 || math.Abs(sd-math.Sqrt(wantVar)) > 1e-5 {
		t.Errorf("mu, sd = %.7f, %.7f; want %.7f, %.7f", mu, sd, wantMu, math.Sqrt(wantVar))
	}
	if math.Abs(f.logLik-wantLik) > 1e-3 {
		t.Errorf("log likelihood = %.6f, want %.6f", f.logLik, wantLik)
	}
}

// inventDriver makes up the daily distances of a vehicle by the model's own law
// with a season and free Sundays. Invented numbers.
func inventDriver(rng *rand.Rand, mean float64, first Day, days int) []float64 {
	level := math.Log(mean) + .3*rng.NormFloat64()
	x, a := .25*rng.NormFloat64(), math.Exp(-1./100)
	total := []float64{rng.Float64() * 1e5}
	for i := range days {
		x = a*x + .25*math.Sqrt(1-a*a)*rng.NormFloat64()
		d := int(first) + i
		season := 1 + .15*math.Cos(2*math.Pi*float64(d)/365.25)
		work := [7]float64{.1, 1.15, 1.15, 1.15, 1.15, 1.15, 1.15}[weekday(d)]
		daily := math.Exp(.66*rng.NormFloat64() - .22)
		total = append(total, total[i]+math.Exp(level+x)*season*work*daily)
	}
	return total
}

func TestUsageLearned(t *testing.T) {
	const first, days = Day(18000), 1100
	rng := rand.New(rand.NewPCG(5, 6))
	type kept struct {
		class string
		total []float64
		read  []Odometer
	}
	var fleet []kept
	var vehicles []*Vehicle
	for i := range 400 {
		class, mean := "M1", 50.
		if i%2 == 1 {
			class, mean = "N3", 300
		}
		total := inventDriver(rng, mean, first, days)
		var read []Odometer
		for d := rng.IntN(20); d < 735; {
			read = append(read, Odometer{first + Day(d), total[d]})
			if i%20 < 2 { // a daily feed
				d++
			} else {
				d += 1 + rng.IntN(35)
			}
		}
		fleet = append(fleet, kept{class, total, read})
		vehicles = append(vehicles, &Vehicle{ID: string(rune('A'+i%26)) + string(rune('a'+i/26)), Class: class, Odometer: read})
	}
	m := usageLearned(vehicles, first+735)
	for class, mean := range map[string]float64{"M1": 50, "N3": 300} {
		c := m.Classes[class]
		t.Logf("%s: %.1f km/day, vehicle %.3f, OU %.3f over %.0f days, block %.3f, season %.3f, Sunday %.2f, %d vehicles",
			class, math.Exp(c.LogKmPerDay), c.VehicleSD, c.OUSD, c.OUDays, c.BlockSD, c.Season[0], c.Weekday[0], c.Vehicles)
		for _, x := range []struct {
			name           string
			got, want, tol float64
		}{
			{"log km/day", c.LogKmPerDay, math.Log(mean), .1},
			{"vehicle sd", c.VehicleSD, .3, .06},
			{"OU sd", c.OUSD, .25, .06},
			{"season", c.Season[0][0], .15, .03},
			{"season, sine", c.Season[0][1], 0, .03},
			{"Sunday", c.Weekday[0], .1, .25},
		} {
			if math.Abs(x.got-x.want) > x.tol {
				t.Errorf("%s: %s = %.3f, want %.3f +- %.3f", class, x.name, x.got, x.want, x.tol)
			}
		}
	}
	for _, ahead := range []int{30, 90, 180, 360} {
		var c80, c95, n float64
		for _, k := range fleet {
			u := m.Forecast(CleanOdometer(k.read), k.class, first+735)
			mu, sd := u.LogKm(float64(ahead))
			z := math.Abs(math.Log(k.total[735+ahead]-k.total[735])-mu) / sd
			n++
			if z < distuv.UnitNormal.Quantile(.9) {
				c80++
			}
			if z < distuv.UnitNormal.Quantile(.975) {
				c95++
			}
		}
		t.Logf("%d days ahead: 80 %% interval holds %.1f %%, 95 %% %.1f %%", ahead, 100*c80/n, 100*c95/n)
		// Standard errors 2 and 1.1 points.
		if math.Abs(c80/n-.8) > .07 || math.Abs(c95/n-.95) > .04 {
			t.Errorf("%d days ahead: coverage %.3f, %.3f", ahead, c80/n, c95/n)
		}
	}

	// Order of vehicles, JSON.
	slices.Reverse(vehicles)
	again := usageLearned(vehicles, first+735)
	for class, c := range m.Classes {
		if d := math.Abs(again.Classes[class].OUSD - c.OUSD); d > 1e-6 {
			t.Errorf("%s: order of vehicles moves the OU sd by %g", class, d)
		}
	}
	text, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	var back UsageModel
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if back.Classes["N3"] != m.Classes["N3"] || back.Other != m.Other {
		t.Error("JSON does not bring the model back")
	}
}

// A mean so far above all vehicles that every month next to it counts as standing
// still must not explain them: all months would agree perfectly.
func TestUsageMeanFarAbove(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var s usageSums
	for i := range 60 {
		total := inventDriver(rng, 60*float64(1+i%5), 18000, 800)
		var read []Odometer
		for d := 0; d < 800; d += 30 {
			read = append(read, Odometer{18000 + Day(d), total[d]})
		}
		tr := CleanOdometer(read)
		s.add(&tr, tr.blocks(nil), fmt.Sprint(i))
	}
	base := DefaultUsage()
	c := s.fit(base.Classes["N3"])
	far := c
	far.LogKmPerDay, far.VehicleSD = c.LogKmPerDay+5, 20
	far.OUSD, far.BlockSD = c.OUSD/2, c.BlockSD/2
	var fit, away float64
	for _, x := range s.sample {
		fit += c.filter(x.blocks).logLik
		away += far.filter(x.blocks).logLik
	}
	if mean := math.Exp(c.LogKmPerDay); mean < 60 || mean > 300 || !(away < fit) {
		t.Errorf("mean %.0f km/day, want 60 to 300; log likelihood %.0f, with a mean 150 times as high %.0f", mean, fit, away)
	}
}

// A year laid up says nothing of how a vehicle is driven now: an invented one that
// drives 50 km a day but for a year.
func TestUsageAfterAYearLaidUp(t *testing.T) {
	m := DefaultUsage()
	for _, tt := range []struct {
		name      string
		days      int // since it was driven again
		low, high float64
	}{
		{"stands still", 0, 2, 20},
		{"driven for two months", 60, 40, 60},
		{"driven for ten months", 300, 45, 55},
	} {
		var rs []Odometer
		for d := 0; d <= 660+tt.days; d += 30 {
			driven := min(d, 300) + max(0, d-660)
			rs = append(rs, Odometer{Day(20000 + d), 50 * float64(driven)})
		}
		u := m.Forecast(CleanOdometer(rs), "M1", Day(20660+tt.days))
		if rate := u.KmPerDay(); rate < tt.low || rate > tt.high {
			t.Errorf("%s: %.1f km/day, want %g to %g", tt.name, rate, tt.low, tt.high)
		}
	}
}

func TestUsageOfLittle(t *testing.T) {
	m := DefaultUsage()
	for _, tt := range []struct {
		name      string
		rs        []Odometer
		intervals int
		low, high float64 // km/day
	}{
		{"one reading", []Odometer{{20000, 5000}}, 0, 30, 60},
		{"two days apart", []Odometer{{20000, 5000}, {20002, 5400}}, 0, 30, 60},
		{"two in three months", []Odometer{{20000, 5000}, {20090, 14000}}, 1, 70, 100},
		{"on one day", []Odometer{{20000, 5000}, {20000, 5100}}, 0, 30, 60},
		{"standing", monthly(20000, 500, 500, 500, 500, 500, 500, 500), 6, .001, 8},
	} {
		u := m.Forecast(CleanOdometer(tt.rs), "M1", 20200)
		rate := u.KmPerDay()
		if u.Intervals != tt.intervals || rate < tt.low || rate > tt.high || !(u.NowKm >= tt.rs[len(tt.rs)-1].Km) {
			t.Errorf("%s: %d intervals, %.2f km/day, now %.0f km; want %d, between %g and %g",
				tt.name, u.Intervals, rate, u.NowKm, tt.intervals, tt.low, tt.high)
		}
		if s := SimpleUsage(CleanOdometer(tt.rs), 20200); !(s.KmPerDay() > 0) || !s.Known() {
			t.Errorf("%s: simple usage %g km/day", tt.name, s.KmPerDay())
		}
	}
	u := m.Forecast(Track{}, "M1", 20200)
	if u.Known() || !math.IsNaN(u.NowKm) || !math.IsNaN(u.KmPerDay()) {
		t.Error("without an odometer usage must be unknown")
	}
	var empty UsageModel
	if u := empty.Forecast(CleanOdometer(carKm()), "?", 10618); math.Abs(u.KmPerDay()/149-1) > .2 {
		t.Errorf("the empty model gives %.0f km/day for a car that drives 149", u.KmPerDay())
	}
}

func BenchmarkUsageForecast(b *testing.B) {
	tr := CleanOdometer(carKm())
	m := DefaultUsage()
	c := m.Classes["M1"]
	c.Season[0] = [2]float64{.1, .05}
	m.Classes["M1"] = c
	b.Run("model", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			m.Forecast(tr, "M1", 10630)
		}
	})
	b.Run("simple", func(b *testing.B) {
		for b.Loop() {
			SimpleUsage(tr, 10630)
		}
	})
	u := m.Forecast(tr, "M1", 10630)
	km := normalDist(tr.Last.Km+20000, 4000)
	b.Run("days", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			u.Days(km)
		}
	})
}

// usageLearned is what the odometers of a fleet teach up to asOf.
func usageLearned(vs []*Vehicle, asOf Day) UsageModel {
	sums := make(usageHeard)
	for _, v := range vs {
		sums.add(v, asOf)
	}
	return sums.fit()
}
