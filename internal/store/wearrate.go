package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// WearRate is how fast the pads or linings of a group of axles wear where they
// are first to reach their limit.
type WearRate struct {
	DepotID int64  // 0: grouped by duty
	Fleet   string // of the depot
	Name    string // of the duty or the depot; a duty may be blank
	Part    fleet.Part
	Axles   int // measured
	// MMPer10000 are the quantiles at WearLevels in mm per 10,000 km, linear
	// between the rates of the axles.
	MMPer10000 [len(WearLevels)]float64
}

// WearLevels are the quantiles of a WearRate, the median in the middle.
var WearLevels = [...]float64{.1, .25, .5, .75, .9}

// wearTwentieths are WearLevels in twentieths, in which the databases work
// the ranks out without rounding.
var wearTwentieths = [...]int{2, 5, 10, 15, 18}

// WearGroup is what wear rates are grouped by.
type WearGroup string

const (
	WearByDuty  WearGroup = "duty"
	WearByDepot WearGroup = "depot"
)

// WearRates returns the wear rates of measured axles by group and part, the
// highest median first. The databases rank the axles and hand over the ten
// ranks of a group that its quantiles lie between.
func (db *DB) WearRates(ctx context.Context, sc auth.Scope, q OverviewQuery, by WearGroup) (rates []WearRate, err error) {
	key, columns := "v.duty", "0 as depot, '' as fleet, v.duty as name"
	switch by {
	case WearByDuty:
	case WearByDepot:
		key, columns = "d.id", "d.id as depot, f.name as fleet, d.name as name"
	default:
		return nil, fmt.Errorf("wear rates by %q: no such group", by)
	}
	var ranks []string
	for _, k := range wearTwentieths {
		lo := fmt.Sprintf("(x.n - 1) * %d / 20", k)
		ranks = append(ranks, lo, lo+" + 1")
	}
	err = db.read(ctx, "list wear rates", func(t *tx) error {
		w := q.of(sc, "c")
		w.add(measured)
		w.add("c.rate is not null")
		w.add("c.part in (?, ?)", string(fleet.Pad), string(fleet.Lining))
		var at []map[int]float64 // rates by rank, for each of rates
		err := t.each(func(r *sqlx.Rows) error {
			var x WearRate
			var rank int
			var rate float64
			if err := r.Scan(&x.DepotID, &x.Fleet, &x.Name, &x.Part, &x.Axles, &rank, &rate); err != nil {
				return err
			}
			if n := len(rates); n == 0 || rates[n-1].DepotID != x.DepotID || rates[n-1].Name != x.Name || rates[n-1].Part != x.Part {
				rates = append(rates, x)
				at = append(at, map[int]float64{})
			}
			at[len(at)-1][rank] = rate
			return nil
		}, `
			select x.depot, x.fleet, x.name, x.part, x.n, x.at, x.rate
			from (
				select
					`+columns+`,
					c.part,
					c.rate,
					count(*) over (partition by `+key+`, c.part) as n,
					row_number() over (partition by `+key+`, c.part order by c.rate, c.vehicle_id, c.axle) - 1 as at
				from axle_forecasts c
				join vehicles v on v.id = c.vehicle_id
				join depots d on d.id = v.depot_id
				join fleets f on f.id = v.fleet_id`+w.String()+`) x
			where x.at in (`+strings.Join(ranks, ", ")+`)
			order by x.depot, x.name, x.part, x.at`, w.args...)
		for i := range rates {
			for k, twentieths := range wearTwentieths {
				along := (rates[i].Axles - 1) * twentieths
				lo := at[i][along/20]
				rates[i].MMPer10000[k] = lo
				if rest := along % 20; rest > 0 {
					rates[i].MMPer10000[k] += (at[i][along/20+1] - lo) * float64(rest) / 20
				}
			}
		}
		return err
	})
	slices.SortStableFunc(rates, func(a, b WearRate) int {
		const median = len(WearLevels) / 2
		return cmp.Or(cmp.Compare(b.MMPer10000[median], a.MMPer10000[median]), cmp.Compare(b.Axles, a.Axles), strings.Compare(a.Name, b.Name))
	})
	return rates, err
}
