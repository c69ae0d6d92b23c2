package store

import (
	"cmp"
	"context"
	"encoding/json"
	"iter"
	"math"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// AxleForecast is an axle's forecast with what was decided on it. The paths
// of its positions are not kept.
type AxleForecast struct {
	VehicleID int64
	BookBy    *fleet.Date // nil when not known or too far away
	Risk      float64     // accepted risk behind BookBy
	// PastLimit: last measured at or below the limit, or more likely than not
	// past it.
	PastLimit bool
	forecast.AxleForecast
}

// stagedForecasts has the columns of axle_forecasts but fleet_id and depot_id,
// which are the vehicle's.
var stagedForecasts = stage{
	name: "staged_forecasts",
	from: "axle_forecasts",
	columns: []string{
		"vehicle_id", "axle", "model", "as_of", "odometer_km", "km_per_day", "readings",
		"book_by", "risk", "past_limit",
		"limiting", "part", "side", "face", "thickness_mm", "new_mm", "limit_mm", "rate",
		"km_left", "p05", "p10", "p50", "p90", "p95", "width80_days", "width80_if_measured",
		"warnings", "basis",
		"by_due", "by_limit", "by_km", "by_thickness", "by_narrowing",
		"km_quantiles", "day_quantiles",
	},
}

// SaveForecasts replaces the latest forecast of each axle in fs, in one
// transaction, and logs those that say something new: of axles measured since
// the last one in the log, or whose last one is a week old. st is of their vehicles.
func (db *DB) SaveForecasts(ctx context.Context, sc auth.Scope, st *Standing, fs []AxleForecast) error {
	if len(fs) == 0 {
		return nil
	}
	return db.tend(ctx, "keep forecasts", func(t *tx) error { return t.saveForecasts(sc, st, fs) })
}

func (t *tx) saveForecasts(sc auth.Scope, st *Standing, fs []AxleForecast) error {
	if err := t.fillForecasts(fs); err != nil {
		return err
	}
	if n, err := t.upsertForecasts(sc); err != nil {
		return err
	} else if n != len(fs) {
		return cmp.Or(t.checkVehicles(sc, stagedForecasts.name), fleet.Conflictf("a vehicle was moved meanwhile: forecast it again"))
	}
	if err := t.savePositions(fs); err != nil {
		return err
	}
	return t.logForecasts(st.untold(fs))
}

// LogForecasts logs forecasts of past days, each unless one of the same day is in
// the log, and leaves the latest as they are.
func (db *DB) LogForecasts(ctx context.Context, sc auth.Scope, fs []AxleForecast) error {
	if len(fs) == 0 {
		return nil
	}
	return db.tend(ctx, "log forecasts", func(t *tx) error {
		if err := t.logForecasts(fs); err != nil {
			return err
		}
		if err := t.checkVehicles(sc, stagedLog.name); err != nil {
			return err
		}
		// What an axle was a month ago is held with what it is: see dueList. Nobody looks
		// back further from the day of its forecast or after, nor from the day before,
		// which it still is elsewhere.
		until := latestDay(fs) + TrendDays + trendSlack + 1
		if t.db.dialect == Postgres {
			// In the order of those who save forecasts: two would wait for each other.
			_, err := t.exec(`
				select 1
				from axle_forecasts c
				where (c.vehicle_id, c.axle) in (select vehicle_id, axle from staged_log) and c.as_of < ?
				order by c.vehicle_id, c.axle
				for no key update`, until)
			if err != nil {
				return err
			}
		}
		_, err := t.exec(`
			update axle_forecasts set written = `+t.writing("axle_forecasts")+`
			where (vehicle_id, axle) in (select vehicle_id, axle from staged_log) and as_of < ?`, until)
		return err
	})
}

// latestDay is the last day that a forecast of fs is of.
func latestDay(fs []AxleForecast) fleet.Date {
	latest := fs[0].AsOf
	for i := range fs {
		latest = max(latest, fs[i].AsOf)
	}
	return fleet.Date(latest)
}

func (t *tx) fillForecasts(fs []AxleForecast) error {
	var failed error
	err := t.fill(stagedForecasts, forecastRows(fs, &failed))
	return cmp.Or(failed, err)
}

// forecastRows are the rows of stagedForecasts; an error ends them.
func forecastRows(fs []AxleForecast, failed *error) iter.Seq[[]any] {
	return func(yield func([]any) bool) {
		row := make([]any, 0, len(stagedForecasts.columns))
		for i := range fs {
			f := &fs[i]
			d := decide(f)
			var warnings, basis []byte
			if warnings, *failed = json.Marshal(f.Warnings); *failed != nil {
				return
			}
			if basis, *failed = json.Marshal(basisJSON(f.Basis)); *failed != nil {
				return
			}
			row = append(row[:0],
				f.VehicleID, f.Axle, f.Model, fleet.Date(f.AsOf), number(f.OdometerKm), number(f.KmPerDay), f.Readings,
				f.BookBy, f.Risk, f.PastLimit,
				f.Limiting, string(d.pos.Part), d.pos.Side, d.pos.Face, number(d.thickness), number(d.new), number(d.limit), number(d.rate),
				number(d.kmLeft), d.p05, d.p10, d.p50, d.p90, d.p95, number(f.Basis.Width80Days), number(f.Basis.Width80IfMeasured),
				storableOf(string(warnings)), storableOf(string(basis)),
				d.byDue, d.byLimit, d.byKm, d.byThickness, d.byNarrowing,
				quantiles{&f.Crossing.Km}, quantiles{&f.Crossing.Day})
			if !yield(row) {
				return
			}
		}
	}
}

// upsertForecasts stores the staged forecasts of vehicles that sc sees, and returns
// how many they are.
func (t *tx) upsertForecasts(sc auth.Scope) (int, error) {
	columns := stagedForecasts.columns
	var set []string
	for _, c := range append([]string{"depot_id", "written"}, columns[2:]...) { // the first two are the key
		set = append(set, c+" = excluded."+c)
	}
	var w where
	w.add("true")
	w.scope(sc, "v")
	n := 0
	err := t.each(func(*sqlx.Rows) error { n++; return nil }, `
		insert into axle_forecasts (fleet_id, depot_id, written, `+strings.Join(columns, ", ")+`)
		select v.fleet_id, v.depot_id, `+t.writing("axle_forecasts")+`, s.`+strings.Join(columns, ", s.")+`
		from staged_forecasts s
		join vehicles v on v.id = s.vehicle_id`+w.String()+`
		order by s.vehicle_id, s.axle
		on conflict (vehicle_id, axle) do update set `+strings.Join(set, ", ")+`
		returning 1`, w.args...)
	return n, err
}

// stagedLog has the columns of forecast_log but fleet_id and logged_at.
var stagedLog = stage{
	name: "staged_log",
	from: "forecast_log",
	columns: []string{
		"vehicle_id", "axle", "as_of", "model", "readings", "odometer_km",
		"book_by", "risk", "past_limit",
		"part", "thickness_mm", "new_mm", "limit_mm", "rate",
		"day_p025", "day_p05", "day_p10", "day_p25", "day_p50", "day_p75", "day_p90", "day_p95", "day_p975",
		"km_p025", "km_p05", "km_p10", "km_p25", "km_p50", "km_p75", "km_p90", "km_p95", "km_p975",
	},
}

// logLevels are the quantiles in the log: the 50, 80, 90 and 95 % intervals
// and the median.
var logLevels = []float64{.025, .05, .10, .25, .50, .75, .90, .95, .975}

// logEvery is how many days a logged forecast stands for those made after it
// from the same readings. Every night's would be 91 million rows a year for
// 250,000 axles; this is at most 13 million, and some two million for what was
// measured. What is read from the log is who promised what a month or more
// ahead: a week does not matter to that, and between readings a forecast hardly
// moves. The refit of a night logs the axles whose week is over, so the work is
// spread over the week.
const logEvery = 7

// logForecasts logs those forecasts of whose day none is in the log.
func (t *tx) logForecasts(fs []AxleForecast) error {
	if len(fs) == 0 {
		return nil
	}
	row := make([]any, len(stagedLog.columns))
	err := t.fill(stagedLog, func(yield func([]any) bool) {
		for i := range fs {
			f := &fs[i]
			row = append(row[:0],
				f.VehicleID, f.Axle, fleet.Date(f.AsOf), f.Model, f.Readings, number(f.OdometerKm),
				f.BookBy, f.Risk, f.PastLimit)
			at := decide(f)
			row = append(row, string(at.pos.Part), number(at.thickness), number(at.new), number(at.limit), number(at.rate))
			for _, d := range []forecast.Dist{f.Crossing.Day, f.Crossing.Km} {
				for _, p := range logLevels {
					row = append(row, number(d.Quantile(p)))
				}
			}
			if !yield(row) {
				return
			}
		}
	})
	if err != nil {
		return err
	}
	return t.later(`
		insert into forecast_log (fleet_id, logged_at, `+strings.Join(stagedLog.columns, ", ")+`)
		select v.fleet_id, CAST(? AS `+t.db.instantType()+`), s.`+strings.Join(stagedLog.columns, ", s.")+`
		from staged_log s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by s.vehicle_id, s.axle
		on conflict do nothing`, instant(t.db.now()))
}

// decided is what the due-soon list shows and is ordered by.
type decided struct {
	pos                            forecast.Position // most likely to be first
	thickness, new, limit, rate    float64           // of pos; NaN when there is none
	kmLeft                         float64
	p05, p10, p50, p90, p95        *fleet.Date
	byDue, byLimit                 fleet.Date
	byKm, byThickness, byNarrowing float64
}

// never sorts after every date there is.
var never = fleet.Latest

func decide(f *AxleForecast) decided {
	nan := math.NaN()
	d := decided{thickness: nan, new: nan, limit: nan, rate: nan, byDue: never, byLimit: never}
	left := nan // mm above the limit
	if f.Limiting >= 0 && f.Limiting < len(f.Positions) {
		p := &f.Positions[f.Limiting]
		d.pos = p.Pos
		d.thickness, d.rate = p.ThicknessMM, p.RatePer10000
		d.new, d.limit = p.Spec.New, p.Spec.Limit
		left = d.thickness - d.limit
		if d.new < d.limit { // it grows as it wears
			left = -left
		}
	}
	d.kmLeft = f.Crossing.Km.Quantile(.5) - f.OdometerKm
	// For the list; the quantiles themselves are kept whole.
	date := func(p float64) *fleet.Date {
		day, ok := forecast.DayWithin(f.Crossing.Day.Quantile(p), f.AsOf)
		if !ok {
			return nil
		}
		date := fleet.Date(day)
		return &date
	}
	d.p05, d.p10, d.p50, d.p90, d.p95 = date(.05), date(.10), date(.50), date(.90), date(.95)

	if f.BookBy != nil {
		d.byDue = *f.BookBy
	}
	if f.PastLimit {
		d.byDue = min(d.byDue, fleet.Date(f.AsOf))
	}
	if d.p50 != nil {
		d.byLimit = *d.p50
	}
	d.byKm = knownFirst(d.kmLeft)
	d.byThickness = knownFirst(left)
	d.byNarrowing = knownFirst(f.Basis.Width80IfMeasured - f.Basis.Width80Days)
	return d
}

// knownFirst makes what is not known sort last.
func knownFirst(x float64) float64 {
	if math.IsNaN(x) {
		return math.Inf(1)
	}
	return x
}

// Forecasts returns the latest forecasts of a vehicle's axles, by axle.
func (db *DB) Forecasts(ctx context.Context, sc auth.Scope, vehicleID int64) ([]AxleForecast, error) {
	_, fs, err := db.NumberedForecasts(ctx, sc, vehicleID)
	return fs, err
}

// NumberedForecasts is Forecasts with what people call the vehicle.
func (db *DB) NumberedForecasts(ctx context.Context, sc auth.Scope, vehicleID int64) (number string, fs []AxleForecast, err error) {
	var w where
	w.scope(sc, "v")
	w.add("v.id = ?", vehicleID)
	var got forecastsRead
	err = db.ask(ctx, "read forecasts", got.scan, forecastsQuery(w), w.args...)
	if err != nil || len(got.fs) > 0 {
		return got.number, got.fs, err
	}
	number, err = db.VehicleNumber(ctx, sc, vehicleID)
	return number, nil, err
}

// axleForecasts returns the forecasts of vehicles, by vehicle and axle, with
// their positions.
func (t *tx) axleForecasts(vehicleIDs ...int64) ([]AxleForecast, error) {
	var w where
	w.among("v.id", vehicleIDs)
	var got forecastsRead
	err := t.each(got.scan, forecastsQuery(w), w.args...)
	return got.fs, err
}

// forecastsQuery asks for the forecasts of the vehicles v that w admits, with their
// positions, so that the two tables are read in one state by themselves.
func forecastsQuery(w where) string {
	return `
		select
			v.number,
			f.vehicle_id,
			f.axle,
			f.model,
			f.as_of,
			f.odometer_km,
			f.km_per_day,
			f.readings,
			f.book_by,
			f.risk,
			f.past_limit,
			f.limiting,
			f.warnings,
			f.basis,
			f.km_quantiles,
			f.day_quantiles,
			p.positions,
			p.km_quantiles,
			p.day_quantiles
		from vehicles v
		join axle_forecasts f on f.vehicle_id = v.id
		left join forecast_positions p on p.vehicle_id = f.vehicle_id and p.axle = f.axle` + w.String() + `
		order by f.vehicle_id, f.axle`
}

// forecastsRead is what was read of a forecastsQuery.
type forecastsRead struct {
	number string // of the last vehicle
	fs     []AxleForecast
}

func (got *forecastsRead) scan(r *sqlx.Rows) error {
	var f AxleForecast
	var warnings, basis []byte
	var ps positionsRead
	err := r.Scan(
		&got.number,
		&f.VehicleID,
		&f.Axle,
		&f.Model,
		(*fleet.Date)(&f.AsOf),
		(*number)(&f.OdometerKm),
		(*number)(&f.KmPerDay),
		&f.Readings,
		&f.BookBy,
		&f.Risk,
		&f.PastLimit,
		&f.Limiting,
		&warnings,
		&basis,
		quantiles{&f.Crossing.Km},
		quantiles{&f.Crossing.Day},
		&ps.positions,
		&ps.km,
		&ps.day)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(warnings, &f.Warnings); err != nil {
		return err
	}
	if err := json.Unmarshal(basis, (*basisJSON)(&f.Basis)); err != nil {
		return err
	}
	if f.Positions, err = ps.whole(func(forecast.Part) bool { return true }); err != nil {
		return err
	}
	got.fs = append(got.fs, f)
	return nil
}
