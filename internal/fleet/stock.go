package fleet

import "strings"

// StockPart is a part that a workshop buys and keeps: a number, what it is,
// what it fits, what it costs and how long it takes to come.
type StockPart struct {
	ID       int64
	FleetID  int64
	Number   string // as the supplier writes it
	Name     string
	Item     Item
	PerAxle  int      // how many an axle (a vehicle, for fluid) takes
	Price    *float64 // of one; nil = not known
	LeadDays int      // from order to shelf
	Fits     []Fit
	Stock    []Stock
}

// Fit says what a part fits: a make and model, or one vehicle. Blank and 0
// mean any.
type Fit struct {
	Make, Model string
	VehicleID   int64
	Vehicle     string // its number, filled where fits are read
	Axle        int
}

// Stock is how many of a part lie at a depot.
type Stock struct {
	DepotID  int64
	Depot    string // filled where stock is read
	Quantity int
}

// Bounds of a stock part.
const (
	MaxPerAxle  = 20
	MaxLeadDays = 730
	MaxStock    = 100_000
)

// Validate reports the first fault of p.
func (p *StockPart) Validate() error {
	switch {
	case strings.TrimSpace(p.Number) == "":
		return Invalidf("part number: blank; write it as the supplier does")
	case longer(p.Number, MaxWords):
		return Invalidf("part number: longer than %d characters", MaxWords)
	case !p.Item.Valid():
		return Invalidf("item %q: want one of %s", p.Item, itemList())
	case p.PerAxle < 1 || p.PerAxle > MaxPerAxle:
		return Invalidf("per axle %d: want 1 to %d", p.PerAxle, MaxPerAxle)
	case p.LeadDays < 0 || p.LeadDays > MaxLeadDays:
		return Invalidf("lead time %d days: want 0 to %d", p.LeadDays, MaxLeadDays)
	case p.Price != nil && (!(*p.Price >= 0) || *p.Price > maxMoney):
		return Invalidf("price %g: want an amount from 0 to %d", *p.Price, maxMoney)
	}
	for _, f := range p.Fits {
		if f.Axle < 0 || f.Axle > MaxAxle {
			return Invalidf("axle %d: want 1 (front) to %d, or blank for all", f.Axle, MaxAxle)
		}
	}
	for _, s := range p.Stock {
		if s.Quantity < 0 || s.Quantity > MaxStock {
			return Invalidf("stock %d: want 0 to %d", s.Quantity, MaxStock)
		}
	}
	return ValidWords("name", p.Name)
}

// Valid says whether i is one of Items.
func (i Item) Valid() bool {
	for _, x := range Items {
		if i == x {
			return true
		}
	}
	return false
}

func itemList() string {
	words := make([]string, len(Items))
	for i, x := range Items {
		words[i] = string(x)
	}
	return strings.Join(words, ", ")
}

// Suits says how well a part's fits suit an axle of a vehicle: 0 not at all,
// more the more exactly they name it.
func (p *StockPart) Suits(v *Vehicle, axle int) (best int) {
	for _, f := range p.Fits {
		if f.VehicleID != 0 && f.VehicleID != v.ID || f.Axle != 0 && f.Axle != axle && axle != 0 {
			continue
		}
		if f.Make != "" && !strings.EqualFold(f.Make, v.Make) || f.Model != "" && !strings.EqualFold(f.Model, v.Model) {
			continue
		}
		rank := 1
		for bit, named := range []bool{f.Axle != 0, f.Make != "", f.Model != "", f.VehicleID != 0} {
			if named {
				rank += 1 << bit
			}
		}
		best = max(best, rank)
	}
	return best
}

// PartFor returns the part among ps that fits an item of a vehicle's axle
// best, the lowest number among equals; nil when none does.
func PartFor(ps []StockPart, v *Vehicle, axle int, item Item) *StockPart {
	var found *StockPart
	rank := 0
	for i := range ps {
		p := &ps[i]
		if p.Item != item || p.FleetID != v.FleetID {
			continue
		}
		if s := p.Suits(v, axle); s > rank || s == rank && s > 0 && p.Number < found.Number {
			found, rank = p, s
		}
	}
	return found
}
