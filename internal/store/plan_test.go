package store_test

import (
	"context"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// readsWhole finds the tables that a plan reads from end to end. Reading in
// the order of an index, which a limit ends, is not that.
var readsWhole = map[string]*regexp.Regexp{
	store.SQLite:   regexp.MustCompile(`SCAN \w+( USING COVERING INDEX sqlite_autoindex_\w+)?$`),
	store.Postgres: regexp.MustCompile(`Seq Scan on \w+`),
}

// plan runs f, which reads, and returns each of its queries with its plan.
func plan(t *testing.T, db *store.DB, f func(ctx context.Context) error) map[string]string {
	t.Helper()
	type call struct {
		query string
		args  []any
	}
	var calls []call
	err := f(store.WithTrace(t.Context(), func(query string, args []any) { calls = append(calls, call{query, args}) }))
	if err != nil {
		t.Fatal(err)
	}
	x, err := db.ReadPool().BeginTxx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer x.Rollback()
	explain := "explain "
	if db.Dialect() == store.SQLite {
		explain = "explain query plan "
	}
	if _, err := x.Exec("savepoint fresh"); err != nil {
		t.Fatal(err)
	}
	plans := map[string]string{}
	kept := false // the plan is the same for all values
	for _, c := range calls {
		if strings.Contains(c.query, "savepoint") {
			continue // has no plan
		}
		if c.query == "begin" || strings.Contains(c.query, "set local") {
			if _, err := x.Exec(storetest.Set(c.query)); err != nil {
				t.Fatal(err)
			}
			kept = strings.Contains(c.query, "force_generic_plan")
			continue
		}
		query, args := c.query, c.args
		if kept {
			query, args = storetest.Kept(t, x, query, len(args)), nil
		}
		rows, err := x.Queryx(explain+query, args...)
		if err != nil {
			t.Fatalf("%v\n%s", err, c.query)
		}
		var lines []string
		for rows.Next() {
			columns, err := rows.SliceScan()
			if err != nil {
				t.Fatal(err)
			}
			lines = append(lines, fmt.Sprint(columns[len(columns)-1])) // SQLite has three before
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
		plans[c.query] = strings.Join(lines, "\n")
	}
	return plans
}

// A vehicle's history, a round of histories, the pages of the due-soon list and an
// upload's vehicles touch the rows they need by index, in a fleet large enough for the
// planners to mind.
func TestPlans(t *testing.T) {
	const vehicles, visits = 2000, 10
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var entries []store.VehicleEntry
		for i := range vehicles {
			entries = append(entries, entry(fmt.Sprint("Bus ", i), of(fmt.Sprint("Fleet ", i%20), "Quay")))
		}
		ids := mustVehicles(t, db, entries...)
		mustTakeIn(t, db, func(w *store.Writer) error {
			for from := 0; from < vehicles; from += 500 {
				var as []fleet.Axle
				var rs []fleet.Reading
				var os []fleet.Odometer
				var fs []fleet.Fitment
				for _, id := range ids[from : from+500] {
					as = append(as, fleet.Axle{VehicleID: id, Number: 1, Brake: fleet.DiscBrake, Specs: map[fleet.Part]fleet.Spec{fleet.Pad: {New: 20, Limit: 3}}})
					fs = append(fs, fleet.Fitment{VehicleID: id, Position: pad(1, "", ""), Date: day(1, 1)})
					for k := range fleet.Date(visits) {
						rs = append(rs, reading(id, day(3, 1)+k, 8), reading(id, day(3, 1)+k, 9))
						os = append(os, fleet.Odometer{VehicleID: id, Date: day(3, 1) + k, Km: 1})
					}
				}
				for _, write := range []func() (store.Counts, error){
					func() (store.Counts, error) { return w.Axles(as) },
					func() (store.Counts, error) { return w.Readings(rs) },
					func() (store.Counts, error) { return w.Odometers(os) },
					func() (store.Counts, error) { return w.Fitments(fs) },
				} {
					if _, err := write(); err != nil {
						return err
					}
				}
			}
			return nil
		})
		var fs []store.AxleForecast
		for i, id := range ids {
			for axle := range 3 {
				fs = append(fs, due(id, axle+1, ptr(asOf+fleet.Date(i)), float64(asOf)+float64(i)))
			}
		}
		mustForecasts(t, db, fs...)
		var found []fleet.Finding
		for i, id := range ids {
			f := uneven(id, 4)
			f.Kind = fleet.FindingKinds()[i%len(fleet.FindingKinds())]
			found = append(found, f)
		}
		mustFindings(t, db, asOf, ids, found...)
		small := mustTakeIn(t, db, func(w *store.Writer) error {
			_, err := w.Readings([]fleet.Reading{reading(ids[7], day(6, 1), 7)})
			return err
		})
		if db.Dialect() == store.Postgres {
			mustExec(t, db, "analyze") // as autovacuum does; nothing does so on SQLite
		}

		for name, f := range map[string]func(ctx context.Context) error{
			"history": func(ctx context.Context) error {
				_, err := db.History(ctx, all, ids[7])
				return err
			},
			"forecasts": func(ctx context.Context) error {
				_, err := db.Forecasts(ctx, all, ids[7])
				return err
			},
			"histories": func(ctx context.Context) error {
				return db.EachHistory(ctx, all, nil, func(*store.History) error { return nil })
			},
			"histories by id": func(ctx context.Context) error {
				return db.EachHistory(ctx, all, ids[100:300], func(*store.History) error { return nil })
			},
			"vehicles": func(ctx context.Context) error {
				_, err := db.Vehicles(ctx, all, store.VehicleQuery{})
				return err
			},
			"an upload's vehicles": func(ctx context.Context) error {
				_, err := db.TouchedBy(ctx, all, small.ID)
				return err
			},
			"many visits": func(ctx context.Context) error {
				return db.TakeIn(ctx, all, &fleet.Upload{}, func(w *store.Writer) error {
					_, err := w.Readings(manyVisits(ids[:2]))
					return err
				})
			},
		} {
			for query, plan := range plan(t, db, f) {
				if name == "many visits" {
					if !strings.Contains(query, "spans") {
						continue // what any upload asks
					}
					plan = regexp.MustCompile(`SCAN s\b`).ReplaceAllString(plan, "")
				}
				if strings.Contains(query, "count(*) from vehicles v") && !strings.Contains(query, "where") {
					continue // counts them all
				}
				// They are few.
				plan = regexp.MustCompile(`Seq Scan on (fleets|depots)|SCAN (f|d)\b`).ReplaceAllString(plan, "")
				if whole := readsWhole[db.Dialect()].FindString(plan); whole != "" {
					t.Errorf("%s: %s in\n%s\n%s", name, whole, query, plan)
				}
			}
		}
		open := store.FindingQuery{States: []fleet.FindingState{fleet.OpenFinding}}
		page, err := db.Findings(t.Context(), all, open)
		if err != nil {
			t.Fatal(err)
		}
		next := open
		next.After = page.Next
		for name, c := range map[string]struct {
			q     store.FindingQuery
			index string
		}{
			"first findings":        {open, "findings_open"},
			"next findings":         {next, "findings_open"},
			"findings of a vehicle": {store.FindingQuery{Vehicle: ids[7]}, "findings_"},
		} {
			for query, plan := range plan(t, db, func(ctx context.Context) error {
				_, err := db.Findings(ctx, all, c.q)
				return err
			}) {
				if strings.Contains(query, "order by") && (!strings.Contains(plan, c.index) || readsWhole[db.Dialect()].MatchString(regexp.MustCompile(`Seq Scan on (fleets|depots)|SCAN (l|d)\b`).ReplaceAllString(plan, ""))) {
					t.Errorf("%s: does not use %s alone:\n%s", name, c.index, plan)
				}
			}
		}
		// The due-soon list is read once, and then what was written since.
		for i, sort := range store.DueSorts {
			q := store.DueQuery{Sort: sort, Vehicles: ids[100*i : 100*i+100], Moved: store.IntoDue, Today: asOf}
			if _, err := db.DueSoon(t.Context(), all, q); err != nil {
				t.Fatal(err)
			}
			mustForecasts(t, db, fs[7])
			q.Moved = "" // so that rows are shown as well
			asked := ""
			for query, plan := range plan(t, db, func(ctx context.Context) error {
				_, err := db.DueSoon(ctx, all, q)
				return err
			}) {
				asked += query
				if whole := regexp.MustCompile(`Seq Scan on (axle_forecasts|forecast_log)|SCAN (c|l)\b`).FindString(plan); whole != "" {
					t.Errorf("due by %s: %s in\n%s\n%s", sort, whole, query, plan)
				}
			}
			for _, want := range []string{"c.written", "forecast_log l", "from k\n"} {
				if !strings.Contains(asked, want) {
					t.Errorf("due by %s: nothing was asked with %s", sort, want)
				}
			}
		}
	})
}

// A transaction is explained as it is run, whatever one before was set to.
func TestWholeForgetsSettings(t *testing.T) {
	url := storetest.URL(t, store.Postgres)
	db := storetest.MustOpen(t, url)
	id := mustVehicles(t, db, entry("Bus 1"))[0]
	mustExec(t, db, "analyze vehicles") // one row: reading it whole costs least
	ctx, ran := storetest.Watch(t.Context())
	err := db.TakeIn(ctx, all, &fleet.Upload{}, func(w *store.Writer) error {
		_, err := w.Odometers(manyOdometers(id)) // sets what reads small tables whole
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.BrakeTests(ctx, all, id); err != nil {
		t.Fatal(err)
	}
	for _, whole := range ran.Whole(t, url, []string{"vehicles", "brake_tests"}) {
		if strings.Contains(whole, "count(*) from vehicles v") || strings.Contains(whole, "from brake_tests") {
			t.Errorf("under the settings of the one before: %s", whole)
		}
	}
}
