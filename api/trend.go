package api

import (
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// Trend compares measured axles with what they were a month before.
type Trend struct {
	Then     fleet.Date  `json:"then"`
	Measured int         `json:"measured"`
	Compared int         `json:"compared"` // 0: no forecast of about that day was kept
	Past     TrendCount  `json:"past_limit"`
	Due      TrendCount  `json:"to_book_by_the_day"`
	Near     TrendCount  `json:"limit_within_91_days"`
	Left     TrendMean   `json:"share_left"`
	Duty     []TrendWear `json:"wear_by_duty"`
	Depot    []TrendWear `json:"wear_by_depot"`
}

// TrendCount is a number of axles then and now, and how many came and went.
type TrendCount struct {
	Then int `json:"then"`
	Now  int `json:"now"`
	In   int `json:"came"`
	Out  int `json:"went"`
}

// TrendMean is the mean over axles of which it is known on both days.
type TrendMean struct {
	Axles int      `json:"axles"`
	Then  *float64 `json:"then"` // null: of none
	Now   *float64 `json:"now"`
}

// TrendWear is how fast a group wears, in mm per 10,000 km.
type TrendWear struct {
	Fleet   string     `json:"fleet"` // of the depot
	DepotID *int64     `json:"depot_id"`
	Name    string     `json:"name"`
	Part    fleet.Part `json:"part"`
	Rate    TrendMean  `json:"mm_per_10000_km"`
	Faster  int        `json:"faster"`
	Slower  int        `json:"slower"`
}

// WaitCost is what it comes to if nothing more is booked until a day.
type WaitCost struct {
	To       fleet.Date  `json:"to"`
	Axles    *float64    `json:"limits_expected"`
	Costs    []WaitMoney `json:"costs"`
	NoFigure *float64    `json:"axles_without_workshop"`
	NoDisc   *float64    `json:"axles_without_price"`
}

// WaitMoney is the cost of waiting in one currency.
type WaitMoney struct {
	Currency string   `json:"currency"`
	Damage   *float64 `json:"damage"`
	Discs    *float64 `json:"rotors_or_drums"`
}

func trendOf(t *store.Trend) Trend {
	return Trend{
		Then: t.Then, Measured: t.Measured, Compared: t.Compared,
		Past: TrendCount(t.Past), Due: TrendCount(t.Due), Near: TrendCount(t.Near),
		Left: trendMean(t.Left, 4), Duty: items(t.ByDuty, trendWearOf), Depot: items(t.ByDepot, trendWearOf),
	}
}

func trendMean(m store.TrendMean, decimals int) TrendMean {
	if m.N == 0 {
		return TrendMean{}
	}
	return TrendMean{m.N, number(m.Then, decimals), number(m.Now, decimals)}
}

func trendWearOf(w *store.TrendWear) TrendWear {
	x := TrendWear{Fleet: w.Fleet, Name: w.Name, Part: w.Part, Rate: trendMean(w.Rate, 3), Faster: w.Faster, Slower: w.Slower}
	if w.DepotID != 0 {
		x.DepotID = &w.DepotID
	}
	return x
}

func waitOf(w *pipeline.WaitCost) WaitCost {
	return WaitCost{w.To, number(w.Axles, 3), items(w.Costs, func(m *pipeline.WaitMoney) WaitMoney {
		return WaitMoney{m.Currency, number(m.Damage, 2), number(m.Discs, 2)}
	}), number(w.NoFigure, 3), number(w.NoDisc, 3)}
}
