package dashboard

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/forecast"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
)

// LearnedPage shows what the forecast has learned from the fleet, and how well
// founded it is.
type LearnedPage struct {
	Shell
	When    string   // of the last time
	Ended   []string // how that fit ended, a sentence each
	Groups  []LearnedGroup
	Effects []LearnedEffects
	Gauges  []LearnedGauge
	Spreads []LearnedSpread
	History []LearnedOnce
	Own     bool // names of the reader's own vehicles and depots only
	Empty   *Empty
}

// LearnedGroup is the usual wear rate of a part of a kind of axle.
type LearnedGroup struct {
	Class, Part string
	Axle        string
	Rate        string // in units.Reader.WearUnit
	Low, High   string // 80 % interval of vehicles not yet measured
	Lives       int
	Thin        string // what was borrowed; blank when nothing was
}

// LearnedEffects is one family of differences from the usual rate.
type LearnedEffects struct {
	Family string
	Rows   []LearnedEffect
}

// LearnedEffect is how much faster or slower something wears.
type LearnedEffect struct {
	Name, Size, Give string // in %
	Lives            int
}

// LearnedGauge is how a depot reads.
type LearnedGauge struct {
	Depot, Bias, SD string // in the reader's unit of thickness
	Readings        int
}

// LearnedSpread is a standard deviation in words.
type LearnedSpread struct{ What, Size string }

// LearnedOnce is one line of the history.
type LearnedOnce struct {
	When, AsOf      string
	Vehicles, Lives int
	Ended           string
	BetweenVehicles string
}

// learnedHistory is how many earlier fits are shown: a month of nights.
const learnedHistory = 30

func (d *Dashboard) learned(c *gin.Context) error {
	tell := reader(c)
	all, err := d.svc.Learned(c.Request.Context(), d.scope(c), learnedHistory)
	if err != nil {
		return err
	}
	p := LearnedPage{Shell: Shell{Title: "What the fleet has taught", Place: "record", Cautions: true}}
	if len(all) == 0 {
		p.Empty = &Empty{Title: "Nothing learned yet", Text: "The forecast learns every night, and when readings come in.", Steps: true}
		return d.send(c, http.StatusOK, "learned", p)
	}
	last := &all[0]
	p.When = tell.At(last.At)
	p.Own = !d.scope(c).All()
	p.Ended = endings(last.Params.Training)
	p.Groups = learnedGroups(tell, &last.Params)
	p.Effects = learnedEffects(&last.Params.Rates)
	for _, depot := range slices.Sorted(maps.Keys(last.Params.Depots)) {
		g := last.Params.Depots[depot]
		row := LearnedGauge{Depot: depot, Bias: signed2(tell, g.Bias), SD: "–", Readings: g.Readings}
		if g.SD > 0 {
			row.SD = tell.Fine(linings, g.SD)
		}
		p.Gauges = append(p.Gauges, row)
	}
	p.Spreads = learnedSpreads(tell, &last.Params)
	for i := range all {
		p.History = append(p.History, learnedOnce(tell, &all[i]))
	}
	return d.send(c, http.StatusOK, "learned", p)
}

// endings says how a fit ended and what it rests on.
func endings(t *forecast.Training) []string {
	if t == nil {
		return []string{"Nothing was learned: all values are defaults."}
	}
	var s []string
	if t.Default {
		s = append(s, fmt.Sprintf("%s measured often enough to learn from: too few, so wear rates come from planning bands and spreads are defaults. Forecasts are wide until there are more.",
			plural(t.Vehicles, "vehicle", "vehicles")))
	} else {
		s = append(s, fmt.Sprintf("Learned from %s of %s.", plural(t.Lives, "set of parts", "sets of parts"), plural(t.Vehicles, "vehicle", "vehicles")),
			"Wear rates: "+ended(t.Rates)+".")
		if t.SpreadLives > 0 {
			s = append(s, fmt.Sprintf("Spreads of readings: %s, on %s.", ended(t.Spreads), plural(t.SpreadLives, "set of parts", "sets of parts")))
		}
	}
	if t.Strange > 0 {
		s = append(s, fmt.Sprintf("%s far worse than most and counted for less.", plural(t.Strange, "set fits", "sets fit")))
	}
	for _, n := range t.Notes {
		s = append(s, capital(n))
	}
	return s
}

func ended(c forecast.Convergence) string {
	if c.Converged {
		return "settled after " + plural(c.Iterations, "round", "rounds")
	}
	return fmt.Sprintf("stopped after %s, the last of which still moved a spread by %s", plural(c.Iterations, "round", "rounds"), percent(c.LastStep))
}

// z90 is the 90 % point of the normal distribution.
const z90 = 1.2816

func learnedGroups(tell units.Reader, p *forecast.Params) []LearnedGroup {
	var out []LearnedGroup
	for _, key := range slices.Sorted(maps.Keys(p.Rates.Groups)) {
		g := p.Rates.Groups[key]
		names := strings.SplitN(key, "|", 3)
		if len(names) != 3 {
			continue
		}
		r := &p.Rates
		sd := math.Sqrt(g.Var + r.Vehicle*r.Vehicle + r.Axle*r.Axle + r.Set*r.Set)
		row := LearnedGroup{
			Class: cmp.Or(names[0], "no class given"), Axle: names[1], Part: names[2],
			Rate: rate10(tell, names[2], g.Mean), Low: rate10(tell, names[2], g.Mean-z90*sd), High: rate10(tell, names[2], g.Mean+z90*sd),
			Lives: g.Lives,
		}
		if p.Training != nil {
			if thin, ok := p.Training.Thin[key]; ok {
				row.Thin = fmt.Sprintf("thin: %s of the mean is its planning band's", percent(thin.Borrowed))
			}
		}
		out = append(out, row)
	}
	return out
}

// rate10 turns a log of mm per 1000 km into a wear rate in words.
func rate10(tell units.Reader, part string, theta float64) string {
	return tell.Rate(part, 10*math.Exp(theta))
}

// signed2 says by how much gauges read too much, or, below 0, too little.
func signed2(tell units.Reader, mm float64) string {
	if mm < 0 {
		return "-" + tell.Fine(linings, -mm)
	}
	return "+" + tell.Fine(linings, mm)
}

func learnedEffects(r *forecast.Rates) []LearnedEffects {
	var out []LearnedEffects
	for _, f := range []struct {
		family string
		of     map[string]forecast.Effect
	}{
		{"Duty", r.Duty},
		{"Class and duty", r.ClassDuty},
		{"Class and model", r.ClassModel},
		{"Depot", r.Depot},
	} {
		e := LearnedEffects{Family: f.family}
		for _, name := range slices.Sorted(maps.Keys(f.of)) {
			x := f.of[name]
			e.Rows = append(e.Rows, LearnedEffect{
				Name:  cmp.Or(strings.Trim(strings.ReplaceAll(name, "|", " · "), " ·"), "not given"),
				Size:  share(x.Mean),
				Give:  fmt.Sprintf("±\u202f%.0f\u00a0%%", 100*z90*math.Sqrt(x.Var)),
				Lives: x.Lives,
			})
		}
		if len(e.Rows) > 0 {
			out = append(out, e)
		}
	}
	return out
}

// share puts a difference of logs into per cent more or less.
func share(log float64) string {
	pct := 100 * (math.Exp(log) - 1)
	switch {
	case math.Abs(pct) < .5:
		return "as usual"
	case pct > 0:
		return fmt.Sprintf("%.0f\u00a0%% faster", pct)
	}
	return fmt.Sprintf("%.0f\u00a0%% slower", -pct)
}

func learnedSpreads(tell units.Reader, p *forecast.Params) []LearnedSpread {
	pct := func(sd float64) string { return fmt.Sprintf("±\u202f%.0f\u00a0%%", 100*sd) }
	out := []LearnedSpread{
		{"Wear rate from vehicle to vehicle", pct(p.Rates.Vehicle)},
		{"from axle to axle of a vehicle", pct(p.Rates.Axle)},
		{"from one set of parts to the next", pct(p.Rates.Set)},
	}
	for _, part := range []forecast.Part{forecast.Pad, forecast.Lining} {
		n, ok := p.Noise[part]
		if !ok {
			continue
		}
		out = append(out,
			LearnedSpread{capital(string(part)) + ": one reading", "±\u202f" + tell.Fine(string(part), n.Gauge) + " " + tell.ThicknessUnit()},
			LearnedSpread{capital(string(part)) + ": what the readings of a visit share", "±\u202f" + tell.Fine(string(part), n.Visit) + " " + tell.ThicknessUnit()},
			LearnedSpread{capital(string(part)) + ": wear rate that comes and goes", pct(n.Drift)},
		)
	}
	return out
}

func learnedOnce(tell units.Reader, l *pipeline.Learned) LearnedOnce {
	row := LearnedOnce{When: tell.At(l.At), AsOf: tell.Day(l.AsOf), Ended: "defaults", BetweenVehicles: fmt.Sprintf("±\u202f%.0f\u00a0%%", 100*l.Params.Rates.Vehicle)}
	if t := l.Params.Training; t != nil {
		row.Vehicles, row.Lives = t.Vehicles, t.Lives
		if !t.Default {
			row.Ended = ended(t.Rates)
		}
	}
	return row
}
