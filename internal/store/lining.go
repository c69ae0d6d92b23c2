package store

import (
	"context"
	"strconv"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
)

// LeftClass is a class of the share of its usable thickness that an axle has
// left at the position that is first to reach its limit: "past" for none,
// then "0-10" to "90-100" percent, the upper end not included but in the last.
type LeftClass string

// LeftPast is the class of axles at or past their limit.
const LeftPast LeftClass = "past"

// LeftClasses are the classes from nothing left to new.
var LeftClasses = leftClasses()

func leftClasses() []LeftClass {
	cs := []LeftClass{LeftPast}
	for lo := 0; lo < 100; lo += leftStep {
		cs = append(cs, LeftClass(strconv.Itoa(lo)+"-"+strconv.Itoa(lo+leftStep)))
	}
	return cs
}

// leftStep is the width of a class in percent.
const leftStep = 10

// leftShare is the share left of an axle_forecasts c in SQL. A drum's diameter
// grows: both differences change their sign.
const leftShare = `((c.thickness_mm - c.limit_mm) / (c.new_mm - c.limit_mm))`

// measured holds for an axle_forecasts c of which a reading that counts says
// what is left; leftShare can be worked out then, and then only.
const measured = `(c.readings > 0 and c.part <> '' and c.thickness_mm is not null and c.new_mm <> c.limit_mm)`

// bookedFor is the first day for which an axle_forecasts c has an open booking.
const bookedFor = `(
				select min(b.day)
				from bookings b
				join booking_work x on x.booking_id = b.id
				where b.vehicle_id = c.vehicle_id and b.state = 'booked' and x.axle = c.axle)`

// leftClassSQL numbers the class of an axle_forecasts c as LeftClasses does.
var leftClassSQL = func() string {
	var b strings.Builder
	b.WriteString("case when " + leftShare + " <= 0 then 0")
	for i := 1; i < len(LeftClasses)-1; i++ {
		b.WriteString(" when " + leftShare + " < " + leftBound(i) + " then " + strconv.Itoa(i))
	}
	b.WriteString(" else " + strconv.Itoa(len(LeftClasses)-1) + " end")
	return b.String()
}()

// leftBound is the upper end of a class as SQL has it.
func leftBound(class int) string {
	return strconv.FormatFloat(float64(class*leftStep)/100, 'f', 2, 64)
}

// OverviewQuery narrows the figures of an overview; 0 = all.
type OverviewQuery struct{ Fleet, Depot int64 }

// of returns the condition on a table that has fleet_id and depot_id.
func (q OverviewQuery) of(sc auth.Scope, table string) (w where) {
	w.scope(sc, table)
	w.only(table+".fleet_id", q.Fleet)
	w.only(table+".depot_id", q.Depot)
	return w
}

// LiningLeft is how many axles have how much left.
type LiningLeft struct {
	Axles   int   // all there are
	Classes []int // measured axles, as LeftClasses
	// Unmeasured have a specification, and no reading that says what is left.
	Unmeasured int
	// NoForecast have none: no specification, or no forecast was made yet.
	NoForecast int
}

// Measured is how many axles are in a class.
func (l *LiningLeft) Measured() int {
	n := 0
	for _, axles := range l.Classes {
		n += axles
	}
	return n
}

// LiningLeft counts axles by what is left of them.
func (db *DB) LiningLeft(ctx context.Context, sc auth.Scope, q OverviewQuery) (l LiningLeft, err error) {
	l.Classes = make([]int, len(LeftClasses))
	err = db.read(ctx, "count what is left", func(t *tx) error {
		w := q.of(sc, "c")
		forecasts := 0
		err := t.each(func(r *sqlx.Rows) error {
			var class, n int
			err := r.Scan(&class, &n)
			if forecasts += n; class < 0 {
				l.Unmeasured = n
			} else {
				l.Classes[class] = n
			}
			return err
		}, `
			select x.class, count(*)
			from (
				select case when `+measured+` then `+leftClassSQL+` else -1 end as class
				from axle_forecasts c`+w.String()+`) x
			group by x.class`, w.args...)
		if err != nil {
			return err
		}
		// Nearly every axle has a forecast.
		v := q.of(sc, "v")
		err = t.one([]any{&l.Axles}, `
			select count(*)
			from axles a
			join vehicles v on v.id = a.vehicle_id`+v.String(), v.args...)
		l.NoForecast = max(0, l.Axles-forecasts)
		return err
	})
	return l, err
}
