package pipeline

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// MonthOutlook is what a month, or the rest of one, will take.
type MonthOutlook struct {
	From, To fleet.Date // both included
	Axles    float64    // expected to be changed, not booked
	Costs    []MonthCost
}

// MonthCost is what the work of a month is expected to cost in one currency,
// as far as prices are known.
type MonthCost struct {
	Currency string  // may be blank
	Booked   float64 // labour and parts of open bookings
	Parts    float64 // of axles that are not booked
	Labour   float64
}

// Sum is the whole cost.
func (c MonthCost) Sum() float64 { return c.Booked + c.Parts + c.Labour }

// CostGaps is what the costs leave out, because nobody has said what it costs.
type CostGaps struct {
	// Items are expected numbers of axles' items for which there is neither a
	// part with a price nor a price of a set.
	Items map[fleet.Item]float64
	// Depots, by name, have work to come and no workshop that somebody has
	// set: neither labour nor sets have a price there.
	Depots   []string
	Bookings int // that do not say what they cost
}

// PartOutlook is how many of a part the months are expected to take.
type PartOutlook struct {
	Part     fleet.StockPart // without an id where no part is known to fit
	Fleet    string
	For      string                  // where no part is known: what it would have to fit
	Expected [OverviewMonths]float64 // of the months, what is booked included
	Booked   [OverviewMonths]int
	Stock    int // on the shelves of the depots asked for
	// Out is the index of the month in which the expected number exceeds the
	// stock; -1 where it does not, or no part is known.
	Out int
}

// Sum is the expected number of all months.
func (p *PartOutlook) Sum() float64 {
	sum := 0.
	for _, x := range p.Expected {
		sum += x
	}
	return sum
}

// Cost is the price of them all; false where there is none.
func (p *PartOutlook) Cost() (float64, bool) {
	if p.Part.Price == nil {
		return 0, false
	}
	return p.Sum() * *p.Part.Price, true
}

// costs gathers what months cost.
type costs struct {
	o      *Overview
	query  store.OverviewQuery
	fleets map[int64]string
	by     [OverviewMonths]map[string]*MonthCost // by currency
	unset  map[string]float64                    // hours at depots without a rate
}

func newCosts(o *Overview, q store.OverviewQuery) costs {
	c := costs{o: o, query: q, fleets: map[int64]string{}, unset: map[string]float64{}}
	for i := range c.by {
		c.by[i] = map[string]*MonthCost{}
	}
	o.Gaps.Items = map[fleet.Item]float64{}
	return c
}

func (c *costs) in(month int, shop *store.DepotWorkshop) *MonthCost {
	k := shop.Workshop.Currency
	x := c.by[month][k]
	if x == nil {
		x = &MonthCost{Currency: k}
		c.by[month][k] = x
	}
	return x
}

// month returns the index of the month of a day; -1 behind the last.
func (c *costs) month(d fleet.Date) int {
	return slices.IndexFunc(c.o.Months, func(m MonthOutlook) bool { return m.From <= d && d <= m.To })
}

func (c *costs) booked(shop *store.DepotWorkshop, b *store.BookedDay) {
	i := c.month(b.Day)
	if i < 0 {
		return
	}
	c.o.Gaps.Bookings += b.NoCost
	if b.Cost > 0 {
		c.in(i, shop).Booked += b.Cost
	}
}

// labour adds hours of work. A workshop that nobody has set has no rate.
func (c *costs) labour(month int, shop *store.DepotWorkshop, hours float64) {
	switch {
	case !(hours > 0):
	case shop.Workshop.Set:
		c.in(month, shop).Labour += hours * shop.Workshop.LabourRate
	default:
		c.unset[shop.Name] += hours
	}
}

// item adds a thing that an axle takes with some chance.
func (c *costs) item(month int, shop *store.DepotWorkshop, v *fleet.Vehicle, item fleet.Item, part *fleet.StockPart, chance float64) {
	switch {
	case part != nil && part.Price != nil:
		c.in(month, shop).Parts += chance * float64(part.PerAxle) * *part.Price
	case shop.Workshop.Set && (item == fleet.ItemPads || item == fleet.ItemLinings):
		price := shop.Workshop.SetLight
		if v.Category.Heavy() {
			price = shop.Workshop.SetHeavy
		}
		c.in(month, shop).Parts += chance * price
	default:
		c.o.Gaps.Items[item] += chance
	}
}

func (c *costs) finish() {
	for i := range c.by {
		for _, k := range slices.Sorted(maps.Keys(c.by[i])) {
			c.o.Months[i].Costs = append(c.o.Months[i].Costs, *c.by[i][k])
		}
	}
	maps.DeleteFunc(c.unset, func(_ string, hours float64) bool { return hours < worthListing })
	c.o.Gaps.Depots = slices.Sorted(maps.Keys(c.unset))
	maps.DeleteFunc(c.o.Gaps.Items, func(_ fleet.Item, n float64) bool { return n < worthListing })
}

// changes adds what an axle that is not booked takes in the months, by the
// chance that it is changed in them.
func (a *ahead) changes(x *store.OutlookAxle, w *axleWork) {
	for i := range a.o.Months {
		m := &a.o.Months[i]
		chance := changedWithin(&x.AxleForecast, m.From, m.To)
		if !(chance > 0) {
			continue
		}
		m.Axles += chance
		a.stay.months[i] *= 1 - chance
		a.costs.labour(i, a.stay.shop, chance*w.hours)
		for _, item := range w.items {
			n := a.need(x.Vehicle.FleetID, item, &x.Vehicle)
			if n == nil {
				continue
			}
			var part *fleet.StockPart
			if n.Part.ID != 0 {
				part = &n.Part
			}
			n.Expected[i] += chance * float64(max(1, n.Part.PerAxle))
			a.costs.item(i, a.stay.shop, &x.Vehicle, item.Item, part, chance)
		}
	}
}

// bookedItem adds what bookings take for certain. Their cost is the bookings'
// own.
func (a *ahead) bookedItem(b *store.BookedItem) {
	i := a.costs.month(b.Day)
	if i < 0 {
		return
	}
	n := a.need(b.FleetID, fleet.WorkItem{Axle: b.Axle, Item: b.Item, PartID: b.PartID}, &fleet.Vehicle{Make: b.Make, Model: b.Model})
	if n == nil {
		return
	}
	times := b.Times * max(1, n.Part.PerAxle)
	n.Expected[i] += float64(times)
	n.Booked[i] += times
}

// need returns the part that a thing to do takes; nil for what is not surely
// changed.
func (a *ahead) need(fleetID int64, w fleet.WorkItem, v *fleet.Vehicle) *PartOutlook {
	k, ok := needOf(fleetID, w, v)
	if !ok {
		return nil
	}
	n := a.needs[k]
	if n == nil {
		n = &PartOutlook{Fleet: a.costs.fleets[fleetID], Out: -1}
		if i := slices.IndexFunc(a.parts, func(p fleet.StockPart) bool { return p.ID == w.PartID }); i >= 0 {
			n.Part = a.parts[i]
			for _, s := range n.Part.Stock {
				if a.costs.query.Depot == 0 || s.DepotID == a.costs.query.Depot {
					n.Stock += s.Quantity
				}
			}
		} else {
			n.Part.Item, n.For = w.Item, strings.TrimSuffix(k.what, ",")
		}
		a.needs[k] = n
	}
	return n
}

// partList returns the parts that are worth ordering, those of the greatest
// number first, those without a part last.
func (a *ahead) partList() []PartOutlook {
	var out []PartOutlook
	for _, n := range a.needs {
		sum := n.Sum()
		if sum < worthListing {
			continue
		}
		if n.Part.ID != 0 {
			so := 0.
			for i, x := range n.Expected {
				if so += x; so > float64(n.Stock) {
					n.Out = i
					break
				}
			}
		}
		out = append(out, *n)
	}
	slices.SortFunc(out, func(x, y PartOutlook) int {
		return cmp.Or(
			cmp.Compare(min(y.Part.ID, 1), min(x.Part.ID, 1)),
			cmp.Compare(y.Sum(), x.Sum()),
			strings.Compare(x.Part.Number, y.Part.Number),
			strings.Compare(x.For, y.For),
			strings.Compare(x.Fleet, y.Fleet))
	})
	return out
}
