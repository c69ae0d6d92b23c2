package dashboard

import (
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// overviewFiles are the tables of the overview as files, by name.
var overviewFiles = map[string]struct {
	columns []string
	rows    func(o *pipeline.Overview, row func(cells ...any) error) error
}{
	"left": {[]string{"left_percent", "axles"}, func(o *pipeline.Overview, row func(...any) error) error {
		for i, n := range o.Left.Classes {
			if err := row(string(store.LeftClasses[i]), n); err != nil {
				return err
			}
		}
		if err := row("not measured", o.Left.Unmeasured); err != nil {
			return err
		}
		return row("no forecast", o.Left.NoForecast)
	}},
	"weeks": {[]string{"from", "to", "limits_expected", "of_these_booked", "axles_even_odds", "axles_to_book", "hours_to_book", "hours_needed", "hours_free"}, func(o *pipeline.Overview, row func(...any) error) error {
		for _, s := range append([]pipeline.LimitSpan{o.Past}, o.Weeks...) {
			from := &s.From
			free := cell(s.HoursFree, 2)
			if s.From == 0 {
				from, free = nil, ""
			}
			if err := row(from, &s.To, cell(s.Expected, 3), cell(s.Booked, 3), s.EvenOdds, s.ToBook, cell(s.HoursToBook, 2), cell(s.HoursNeeded, 2), free); err != nil {
				return err
			}
		}
		return nil
	}},
	"costs": {[]string{"from", "to", "axles_to_change", "currency", "booked", "parts", "labour"}, func(o *pipeline.Overview, row func(...any) error) error {
		for i := range o.Months {
			m := &o.Months[i]
			costs := m.Costs
			if len(costs) == 0 {
				costs = []pipeline.MonthCost{{}}
			}
			for _, c := range costs {
				if err := row(&m.From, &m.To, cell(m.Axles, 3), c.Currency, cell(c.Booked, 2), cell(c.Parts, 2), cell(c.Labour, 2)); err != nil {
					return err
				}
			}
		}
		return nil
	}},
	"parts": {[]string{"fleet", "part_number", "item", "name", "for", "from", "to", "expected", "booked", "stock", "price"}, func(o *pipeline.Overview, row func(...any) error) error {
		for i := range o.Parts {
			p := &o.Parts[i]
			for k := range o.Months {
				err := row(p.Fleet, p.Part.Number, string(p.Part.Item), p.Part.Name, p.For, &o.Months[k].From, &o.Months[k].To,
					cell(p.Expected[k], 3), p.Booked[k], p.Stock, amountCell(p.Part.Price))
				if err != nil {
					return err
				}
			}
		}
		return nil
	}},
	"depots": {[]string{"fleet", "depot", "past_limit", "limits_expected", "of_these_booked", "axles_to_book", "hours_to_book", "hours_free"}, func(o *pipeline.Overview, row func(...any) error) error {
		for i := range o.Depots {
			d := &o.Depots[i]
			if err := row(d.Fleet, d.Depot, d.Past, cell(d.Expected, 3), cell(d.Booked, 3), d.ToBook, cell(d.HoursToBook, 2), cell(d.HoursFree, 2)); err != nil {
				return err
			}
		}
		return nil
	}},
	"waiting": {[]string{"until", "limits_expected", "currency", "damage", "rotors_or_drums", "axles_without_workshop", "axles_without_price"}, func(o *pipeline.Overview, row func(...any) error) error {
		for i := range o.Waits {
			w := &o.Waits[i]
			costs := w.Costs
			if len(costs) == 0 {
				costs = []pipeline.WaitMoney{{}}
			}
			for _, m := range costs {
				if err := row(&w.To, cell(w.Axles, 3), m.Currency, cell(m.Damage, 2), cell(m.Discs, 2), cell(w.NoFigure, 3), cell(w.NoDisc, 3)); err != nil {
					return err
				}
			}
		}
		return nil
	}},
	"trend": {[]string{"of", "then", "now", "came", "went", "axles_compared"}, func(o *pipeline.Overview, row func(...any) error) error {
		t := &o.Trend
		for _, x := range []struct {
			of string
			n  store.TrendCount
		}{{"at or past the limit", t.Past}, {"to be booked by now", t.Due}, {"limit likely within 91 days", t.Near}} {
			if err := row(x.of, x.n.Then, x.n.Now, x.n.In, x.n.Out, t.Compared); err != nil {
				return err
			}
		}
		if t.Left.N == 0 {
			return nil
		}
		return row("usable thickness left, mean share", cell(t.Left.Then, 4), cell(t.Left.Now, 4), "", "", t.Left.N)
	}},
	"trend-wear": {[]string{"by", "fleet", "group", "part", "axles_compared", "then", "now", "faster", "slower"}, func(o *pipeline.Overview, row func(...any) error) error {
		for i, w := range slices.Concat(o.Trend.ByDuty, o.Trend.ByDepot) {
			by := store.WearByDuty
			if i >= len(o.Trend.ByDuty) {
				by = store.WearByDepot
			}
			if err := row(string(by), w.Fleet, w.Name, string(w.Part), w.Rate.N, cell(w.Rate.Then, 3), cell(w.Rate.Now, 3), w.Faster, w.Slower); err != nil {
				return err
			}
		}
		return nil
	}},
	"wear-duty":  {wearColumns("duty"), func(o *pipeline.Overview, row func(...any) error) error { return wearRows(o.Duty, row) }},
	"wear-depot": {wearColumns("depot"), func(o *pipeline.Overview, row func(...any) error) error { return wearRows(o.Depot, row) }},
}

func wearColumns(group string) []string {
	return []string{"fleet", group, "part", "axles", "p10", "p25", "median", "p75", "p90"} // mm per 10,000 km
}

func wearRows(rs []store.WearRate, row func(...any) error) error {
	for _, r := range rs {
		cells := []any{r.Fleet, r.Name, string(r.Part), r.Axles}
		for _, x := range r.MMPer10000 {
			cells = append(cells, cell(x, 3))
		}
		if err := row(cells...); err != nil {
			return err
		}
	}
	return nil
}

// overviewFile sends one table of the overview.
func (d *Dashboard) overviewFile(c *gin.Context) error {
	name, ending, _ := strings.Cut(c.Param("file"), ".")
	f, ok := overviewFiles[name]
	if !ok || ending != "csv" && ending != "xlsx" {
		return fleet.NotFoundf("file %q: the overview has none of this name", c.Param("file"))
	}
	q, err := d.overviewQuery(c)
	if err == nil {
		_, _, err = d.fleetChoice(c)
	}
	if err == nil {
		q.Depot, _, err = d.depotOfFleet(c, q.Fleet)
	}
	if err != nil {
		return err
	}
	o, err := d.svc.Overview(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	return d.export(c, "overview-"+name, f.columns, func(row func(...any) error) error { return f.rows(o, row) })
}
