package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// brakeTestColumns are those that a test itself gives, in the order of
// brakeTestRow.
var brakeTestColumns = []string{
	"vehicle_id", "day", "method", "system", "stage", "odometer_km",
	"weight_kg", "force_unit", "mean_decel", "peak_decel",
	"speed_kmh", "distance_m", "begin_m", "end_m", "pedal_n",
	"technician", "note", "content", "line",
}

func brakeTestRow(row []any, b *fleet.BrakeTest) []any {
	return append(row,
		b.VehicleID, b.Date, string(b.Method), string(b.System), string(b.Stage), b.OdometerKm,
		b.WeightKg, b.ForceUnit, b.Mean, b.Peak,
		b.SpeedKmh, b.DistanceM, b.BeginM, b.EndM, b.PedalN,
		b.Technician, b.Note, contentOf(b), b.Line)
}

// contentOf hashes what was measured: a test of the same day that measured the
// same is the same.
func contentOf(b *fleet.BrakeTest) string {
	var s strings.Builder
	fmt.Fprint(&s, b.Method, "|", b.System, "|", b.Stage, "|",
		b.WeightKg, "|", b.Mean, "|", b.Peak, "|", b.SpeedKmh, "|", b.DistanceM, "|", b.BeginM, "|", b.EndM, "|", b.PedalN)
	ws := slices.Clone(b.Wheels)
	slices.SortFunc(ws, func(a, b fleet.WheelEffort) int {
		if a.Axle != b.Axle {
			return a.Axle - b.Axle
		}
		return strings.Compare(string(a.Side), string(b.Side))
	})
	for _, w := range ws {
		fmt.Fprint(&s, "|", w.Axle, w.Side, w.N, w.Locked)
	}
	sum := sha256.Sum256([]byte(s.String()))
	return hex.EncodeToString(sum[:16])
}

// brakeTestKey is what makes a test the same as another.
func brakeTestKey(b *fleet.BrakeTest) []any { return []any{b.VehicleID, b.Date, contentOf(b)} }

var (
	stagedBrakeTests = stage{name: "staged_brake_tests", from: "brake_tests", columns: brakeTestColumns}
	stagedEfforts    = stage{
		name:    "staged_brake_efforts",
		from:    "brake_efforts join brake_tests on brake_tests.id = brake_efforts.test_id",
		columns: []string{"vehicle_id", "day", "content", "axle", "side", "force_n", "locked"},
	}
)

// BrakeTests adds brake tests, counted by their lines. One is already there
// when the vehicle has one of the same day that measured the same, even if it
// was set aside.
func (w *Writer) BrakeTests(bs []fleet.BrakeTest) (c Counts, err error) {
	defer w.end("store brake tests", &err)
	if len(bs) == 0 {
		return c, nil
	}
	for i := range bs {
		if err := bs[i].Validate(); err != nil {
			return c, err
		}
	}
	row := make([]any, 0, len(brakeTestColumns))
	err = w.t.fill(stagedBrakeTests, func(yield func([]any) bool) {
		for i := range bs {
			if row = brakeTestRow(row[:0], &bs[i]); !yield(row) {
				return
			}
		}
	})
	if err != nil {
		return c, err
	}
	if err := enter(w, bs, func(b *fleet.BrakeTest) int64 { return b.VehicleID }); err != nil {
		return c, err
	}
	type key struct {
		vehicle int64
		day     fleet.Date
		content string
	}
	added := map[key]bool{}
	columns := strings.Join(brakeTestColumns, ", ")
	err = w.t.each(func(r *sqlx.Rows) error {
		var k key
		err := r.Scan(&k.vehicle, &k.day, &k.content)
		added[k] = true
		return err
	}, `
		insert into brake_tests (fleet_id, upload_id, `+columns+`)
		select v.fleet_id, ?, s.`+strings.Join(brakeTestColumns, ", s.")+`
		from staged_brake_tests s
		join vehicles v on v.id = s.vehicle_id
		where true
		order by s.vehicle_id, s.day, s.line
		on conflict do nothing
		returning vehicle_id, day, content`, w.upload)
	if err != nil {
		return c, err
	}
	// Of two that are the same in one call the second is a repetition.
	var fresh []*fleet.BrakeTest
	for i := range bs {
		b := &bs[i]
		k := key{b.VehicleID, b.Date, contentOf(b)}
		if !added[k] {
			c.Repeated += max(b.Lines, 1)
			continue
		}
		delete(added, k)
		c.Added += max(b.Lines, 1)
		fresh = append(fresh, b)
	}
	return c, w.efforts(fresh)
}

// efforts adds the forces at the wheels of tests that this upload has added.
func (w *Writer) efforts(bs []*fleet.BrakeTest) error {
	row := make([]any, 0, len(stagedEfforts.columns))
	err := w.t.fill(stagedEfforts, func(yield func([]any) bool) {
		for _, b := range bs {
			content := contentOf(b)
			for _, e := range b.Wheels {
				row = append(row[:0], b.VehicleID, b.Date, content, e.Axle, string(e.Side), e.N, e.Locked)
				if !yield(row) {
					return
				}
			}
		}
	})
	if err != nil {
		return err
	}
	_, err = w.t.exec(`
		insert into brake_efforts (test_id, fleet_id, axle, side, force_n, locked)
		select b.id, b.fleet_id, s.axle, s.side, s.force_n, s.locked
		from staged_brake_efforts s
		join brake_tests b on b.vehicle_id = s.vehicle_id and b.day = s.day and b.content = s.content and b.upload_id = ?`, w.upload)
	return err
}

// brakeTestsKind is the kind of the uploads of brake tests.
const brakeTestsKind = "brake_tests"

// AddBrakeTest stores one test that was entered on its page, and returns it as
// it is stored; the same again changes nothing and returns what is there.
func (db *DB) AddBrakeTest(ctx context.Context, sc auth.Scope, b fleet.BrakeTest, by string) (got fleet.BrakeTest, added bool, err error) {
	up := fleet.Upload{Kind: brakeTestsKind, Name: "Brake test entered", By: by}
	err = db.TakeIn(ctx, sc, &up, func(w *Writer) error {
		c, err := w.BrakeTests([]fleet.BrakeTest{b})
		if err != nil {
			return err
		}
		up.Accepted, up.Repeated = c.Added, c.Repeated
		added = c.Added > 0
		self := where{[]string{"r.vehicle_id = ?", "r.day = ?", "r.content = ?"}, brakeTestKey(&b)}
		return w.t.brakeTests(self, either, func(x *fleet.BrakeTest) {
			if got.ID == 0 || x.Aside == nil {
				got = *x
			}
		})
	})
	return got, added, err
}

// CorrectBrakeTest puts another test in the place of one, which is kept.
func (db *DB) CorrectBrakeTest(ctx context.Context, sc auth.Scope, id int64, b fleet.BrakeTest, why fleet.Reason) (c fleet.Correction, err error) {
	rec := fleet.Record{Kind: fleet.BrakeTestRecord, ID: id}
	if err := errors.Join(why.Validate(), b.Validate()); err != nil {
		return c, err
	}
	up := fleet.Upload{Kind: CorrectionsKind, Name: "Correction of " + rec.String(), By: why.By, Accepted: 1}
	err = db.TakeIn(ctx, sc, &up, func(w *Writer) (err error) {
		defer w.end("correct "+rec.String(), &err)
		at, err := w.t.hold(w.sc, rec)
		if err != nil {
			return err
		}
		if at.aside != nil {
			return goneBy(rec, at.aside)
		}
		if err := w.place(at.fleet, at.depot); err != nil {
			return err
		}
		var old fleet.BrakeTest
		if err := w.t.brakeTests(where{[]string{"r.id = ?"}, []any{id}}, either, func(x *fleet.BrakeTest) { old = *x }); err != nil {
			return err
		}
		b.VehicleID, b.Line = at.vehicle, 0
		if sameBrakeTest(&b, &old) {
			return fleet.Invalidf("%s: nothing is changed: what was given is what is there", rec)
		}
		stands, err := w.supersedeBrakeTest(rec, at, &b)
		if err != nil {
			return err
		}
		c = fleet.Correction{VehicleID: at.vehicle, Record: rec, Act: fleet.Corrected, StandsID: stands, Reason: why}
		return w.t.aside(&c, at)
	})
	return c, err
}

func sameBrakeTest(a, b *fleet.BrakeTest) bool {
	return a.Date == b.Date && contentOf(a) == contentOf(b) && sameKm(a.OdometerKm, b.OdometerKm) &&
		a.Technician == b.Technician && a.Note == b.Note
}

func (w *Writer) supersedeBrakeTest(rec fleet.Record, at holder, b *fleet.BrakeTest) (id int64, err error) {
	revision, err := w.revision(rec, brakeTestKey(b)...)
	if err != nil {
		return 0, err
	}
	row := brakeTestRow([]any{at.fleet, w.upload, revision}, b)
	if err := checkTexts(row); err != nil {
		return 0, err
	}
	err = w.t.one([]any{&id}, `
		insert into brake_tests (fleet_id, upload_id, revision, `+strings.Join(brakeTestColumns, ", ")+`)
		values `+places(len(row))+`
		returning id`, row...)
	if err != nil {
		return 0, err
	}
	for _, e := range b.Wheels {
		_, err := w.t.exec(`
			insert into brake_efforts (test_id, fleet_id, axle, side, force_n, locked)
			values (?, ?, ?, ?, ?, ?)`, id, at.fleet, e.Axle, string(e.Side), e.N, e.Locked)
		if err != nil {
			return 0, err
		}
	}
	return id, nil
}

// brakeTests calls fn for the brake tests r of kind k that w admits, with
// their efforts, in the order they were done: by day, before a job before
// after it. b may be kept.
func (t *tx) brakeTests(w where, k which, fn func(b *fleet.BrakeTest)) error {
	w = k.of(w)
	var tests []*fleet.BrakeTest
	byID := map[int64]*fleet.BrakeTest{}
	err := t.each(func(r *sqlx.Rows) error {
		b := &fleet.BrakeTest{}
		var a asideRow
		var set, verdict, judgement, facts, why *string
		var number int
		var at *time.Time
		err := r.Scan(append([]any{
			&b.ID,
			&b.VehicleID,
			&b.Date,
			&b.Method,
			&b.System,
			&b.Stage,
			&b.OdometerKm,
			&b.WeightKg,
			&b.ForceUnit,
			&b.Mean,
			&b.Peak,
			&b.SpeedKmh,
			&b.DistanceM,
			&b.BeginM,
			&b.EndM,
			&b.PedalN,
			&b.Technician,
			&b.Note,
			&b.UploadID,
			&b.Line,
			&set,
			&verdict,
			&judgement,
			&facts,
			&why,
			&number,
			maybeInstant{&at},
		}, k.dest(&a)...)...)
		b.Aside = a.aside()
		if judgement != nil {
			b.Said = &fleet.Said{Number: number, RuleSet: *set, Verdict: *verdict, Judgement: []byte(*judgement), Facts: *facts, Why: *why, At: *at}
		}
		tests = append(tests, b)
		byID[b.ID] = b
		return err
	}, `
		select
			r.id,
			r.vehicle_id,
			r.day,
			r.method,
			r.system,
			r.stage,
			r.odometer_km,
			r.weight_kg,
			r.force_unit,
			r.mean_decel,
			r.peak_decel,
			r.speed_kmh,
			r.distance_m,
			r.begin_m,
			r.end_m,
			r.pedal_n,
			r.technician,
			r.note,
			r.upload_id,
			r.line,
			coalesce(k.rule_set, j.rule_set),
			coalesce(k.verdict, j.verdict),
			coalesce(k.judgement, j.judgement),
			coalesce(k.facts, j.facts, ''),
			coalesce(k.why, ''),
			coalesce(k.number, 0),
			coalesce(k.judged_at, j.judged_at)`+k.columns()+`
		from brake_tests r
		left join brake_test_verdicts j on j.test_id = r.id
		left join brake_test_rejudgements k on k.test_id = r.id
			and k.number = (select max(number) from brake_test_rejudgements where test_id = r.id)`+w.String()+`
		order by
			r.vehicle_id,
			r.day,
			case r.stage when 'before' then 0 when 'after' then 2 else 1 end,
			r.id`, w.args...)
	if err != nil || len(tests) == 0 {
		return err
	}
	err = t.each(func(r *sqlx.Rows) error {
		var id int64
		var e fleet.WheelEffort
		err := r.Scan(&id, &e.Axle, &e.Side, &e.N, &e.Locked)
		byID[id].Wheels = append(byID[id].Wheels, e)
		return err
	}, `
		select e.test_id, e.axle, e.side, e.force_n, e.locked
		from brake_tests r
		join brake_efforts e on e.test_id = r.id`+w.String()+`
		order by e.test_id, e.axle, e.side`, w.args...)
	if err != nil {
		return err
	}
	for _, b := range tests {
		fn(b)
	}
	return nil
}

// BrakeTests returns all tests of a vehicle in the order they were done; those
// that no longer count have their Aside.
func (db *DB) BrakeTests(ctx context.Context, sc auth.Scope, vehicleID int64) (bs []fleet.BrakeTest, err error) {
	err = db.read(ctx, "read brake tests", func(t *tx) error {
		if err := t.sees(sc, vehicleID); err != nil {
			return err
		}
		return t.brakeTests(where{[]string{"r.vehicle_id = ?"}, []any{vehicleID}}, either, func(b *fleet.BrakeTest) {
			bs = append(bs, *b)
		})
	})
	return bs, err
}

// BrakeTest returns one brake test, whether it counts or not.
func (db *DB) BrakeTest(ctx context.Context, sc auth.Scope, id int64) (b fleet.BrakeTest, err error) {
	rec := fleet.Record{Kind: fleet.BrakeTestRecord, ID: id}
	err = db.read(ctx, "read "+rec.String(), func(t *tx) error {
		w := where{[]string{"r.id = ?"}, []any{id}}
		w.vehicles(sc, "r.vehicle_id")
		if err := t.brakeTests(w, either, func(x *fleet.BrakeTest) { b = *x }); err != nil {
			return err
		}
		if b.ID == 0 {
			return fleet.NotFoundf("%s: there is none, or none that you may see", rec)
		}
		return nil
	})
	return b, err
}

// sees is an error unless sc sees the vehicle.
func (t *tx) sees(sc auth.Scope, vehicleID int64) error {
	var w where
	w.add("v.id = ?", vehicleID)
	w.scope(sc, "v")
	var n int
	err := t.one([]any{&n}, `select count(*) from vehicles v`+w.String(), w.args...)
	if err == nil && n == 0 {
		err = noVehicle(vehicleID)
	}
	return err
}
