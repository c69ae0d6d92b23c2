package pipeline

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// PartNeed is how many of one part some days will take, against what is there.
type PartNeed struct {
	Part     fleet.StockPart // without an id where no part is known to fit
	Fleet    string
	For      string  // where no part is known: what it would have to fit
	Expected float64 // number of it
	Lo, Hi   int     // between which it lies with 80 % chance
	Booked   int     // of that, on bookings
	Stock    int     // on the shelves of the depots asked for
	// Short is how many are missing for the high end of the range.
	Short int
	// OrderBy is the last day to order so that the first one missing is there
	// in time; nil where nothing is missing.
	OrderBy *fleet.Date
}

// PartsQuery asks for the parts that days will take.
type PartsQuery struct {
	Fleet, Depot int64 // 0 = all
	From, To     fleet.Date
}

// needAhead is how far behind the last day an axle's book-by date may lie for
// its parts to be possibly needed before, in days.
const needAhead = 180

// PartsNeeded returns the parts that the work of some days will take, by
// number. A booked axle counts for certain on its day and at its depot; any
// other by the chance that it is changed in those days (forecast.ChangedBy),
// at its home depot. The range is that of the sum (forecast.CountOf).
func (s *Service) PartsNeeded(ctx context.Context, sc auth.Scope, q PartsQuery) ([]PartNeed, error) {
	if q.To < q.From {
		return nil, fleet.Invalidf("last day %s: it lies before the first, %s", q.To.Written(), q.From.Written())
	}
	shops, err := s.DB.Workshops(ctx, sc, s.Today())
	if err != nil {
		return nil, err
	}
	parts, err := s.DB.StockParts(ctx, sc, q.Fleet)
	if err != nil {
		return nil, err
	}
	n := needs{query: q, parts: parts, found: map[needKey]*need{}, fleets: map[int64]string{}, hours: fleet.DefaultWorkshop().Hours}
	for i := range shops {
		n.fleets[shops[i].FleetID] = shops[i].Fleet
	}
	of := store.OverviewQuery{Fleet: q.Fleet, Depot: q.Depot}
	items, err := s.DB.BookedItems(ctx, sc, of, q.From, q.To)
	if err != nil {
		return nil, err
	}
	for _, b := range items {
		for range b.Times {
			n.add(b.FleetID, fleet.WorkItem{Axle: b.Axle, Item: b.Item, PartID: b.PartID}, 1, b.Day, true, &fleet.Vehicle{Make: b.Make, Model: b.Model})
		}
	}
	// One after the other: the forecasts of all that is due are hundreds of megabytes
	// in a large fleet.
	err = s.DB.EachOutlook(ctx, sc, of, q.To+needAhead, func(x *store.OutlookAxle) error {
		// What was measured at its limit is due, whenever its forecast would have it be.
		if x.Booked == nil && (x.PastLimit || x.BookBy != nil && *x.BookBy <= q.To+needAhead) {
			n.addAxle(&x.Vehicle, &x.AxleForecast)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return n.list(s.Today()), nil
}

// needKey is a part, or what no part is known for.
type needKey struct {
	fleet int64
	part  int64
	what  string
}

// need gathers the chances that one part is taken.
type need struct {
	PartNeed
	chances  []float64
	perOne   int // how many of the part each takes
	earliest fleet.Date
}

type needs struct {
	query  PartsQuery
	parts  []fleet.StockPart
	fleets map[int64]string
	hours  map[fleet.Task]fleet.TaskHours
	found  map[needKey]*need
}

// addAxle adds what an axle that is not booked may take.
func (n *needs) addAxle(v *fleet.Vehicle, f *store.AxleForecast) {
	if f.BookBy == nil && !f.PastLimit || f.Has(forecast.NoReadings) && !f.PastLimit {
		return
	}
	day := max(n.query.From, bookBy(f))
	w, ok := workOn(v, f, day, n.parts, n.hours)
	if !ok {
		return
	}
	chance := changedWithin(f, n.query.From, n.query.To)
	if !(chance > 0) {
		return
	}
	for _, x := range w.items {
		n.add(v.FleetID, x, chance, day, false, v)
	}
}

// changedWithin is the chance that an axle is changed within days. What ought to
// have been changed before them is changed on the first of them. f has a book-by
// date or is past its limit.
func changedWithin(f *store.AxleForecast, from, to fleet.Date) float64 {
	start := fleet.Date(f.AsOf) + 1
	if f.PastLimit {
		if from <= start && start <= to+1 {
			return 1
		}
		return 0
	}
	by := func(d fleet.Date) float64 {
		return forecast.ChangedBy(f.Crossing.Day, float64(*f.BookBy), f.Basis.Width80Days, f.Basis.Width80IfMeasured, float64(d))
	}
	first := 0.
	if from > start {
		first = by(from - 1)
	}
	return by(to) - first
}

// needOf returns what a thing to do takes, of a vehicle where that is known;
// false for what is looked at and not surely changed.
func needOf(fleetID int64, w fleet.WorkItem, v *fleet.Vehicle) (needKey, bool) {
	k := needKey{fleet: fleetID, part: w.PartID}
	if w.PartID == 0 {
		if w.Item == fleet.ItemCalipers || w.Item == fleet.ItemHoses || w.Item == fleet.ItemFluid {
			return k, false
		}
		k.what = w.Item.Words()
		if v != nil {
			k.what = strings.Join(strings.Fields(k.what+" of "+axleWords(w.Axle)+", "+v.Make+" "+v.Model), " ")
		}
	}
	return k, true
}

func (n *needs) add(fleetID int64, w fleet.WorkItem, chance float64, day fleet.Date, booked bool, v *fleet.Vehicle) {
	k, ok := needOf(fleetID, w, v)
	if !ok {
		return
	}
	x := n.found[k]
	if x == nil {
		x = &need{perOne: max(1, w.Quantity), earliest: day}
		x.Fleet = n.fleets[fleetID]
		if i := slices.IndexFunc(n.parts, func(p fleet.StockPart) bool { return p.ID == w.PartID }); i >= 0 && w.PartID != 0 {
			x.Part = n.parts[i]
			x.perOne = x.Part.PerAxle
			for _, s := range x.Part.Stock {
				if n.query.Depot == 0 || s.DepotID == n.query.Depot {
					x.Stock += s.Quantity
				}
			}
		} else {
			x.Part.Item, x.For = w.Item, strings.TrimSuffix(k.what, ",")
		}
		n.found[k] = x
	}
	x.chances = append(x.chances, chance)
	x.earliest = min(x.earliest, day)
	if booked {
		x.Booked += x.perOne
	}
}

// The ends of the range that a need lies in with 80 % chance.
const loLevel, hiLevel = .1, .9

// worthListing is the expected number of a part below which nobody would order
// it.
const worthListing = .05

// list sums the needs up, by number, those without a part last.
func (n *needs) list(today fleet.Date) []PartNeed {
	var out []PartNeed
	for _, x := range n.found {
		c := forecast.CountOf(x.chances)
		per := float64(x.perOne)
		x.Expected = math.Round(100*per*c.Mean()) / 100
		if x.Expected < worthListing && x.Booked == 0 {
			continue
		}
		x.Lo, x.Hi = x.perOne*c.Quantile(loLevel), x.perOne*c.Quantile(hiLevel)
		if x.Short = max(0, x.Hi-x.Stock); x.Short > 0 && x.Part.ID != 0 {
			by := max(today, max(x.earliest, n.query.From)-fleet.Date(x.Part.LeadDays))
			x.OrderBy = &by
		}
		if x.Part.ID == 0 {
			x.Short = 0
		}
		out = append(out, x.PartNeed)
	}
	slices.SortFunc(out, func(a, b PartNeed) int {
		return cmp.Or(
			cmp.Compare(min(b.Part.ID, 1), min(a.Part.ID, 1)),
			strings.Compare(strings.ToLower(a.Part.Number), strings.ToLower(b.Part.Number)),
			strings.Compare(a.For, b.For),
			strings.Compare(a.Fleet, b.Fleet))
	})
	return out
}
