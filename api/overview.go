package api

import (
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// Overview is a fleet at a glance: pipeline.Overview on the wire.
type Overview struct {
	AsOf   fleet.Date      `json:"as_of"`
	Left   LiningLeft      `json:"left"`
	Weeks  []LimitSpan     `json:"weeks"` // first all that was before, then from as_of on
	Short  HoursShort      `json:"short"`
	Late   BookedLate      `json:"booked_late"`
	Months []MonthOutlook  `json:"months"`
	Parts  []PartOutlook   `json:"parts"`
	Gaps   CostGaps        `json:"not_in_cost"`
	Wear   OverviewWearing `json:"wear"`
	Depots []DepotOutlook  `json:"depots"`
	Trend  Trend           `json:"trend"`
	Waits  []WaitCost      `json:"waiting"`
}

// LiningLeft is how many axles have how much left.
type LiningLeft struct {
	Axles      int         `json:"axles"`
	Classes    []LeftClass `json:"classes"`
	Unmeasured int         `json:"not_measured"`
	NoForecast int         `json:"no_forecast"`
}

// LeftClass counts measured axles of a class; the word is what /due takes.
type LeftClass struct {
	Left  store.LeftClass `json:"left"`
	Axles int             `json:"axles"`
}

// LimitSpan is what is to be expected of some days.
type LimitSpan struct {
	From        *fleet.Date `json:"from"` // null: ever before
	To          fleet.Date  `json:"to"`
	Expected    *float64    `json:"limits_expected"`
	Booked      *float64    `json:"of_these_booked"`
	EvenOdds    int         `json:"axles_even_odds"`
	ToBook      int         `json:"axles_to_book"`
	HoursToBook *float64    `json:"hours_to_book"`
	HoursNeeded *float64    `json:"hours_needed"`
	HoursFree   *float64    `json:"hours_free"` // null: days gone by
}

// HoursShort is where the hours of the quarter do not suffice.
type HoursShort struct {
	Expected *float64 `json:"limits_expected"`
	NoHours  *float64 `json:"without_hours"`
	TooFew   *float64 `json:"with_too_few_hours"`
}

// BookedLate is what is booked for a day behind the book-by date.
type BookedLate struct {
	Axles    int      `json:"axles"`
	Expected *float64 `json:"limits_expected"`
}

// DepotOutlook is the quarter of one depot.
type DepotOutlook struct {
	DepotID     int64    `json:"depot_id"`
	Depot       string   `json:"depot"`
	Fleet       string   `json:"fleet"`
	Past        int      `json:"past_limit"`
	Expected    *float64 `json:"limits_expected"`
	Booked      *float64 `json:"of_these_booked"`
	ToBook      int      `json:"axles_to_book"`
	HoursToBook *float64 `json:"hours_to_book"`
	HoursFree   *float64 `json:"hours_free"`
}

func depotOutlookOf(d *pipeline.DepotOutlook) DepotOutlook {
	return DepotOutlook{d.DepotID, d.Depot, d.Fleet, d.Past, number(d.Expected, 2), number(d.Booked, 2), d.ToBook, number(d.HoursToBook, 2), number(d.HoursFree, 2)}
}

// MonthOutlook is what a month, or the rest of one, will take.
type MonthOutlook struct {
	From  fleet.Date  `json:"from"`
	To    fleet.Date  `json:"to"`
	Axles *float64    `json:"axles_to_change"`
	Costs []MonthCost `json:"costs"`
}

// MonthCost is a month's cost in one currency.
type MonthCost struct {
	Currency string   `json:"currency"`
	Booked   *float64 `json:"booked"`
	Parts    *float64 `json:"parts"`
	Labour   *float64 `json:"labour"`
}

// PartOutlook is how many of a part the months will take, in the order of
// Overview.Months.
type PartOutlook struct {
	Fleet      string      `json:"fleet"`
	PartNumber string      `json:"part_number"` // blank: none is known to fit
	Item       string      `json:"item"`
	For        string      `json:"for"` // where none is known
	Expected   []*float64  `json:"expected"`
	Booked     []int       `json:"booked"`
	Stock      int         `json:"stock"`
	Out        *fleet.Date `json:"runs_out"` // first day of the month in which the shelf is empty
	Price      *float64    `json:"price"`
}

// CostGaps is what the costs leave out.
type CostGaps struct {
	Items    map[string]*float64 `json:"items"`
	Depots   []string            `json:"depots"`
	Bookings int                 `json:"bookings"`
}

// OverviewWearing are wear rates by group, the highest median first.
type OverviewWearing struct {
	Duty  []WearRate `json:"duty"`
	Depot []WearRate `json:"depot"`
}

// WearRate is how fast a group wears.
type WearRate struct {
	Fleet      string              `json:"fleet"` // of the depot
	DepotID    *int64              `json:"depot_id"`
	Name       string              `json:"name"`
	Part       fleet.Part          `json:"part"`
	Axles      int                 `json:"axles"`
	MMPer10000 map[string]*float64 `json:"mm_per_10000_km"`
}

// overview answers with the figures of the overview.
func (a *API) overview(c *gin.Context) error {
	q := &query{c: c}
	ask := store.OverviewQuery{Fleet: q.id("fleet"), Depot: q.id("depot")}
	if err := q.err(); err != nil {
		return err
	}
	o, err := a.svc.Overview(c.Request.Context(), a.scope(c), ask)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, overviewOf(o))
}

func overviewOf(o *pipeline.Overview) Overview {
	out := Overview{
		AsOf:   o.AsOf,
		Left:   LiningLeft{Axles: o.Left.Axles, Unmeasured: o.Left.Unmeasured, NoForecast: o.Left.NoForecast},
		Weeks:  append([]LimitSpan{limitSpanOf(&o.Past)}, items(o.Weeks, limitSpanOf)...),
		Short:  HoursShort{number(o.Short.Expected, 2), number(o.Short.NoHours, 2), number(o.Short.TooFew, 2)},
		Late:   BookedLate{o.Late.Axles, number(o.Late.Expected, 2)},
		Months: items(o.Months, monthOf),
		Gaps:   CostGaps{map[string]*float64{}, append([]string{}, o.Gaps.Depots...), o.Gaps.Bookings},
		Wear:   OverviewWearing{items(o.Duty, wearOf), items(o.Depot, wearOf)},
		Depots: items(o.Depots, depotOutlookOf),
		Trend:  trendOf(&o.Trend),
		Waits:  items(o.Waits, waitOf),
	}
	for i, n := range o.Left.Classes {
		out.Left.Classes = append(out.Left.Classes, LeftClass{store.LeftClasses[i], n})
	}
	for item, n := range o.Gaps.Items {
		out.Gaps.Items[string(item)] = number(n, 2)
	}
	out.Parts = items(o.Parts, func(p *pipeline.PartOutlook) PartOutlook {
		x := PartOutlook{Fleet: p.Fleet, PartNumber: p.Part.Number, Item: string(p.Part.Item), For: p.For, Booked: p.Booked[:], Stock: p.Stock, Price: p.Part.Price}
		for _, n := range p.Expected {
			x.Expected = append(x.Expected, number(n, 2))
		}
		if p.Out >= 0 {
			x.Out = &o.Months[p.Out].From
		}
		return x
	})
	return out
}

func limitSpanOf(s *pipeline.LimitSpan) LimitSpan {
	x := LimitSpan{
		To: s.To, Expected: number(s.Expected, 3), Booked: number(s.Booked, 3), EvenOdds: s.EvenOdds,
		ToBook: s.ToBook, HoursToBook: number(s.HoursToBook, 2), HoursNeeded: number(s.HoursNeeded, 2),
	}
	if s.From != 0 {
		x.From, x.HoursFree = &s.From, number(s.HoursFree, 2)
	}
	return x
}

func monthOf(m *pipeline.MonthOutlook) MonthOutlook {
	return MonthOutlook{m.From, m.To, number(m.Axles, 2), items(m.Costs, func(c *pipeline.MonthCost) MonthCost {
		return MonthCost{c.Currency, number(c.Booked, 2), number(c.Parts, 2), number(c.Labour, 2)}
	})}
}

func wearOf(r *store.WearRate) WearRate {
	x := WearRate{Fleet: r.Fleet, Name: r.Name, Part: r.Part, Axles: r.Axles, MMPer10000: map[string]*float64{}}
	if r.DepotID != 0 {
		x.DepotID = &r.DepotID
	}
	for i, level := range store.WearLevels {
		x.MMPer10000["p"+strconv.Itoa(int(level*100+.5))] = number(r.MMPer10000[i], 3)
	}
	return x
}
