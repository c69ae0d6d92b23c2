package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

const (
	// TrendDays is how far back a trend looks: a month.
	TrendDays = 30
	// trendSlack is how many days older the forecast may be that stands for that
	// day. One is logged every week; twice that bridges a refit that failed.
	trendSlack = 14
	// TrendNear is how many days ahead a limit is near: the quarter of the
	// overview.
	TrendNear = 91
	// TrendRate is from which ratio on a wear rate has changed: less than a fifth
	// is what one more reading moves it by. Judgement.
	TrendRate = 1.2
)

// Shift is what became of an axle within a month.
type Shift string

// The moves: into and out of a state of TrendStates, and how fast it wears.
const (
	IntoPast Shift = "into-past"
	OutPast  Shift = "out-of-past"
	IntoDue  Shift = "into-due"
	OutDue   Shift = "out-of-due"
	IntoNear Shift = "into-near"
	OutNear  Shift = "out-of-near"
	Faster   Shift = "faster"
	Slower   Shift = "slower"
)

// Shifts are the moves there are.
var Shifts = []Shift{IntoPast, OutPast, IntoDue, OutDue, IntoNear, OutNear, Faster, Slower}

// trendThen is the forecast_log l that stands for the state of an
// axle_forecasts c on a day, the last up to it. It is asked for by axle, in the
// log's key: the log is long. Its arguments are trendDays.
const trendThen = `from forecast_log l
				where l.vehicle_id = c.vehicle_id and l.axle = c.axle and l.readings > 0 and l.as_of > ? and l.as_of <= ?
				order by l.as_of desc limit 1`

func trendDays(today fleet.Date) []any {
	then := today - TrendDays
	return []any{then - trendSlack, then}
}

// trendStates are the states of an axle_forecasts c on a day and of a
// forecast_log l on the day compared with: at or past the limit; to be booked by
// that day at the latest; most likely at the limit within TrendNear.
func trendStates(today fleet.Date) (now, then [3]string) {
	day := func(d fleet.Date) string { return "'" + d.String() + "'" }
	before := today - TrendDays
	now = [3]string{
		"c.past_limit",
		"(c.past_limit or coalesce(c.book_by <= " + day(today) + ", false))",
		"(c.past_limit or coalesce(c.p50 <= " + day(today+TrendNear) + ", false))",
	}
	then = [3]string{
		"l.past_limit",
		"(l.past_limit or coalesce(l.book_by <= " + day(before) + ", false))",
		"(l.past_limit or coalesce(l.day_p50 < " + strconv.Itoa(int(before)+TrendNear+1) + ", false))",
	}
	return now, then
}

// shiftSQL are the conditions of a move: on an axle_forecasts c alone, and with
// the forecast_log l of before.
func shiftSQL(m Shift, today fleet.Date) (now, with string) {
	states, before := trendStates(today)
	i := slices.Index(Shifts, m)
	ratio := strconv.FormatFloat(TrendRate, 'f', -1, 64)
	switch {
	case m == Faster:
		return "c.rate > 0", "l.part = c.part and l.rate > 0 and c.rate >= l.rate * " + ratio
	case m == Slower:
		return "c.rate > 0", "l.part = c.part and l.rate >= c.rate * " + ratio
	case i%2 == 0:
		return states[i/2], "not " + before[i/2]
	}
	return "not " + states[i/2], before[i/2]
}

// Trend is what a month did to the axles that are measured now and were so then,
// for whom a forecast of about that day was kept.
type Trend struct {
	Then        fleet.Date // the day compared with
	First, Last fleet.Date // of the forecasts that stand for it
	// Afterwards: some were worked out later, from what was known that day.
	Afterwards bool
	Measured   int // axles now
	Compared   int // of them
	// Past, Due and Near count axles at or past the limit, to be booked by the day
	// at the latest (booked or not), and most likely at their limit within
	// TrendNear days.
	Past, Due, Near TrendCount
	Left            TrendMean // usable thickness at the position that is first to reach its limit, a share
	ByDuty, ByDepot []TrendWear
}

// TrendCount is a number of axles before and now.
type TrendCount struct {
	Then, Now int
	In, Out   int // came and went between; Now = Then + In - Out
}

// TrendMean is the mean of something known of N axles on both days.
type TrendMean struct {
	N         int
	Then, Now float64
}

// TrendWear is how fast the pads or linings of a group wear, in mm per 10,000 km.
type TrendWear struct {
	DepotID        int64 // 0: by duty
	Fleet, Name    string
	Part           fleet.Part
	Rate           TrendMean
	Faster, Slower int // axles, by TrendRate and more
}

// Trend compares the axles with what they were a month before today.
func (db *DB) Trend(ctx context.Context, sc auth.Scope, q OverviewQuery, today fleet.Date) (x Trend, err error) {
	x.Then = today - TrendDays
	now, then := trendStates(today)
	var counts strings.Builder
	sum := func(cond string) { fmt.Fprintf(&counts, ", sum(case when %s then 1 else 0 end)", cond) }
	for i := range now {
		sum(then[i])
		sum(now[i])
		for _, m := range Shifts[2*i : 2*i+2] {
			a, b := shiftSQL(m, today)
			sum(a + " and " + b)
		}
	}
	const (
		leftThen = `((l.thickness_mm - l.limit_mm) / (l.new_mm - l.limit_mm))`
		leftPair = `l.thickness_mm is not null and l.limit_mm is not null and l.new_mm <> l.limit_mm`
		ratePair = `l.part = c.part and c.part in ('pad', 'lining') and l.rate > 0 and c.rate > 0`
	)
	sum(leftPair)
	fmt.Fprintf(&counts, `, coalesce(sum(case when %[1]s then %[2]s end), 0), coalesce(sum(case when %[1]s then %[3]s end), 0)`, leftPair, leftThen, leftShare)
	sum(ratePair)
	fmt.Fprintf(&counts, `, coalesce(sum(case when %[1]s then l.rate end), 0), coalesce(sum(case when %[1]s then c.rate end), 0)`, ratePair)
	for _, m := range []Shift{Faster, Slower} {
		a, b := shiftSQL(m, today)
		sum(a + " and " + b)
	}
	duty, depot := map[trendKey]*TrendWear{}, map[trendKey]*TrendWear{}
	err = db.read(ctx, "compare with a month ago", func(t *tx) error {
		all := q.of(sc, "c")
		all.add(measured)
		if err := t.one([]any{&x.Measured}, `select count(*) from axle_forecasts c`+all.String(), all.args...); err != nil {
			return err
		}
		w := q.of(sc, "c")
		w.add(measured)
		return t.each(func(r *sqlx.Rows) error {
			var g TrendWear
			var d string
			var n int
			var first, last fleet.Date
			var logged time.Time
			var past, due, near TrendCount
			var left TrendMean
			err := r.Scan(&g.DepotID, &g.Fleet, &g.Name, &d, &g.Part, &n, &first, &last, (*instant)(&logged),
				&past.Then, &past.Now, &past.In, &past.Out,
				&due.Then, &due.Now, &due.In, &due.Out,
				&near.Then, &near.Now, &near.In, &near.Out,
				&left.N, &left.Then, &left.Now,
				&g.Rate.N, &g.Rate.Then, &g.Rate.Now, &g.Faster, &g.Slower)
			if err != nil {
				return err
			}
			if x.Compared == 0 || first < x.First {
				x.First = first
			}
			x.Last = max(x.Last, last)
			x.Afterwards = x.Afterwards || fleet.DateOf(logged) > last+1
			x.Compared += n
			x.Past.add(past)
			x.Due.add(due)
			x.Near.add(near)
			x.Left.add(left)
			if g.Rate.N > 0 {
				addWear(depot, trendKey{g.DepotID, "", g.Part}, g)
				g.DepotID, g.Fleet, g.Name = 0, "", d
				addWear(duty, trendKey{0, d, g.Part}, g)
			}
			return nil
		}, `
			select d.id, f.name, d.name, v.duty, c.part, count(*), min(l.as_of), max(l.as_of), max(l.logged_at)`+counts.String()+`
			from axle_forecasts c
			`+t.joinThen()+`
			join vehicles v on v.id = c.vehicle_id
			join depots d on d.id = v.depot_id
			join fleets f on f.id = v.fleet_id`+w.String()+`
			group by d.id, f.name, d.name, v.duty, c.part`, append(trendDays(today), w.args...)...)
	})
	x.Left.divide()
	x.ByDuty, x.ByDepot = wearMoved(duty), wearMoved(depot)
	return x, err
}

// joinThen joins trendThen to an axle_forecasts c. PostgreSQL would join the whole
// log unless it is asked laterally, which SQLite does not know and does not need.
func (t *tx) joinThen() string {
	if t.db.dialect == Postgres {
		return "cross join lateral (select l.* " + trendThen + ") l"
	}
	return `join forecast_log l on l.vehicle_id = c.vehicle_id and l.axle = c.axle and l.as_of = (select l.as_of ` + trendThen + `)`
}

type trendKey struct {
	depot int64
	duty  string
	part  fleet.Part
}

func (c *TrendCount) add(o TrendCount) {
	c.Then += o.Then
	c.Now += o.Now
	c.In += o.In
	c.Out += o.Out
}

// add adds sums; divide makes means of them.
func (m *TrendMean) add(o TrendMean) {
	m.N += o.N
	m.Then += o.Then
	m.Now += o.Now
}

func (m *TrendMean) divide() {
	if m.N > 0 {
		m.Then /= float64(m.N)
		m.Now /= float64(m.N)
	}
}

func addWear(by map[trendKey]*TrendWear, k trendKey, g TrendWear) {
	if w := by[k]; w != nil {
		w.Rate.add(g.Rate)
		w.Faster += g.Faster
		w.Slower += g.Slower
		return
	}
	by[k] = &g
}

// wearMoved are the groups, the one whose rate rose most first.
func wearMoved(by map[trendKey]*TrendWear) (ws []TrendWear) {
	for _, w := range by {
		w.Rate.divide()
		ws = append(ws, *w)
	}
	slices.SortFunc(ws, func(a, b TrendWear) int {
		return cmp.Or(cmp.Compare(b.Rate.Now/b.Rate.Then, a.Rate.Now/a.Rate.Then), strings.Compare(a.Name, b.Name), strings.Compare(string(a.Part), string(b.Part)), strings.Compare(a.Fleet, b.Fleet))
	})
	return ws
}
