package dashboard

import (
	"fmt"
	"math"
	"strings"

	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// OverviewTrend is what got better or worse within a month.
type OverviewTrend struct {
	Says      string // what is compared, or why nothing is
	Then      string // the day compared with, heads the column
	Rows      []TrendRow
	Wear      []TrendGroups
	WearSays  string
	Files     Files
	WearFiles Files
}

// TrendRow is a figure then and now. In and Out lead to the axles that came to
// it and left it, or that wear faster and slower.
type TrendRow struct {
	Name, Part      string
	Then, Now       string
	Change          string // in words
	Worse           bool
	In, Out         string
	InLink, OutLink string // blank for none
}

// TrendGroups are wear rates by duty or by depot.
type TrendGroups struct {
	By   string
	Rows []TrendRow
	More int // groups that are not shown
}

// trendGroups is how many groups the page shows, the file all.
const trendGroups = 8

// trendWorse is from how many percent on a group's risen wear rate is pointed
// out: less comes and goes with single readings. Judgement.
const trendWorse = 5

// trend makes the tables of the month that is over.
func (x *overviewLinks) trend(tell units.Reader, o *pipeline.Overview) OverviewTrend {
	t := &o.Trend
	v := OverviewTrend{Then: tell.DayNear(t.Then, x.today), Files: x.files("trend"), WearFiles: x.files("trend-wear")}
	if t.Compared == 0 {
		v.Says = fmt.Sprintf("Not known yet: of none of these axles was a forecast kept about %s. One is kept with every refit, so that a comparison begins a month after the first; “brakewear replay” works past ones out from what was known then.", tell.Day(t.Then))
		return v
	}
	v.Says = trendSays(tell, x, t)
	for _, r := range []struct {
		name    string
		n       store.TrendCount
		in, out store.Shift
	}{
		{"At or past the limit", t.Past, store.IntoPast, store.OutPast},
		{"To be booked by that day, booked or not", t.Due, store.IntoDue, store.OutDue},
		{"Limit most likely within 13 weeks", t.Near, store.IntoNear, store.OutNear},
	} {
		row := TrendRow{Name: r.name, Then: count(r.n.Then), Now: count(r.n.Now), Change: "as many", Worse: r.n.Now > r.n.Then}
		switch d := r.n.Now - r.n.Then; {
		case d > 0:
			row.Change = count(d) + " more"
		case d < 0:
			row.Change = count(-d) + " fewer"
		}
		x.moves(&row, r.n.In, r.n.Out, Narrow{Moved: r.in}, Narrow{Moved: r.out})
		v.Rows = append(v.Rows, row)
	}
	left := TrendRow{Name: "Usable thickness left, on average", Then: "not known yet", Now: "–", In: "–", Out: "–"}
	if t.Left.N > 0 {
		left.Then, left.Now = percent(round(t.Left.Then)), percent(round(t.Left.Now))
		switch points := math.Round(100*t.Left.Now) - math.Round(100*t.Left.Then); {
		case points > 0:
			left.Change = fmt.Sprintf("%.0f\u00a0%% points more", points)
		case points < 0:
			left.Change, left.Worse = fmt.Sprintf("%.0f\u00a0%% points less", -points), true
		default:
			left.Change = "the same"
		}
	}
	v.Rows = append(v.Rows, left)
	for _, g := range []struct {
		by store.WearGroup
		ws []store.TrendWear
	}{{store.WearByDuty, t.ByDuty}, {store.WearByDepot, t.ByDepot}} {
		if len(g.ws) > 0 {
			v.Wear = append(v.Wear, x.trendWear(tell, g.by, g.ws))
		}
	}
	v.WearSays = fmt.Sprintf("Rates are means of the axles compared that have the same part first to wear out as then; the group that rose most comes first. Faster and slower are axles whose own rate moved by a factor of %g or more: one more reading alone moves it by less.", store.TrendRate)
	return v
}

func round(share float64) float64 { return math.Round(100*share) / 100 }

// trendSays says what is compared with what.
func trendSays(tell units.Reader, x *overviewLinks, t *store.Trend) string {
	says := fmt.Sprintf("%s compared with the forecasts kept of them by %s", plural(t.Compared, "measured axle is", "measured axles are"), tell.DayNear(t.Then, x.today))
	if t.First < t.Then {
		says += ", the oldest of " + tell.DayNear(t.First, x.today)
	}
	var more []string
	if t.Afterwards {
		more = append(more, "Some of those were worked out afterwards, from what was known that day.")
	}
	if n := t.Measured - t.Compared; n > 0 {
		more = append(more, plural(n, "axle was", "axles were")+" not measured or not forecast then and "+map[bool]string{true: "is", false: "are"}[n == 1]+" in no number here.")
	}
	more = append(more, "A number leads to its axles.")
	return says + ". " + strings.Join(more, " ")
}

// moves fills in how many axles came and went, with the lists of them.
func (x *overviewLinks) moves(row *TrendRow, in, out int, came, went Narrow) {
	row.In, row.Out = count(in), count(out)
	if in > 0 {
		row.InLink = x.due(came, store.ByBookBy)
	}
	if out > 0 {
		row.OutLink = x.due(went, store.ByBookBy)
	}
}

func (x *overviewLinks) trendWear(tell units.Reader, by store.WearGroup, ws []store.TrendWear) TrendGroups {
	g := TrendGroups{By: string(by)}
	names := depotNames(len(ws), func(i int) (int64, string, string) { return ws[i].DepotID, ws[i].Name, ws[i].Fleet })
	for i := range ws {
		if i == trendGroups {
			g.More = len(ws) - i
			break
		}
		w := &ws[i]
		link, n := *x, Narrow{Part: w.Part}
		row := TrendRow{Name: names[i], Part: plurals(w.Part), Then: tell.Rate(string(w.Part), w.Rate.Then), Now: tell.Rate(string(w.Part), w.Rate.Now), Change: "the same"}
		if by == store.WearByDuty {
			n.Duty, row.Name = &w.Name, dutyWords(w.Name)
		} else {
			link.query.Depot = w.DepotID
		}
		switch ratio := math.Round(100*w.Rate.Now/w.Rate.Then) - 100; {
		case ratio > 0:
			row.Change, row.Worse = "up "+percent(ratio/100), ratio >= trendWorse
		case ratio < 0:
			row.Change = "down " + percent(-ratio/100)
		}
		faster, slower := n, n
		faster.Moved, slower.Moved = store.Faster, store.Slower
		link.moves(&row, w.Faster, w.Slower, faster, slower)
		g.Rows = append(g.Rows, row)
	}
	return g
}

// movedWords say what became of an axle within the month.
func movedWords(m store.Shift) string {
	return map[store.Shift]string{
		store.IntoPast: "newly at or past the limit",
		store.OutPast:  "no longer at or past the limit",
		store.IntoDue:  "newly to be booked by now",
		store.OutDue:   "no longer to be booked by now",
		store.IntoNear: "newly with a limit within 13 weeks",
		store.OutNear:  "no longer with a limit within 13 weeks",
		store.Faster:   "wearing faster",
		store.Slower:   "wearing slower",
	}[m]
}
