package dashboard

import (
	"fmt"
	"strings"

	"brakewear/dashboard/chart"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// cost makes the tables of what the months take.
func (x *overviewLinks) cost(o *pipeline.Overview) OverviewCost {
	c := OverviewCost{Files: x.files("costs"), PartsFiles: x.files("parts")}
	for i := range o.Months {
		c.Months = append(c.Months, monthName(&o.Months[i]))
	}
	needed := query{}.with("from", o.AsOf.String()).with("to", o.Months[len(o.Months)-1].To.String())
	if x.query.Depot != 0 {
		needed = needed.with("depot", fmt.Sprint(x.query.Depot))
	}
	c.Needed = "/plan/parts" + needed.encode()
	c.axles(o)
	for _, k := range currencies(o) {
		c.currency(o, k)
	}
	currency := currencyOf(o)
	for i := range o.Parts {
		if i == overviewParts {
			c.More = len(o.Parts) - i
			break
		}
		c.Parts = append(c.Parts, monthPartRow(&o.Parts[i], c.Months, currency))
	}
	c.Gaps = costGaps(&o.Gaps)
	return c
}

// axles adds the row of how many axles there are to be changed.
func (c *OverviewCost) axles(o *pipeline.Overview) {
	row, sum := CostRow{Name: "Axles to change, not booked yet"}, 0.
	for i := range o.Months {
		row.Months = append(row.Months, about(o.Months[i].Axles))
		sum += o.Months[i].Axles
	}
	row.Sum = about(sum)
	c.Rows = append(c.Rows, row)
}

// currency adds the rows and the picture of one currency.
func (c *OverviewCost) currency(o *pipeline.Overview, k string) {
	layers := []chart.Layer{{Name: "booked"}, {Name: "parts"}, {Name: "labour"}}
	names := []string{"Booked work", "Parts, not booked yet", "Labour, not booked yet", "Together"}
	rows := make([]CostRow, len(names))
	sums := make([]float64, len(names))
	for i := range o.Months {
		var m pipeline.MonthCost
		for _, of := range o.Months[i].Costs {
			if of.Currency == k {
				m = of
			}
		}
		for n, v := range []float64{m.Booked, m.Parts, m.Labour, m.Sum()} {
			if n < len(layers) {
				layers[n].Values = append(layers[n].Values, v)
			}
			rows[n].Months = append(rows[n].Months, money(k, v))
			sums[n] += v
		}
	}
	for n := range rows {
		rows[n].Name, rows[n].Sum, rows[n].Total = names[n], money(k, sums[n]), n == len(rows)-1
	}
	c.Rows = append(c.Rows, rows...)
	title, unit := "Cost by month", "cost"
	if k != "" {
		title, unit = title+", "+k, k
	}
	if ch := chart.Stack(title, unit, c.Months, layers); ch != nil {
		c.Pictures = append(c.Pictures, newPicture(title, ch))
	}
}

// currencyOf is the currency where there is one only.
func currencyOf(o *pipeline.Overview) string {
	if ks := currencies(o); len(ks) == 1 {
		return ks[0]
	}
	return ""
}

func monthPartRow(p *pipeline.PartOutlook, months []string, currency string) MonthPartRow {
	row := MonthPartRow{Number: p.Part.Number, What: p.Part.Item.Words(), Sum: about(p.Sum()), Shelf: count(p.Stock), Price: "–", Cost: "–"}
	for _, x := range p.Expected {
		row.Months = append(row.Months, about(x))
	}
	if p.Part.ID == 0 {
		row.Number, row.What, row.Shelf = "not known", p.For, "–"
		return row
	}
	row.Link = partPath(p.Part.ID)
	if p.Part.Name != "" {
		row.What += ": " + p.Part.Name
	}
	if p.Part.Price != nil {
		row.Price = price(currency, *p.Part.Price)
	}
	if cost, ok := p.Cost(); ok {
		row.Cost = money(currency, cost)
	}
	if p.Out >= 0 {
		row.Out = "in " + strings.TrimPrefix(months[p.Out], "rest of ")
	}
	return row
}

// costGaps say what the costs leave out.
func costGaps(g *pipeline.CostGaps) (ls []OverviewLink) {
	var items []string
	for _, item := range fleet.Items {
		if n, ok := g.Items[item]; ok {
			items = append(items, about(n)+" × "+item.Words())
		}
	}
	if len(items) > 0 {
		ls = append(ls, OverviewLink{"Without a price, so not in the cost: " + strings.Join(items, ", ") + " (axles, expected).", "/parts", "Enter parts and prices"})
	}
	const named = 5
	if n := len(g.Depots); n > 0 {
		names := strings.Join(g.Depots[:min(n, named)], ", ")
		if n > named {
			names += fmt.Sprintf(" and %d more", n-named)
		}
		ls = append(ls, OverviewLink{"Nobody has set the rates of " + names + ": neither labour nor sets without a part are in the cost there.", "/workshops", "Set up workshops"})
	}
	if g.Bookings > 0 {
		ls = append(ls, OverviewLink{plural(g.Bookings, "booking does", "bookings do") + " not say what it costs.", "/plan", "Workshop plan"})
	}
	return ls
}
