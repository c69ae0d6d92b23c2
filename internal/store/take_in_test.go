package store_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestVehicles(t *testing.T) {
	full := func(e *store.VehicleEntry) {
		e.Plate, e.Category, e.Make, e.Model, e.Year, e.Duty = "QX 1", "M3", "Maker", "Model", 2019, "city"
	}
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		for _, c := range []struct {
			name    string
			entries []store.VehicleEntry
			want    store.Counts
		}{
			{"new", []store.VehicleEntry{entry("Bus 1", full), entry("Bus 2")}, store.Counts{Added: 2}},
			{"again", []store.VehicleEntry{entry("Bus 1", full), entry("Bus 2")}, store.Counts{Repeated: 2}},
			{"blanks keep what is known", []store.VehicleEntry{entry("Bus 1"), {Fleet: "North", Vehicle: fleet.Vehicle{Number: "Bus 1"}}}, store.Counts{Repeated: 2}},
			{"fleet and depot in another case", []store.VehicleEntry{entry("Bus 2", of(" NORTH ", "quay"))}, store.Counts{Repeated: 1}},
			{"same number in another fleet", []store.VehicleEntry{entry("Bus 1", of("South", "Quay"))}, store.Counts{Added: 1}},
			{"changed", []store.VehicleEntry{entry("Bus 2", func(e *store.VehicleEntry) { e.Plate = "QX 2" })}, store.Counts{Changed: 1}},
			{"moved", []store.VehicleEntry{entry("Bus 2", of("North", "Hill"))}, store.Counts{Changed: 1}},
			{"twice in one call", []store.VehicleEntry{entry("Bus 3"), entry("Bus 3", full), entry("Bus 3", full)}, store.Counts{Added: 1, Changed: 1, Repeated: 1}},
			{"none", nil, store.Counts{}},
		} {
			mustTakeIn(t, db, func(w *store.Writer) error {
				got, err := w.Vehicles(c.entries)
				if got != c.want {
					t.Errorf("%s: got %+v, want %+v", c.name, got, c.want)
				}
				return err
			})
		}
		page, err := db.Vehicles(t.Context(), all, store.VehicleQuery{})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, v := range page.Rows {
			got = append(got, strings.Join([]string{v.Fleet, v.Depot, v.Number, v.Plate, string(v.Category), v.Make, v.Model, fmt.Sprint(v.Year), v.Duty}, "|"))
		}
		want := []string{
			"North|Quay|Bus 1|QX 1|M3|Maker|Model|2019|city",
			"South|Quay|Bus 1|||||0|",
			"North|Hill|Bus 2|QX 2||||0|",
			"North|Quay|Bus 3|QX 1|M3|Maker|Model|2019|city",
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
	})
}

func TestVehiclesRefused(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		for _, c := range []struct {
			name  string
			entry store.VehicleEntry
		}{
			{"no number", entry(" ")},
			{"no fleet", entry("Bus 1", of("", "Quay"))},
			{"no depot, new", entry("Bus 1", of("North", " "))},
			{"no category", entry("Bus 1", func(e *store.VehicleEntry) { e.Category = "X9" })},
			{"not UTF-8", entry("Bus \xff")},
			{"fleet not UTF-8", entry("Bus 1", of("\xff", "Quay"))},
			{"depot with a zero byte", entry("Bus 1", of("North", "a\x00"))},
		} {
			err := db.TakeIn(t.Context(), all, &fleet.Upload{}, func(w *store.Writer) error {
				_, err := w.Vehicles([]store.VehicleEntry{c.entry})
				return err
			})
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("%s: got %v, want invalid", c.name, err)
			}
		}
		if n := count(t, db, "select count(*) from fleets"); n != 0 {
			t.Errorf("%d fleets were kept of refused uploads", n)
		}
	})
}

func TestAxles(t *testing.T) {
	pads := fleet.Spec{New: 20, Limit: 3, Source: "maker"}
	thin := fleet.Spec{New: 20, Limit: 5, Source: "maker"}
	rotors := fleet.Spec{New: 45, Limit: 37, Source: "maker"}
	linings := fleet.Spec{New: 19, Limit: 6.4, Source: "US-05"}
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		disc := func(number int, specs map[fleet.Part]fleet.Spec) fleet.Axle {
			return fleet.Axle{VehicleID: v, Number: number, Brake: fleet.DiscBrake, Specs: specs}
		}
		drum := fleet.Axle{VehicleID: v, Number: 2, Brake: fleet.DrumBrake, Specs: map[fleet.Part]fleet.Spec{fleet.Lining: linings}}
		for _, c := range []struct {
			name  string
			axles []fleet.Axle
			want  store.Counts
		}{
			{"new", []fleet.Axle{disc(1, map[fleet.Part]fleet.Spec{fleet.Pad: pads}), disc(2, nil)}, store.Counts{Added: 2}},
			{"again", []fleet.Axle{disc(1, map[fleet.Part]fleet.Spec{fleet.Pad: pads}), disc(2, nil)}, store.Counts{Repeated: 2}},
			{"without a part keeps it", []fleet.Axle{disc(1, nil)}, store.Counts{Repeated: 1}},
			{"another part joins, twice in one call", []fleet.Axle{
				disc(1, map[fleet.Part]fleet.Spec{fleet.Rotor: rotors}),
				disc(1, map[fleet.Part]fleet.Spec{fleet.Pad: thin}),
			}, store.Counts{Changed: 2}},
			{"another brake drops the old parts", []fleet.Axle{drum}, store.Counts{Changed: 1}},
			{"none", nil, store.Counts{}},
		} {
			mustTakeIn(t, db, func(w *store.Writer) error {
				got, err := w.Axles(c.axles)
				if got != c.want {
					t.Errorf("%s: got %+v, want %+v", c.name, got, c.want)
				}
				return err
			})
		}
		index, err := db.AxleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		want := map[store.AxleKey]map[fleet.Part]fleet.Spec{
			{VehicleID: v, Axle: 1}: {fleet.Pad: thin, fleet.Rotor: rotors},
			{VehicleID: v, Axle: 2}: {fleet.Lining: linings},
		}
		got := map[store.AxleKey]map[fleet.Part]fleet.Spec{}
		for k, a := range index {
			got[k] = a.Specs
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
		if b := index[store.AxleKey{VehicleID: v, Axle: 2}].Brake; b != fleet.DrumBrake {
			t.Errorf("axle 2: got a %s brake, want drum", b)
		}
	})
}

// Sending the same rows again adds nothing, also when some were set aside.
func TestResend(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		left := reading(v, day(3, 1), 8.2)
		right := left
		right.Position.Side = fleet.Right
		tripped := left
		tripped.Tripped = true
		later := left
		later.Date++
		sameDay := left
		sameDay.MM = 8.3
		readings := []fleet.Reading{left, right, tripped, later, sameDay, left}
		odometers := []fleet.Odometer{{VehicleID: v, Date: day(3, 1), Km: 1000}, {VehicleID: v, Date: day(3, 1), Km: 1001}, {VehicleID: v, Date: day(3, 2), Km: 1001}}
		fitments := []fleet.Fitment{
			{VehicleID: v, Position: pad(1, "", ""), Date: day(2, 1), MM: 20},
			{VehicleID: v, Position: pad(1, fleet.Left, ""), Date: day(2, 1), MM: 20},
			{VehicleID: v, Position: pad(1, "", ""), Date: day(2, 2), MM: 19.5},
		}
		for round, want := range [][3]store.Counts{
			{{Added: 5, Repeated: 1}, {Added: 3}, {Added: 3}},
			{{Repeated: 6}, {Repeated: 3}, {Repeated: 3}},
			{{Repeated: 6}, {Repeated: 3}, {Repeated: 3}},
		} {
			mustTakeIn(t, db, func(w *store.Writer) error {
				r, err1 := w.Readings(readings)
				o, err2 := w.Odometers(odometers)
				f, err3 := w.Fitments(fitments)
				if got := [3]store.Counts{r, o, f}; got != want {
					t.Errorf("round %d: got %+v, want %+v", round, got, want)
				}
				return errors.Join(err1, err2, err3)
			})
			// The first of each is set aside, and must not come back.
			mustExec(t, db, "update thickness_readings set set_aside_at = ?, set_aside_by = 'N. N.', set_aside_reason = 'mistyped' where id = 1", store.Instant(db.Now()))
		}
		// An odometer that a re-sent reading now has is no new visit.
		left.OdometerKm = ptr(1000.0)
		mustReadings(t, db, left)
		if n := count(t, db, "select count(*) from inspections i where not exists (select 1 from thickness_readings r where r.inspection_id = i.id)"); n != 0 {
			t.Errorf("%d inspections have no readings", n)
		}
	})
}

// What was written down comes back as it was.
func TestKeptAsGiven(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		r := fleet.Reading{
			VehicleID:  v,
			Position:   pad(2, fleet.Right, fleet.Outer),
			Date:       fleet.NewDate(1969, 12, 31),
			OdometerKm: ptr(123456.7),
			MM:         7.14375,
			Given:      `9/32	"\N\`,
			Unit:       "1/32 in",
			Gauge:      "0.1 mm caliper",
			Technician: "Ünal ?",
			Note:       "scored\nnear the edge\\.",
			Tripped:    true,
			Line:       17,
		}
		f := fleet.Fitment{VehicleID: v, Position: pad(2, "", ""), Date: day(2, 1), OdometerKm: ptr(0.5), MM: 20, Line: 3}
		o := fleet.Odometer{VehicleID: v, Date: day(2, 1), Km: 1.0 / 3}
		up := mustTakeIn(t, db, func(w *store.Writer) error {
			_, err1 := w.Readings([]fleet.Reading{r})
			_, err2 := w.Fitments([]fleet.Fitment{f})
			_, err3 := w.Odometers([]fleet.Odometer{o})
			return errors.Join(err1, err2, err3)
		})
		got, err := db.History(t.Context(), all, v)
		if err != nil {
			t.Fatal(err)
		}
		r.ID, f.ID, o.ID = 1, 1, 1
		r.UploadID, f.UploadID, o.UploadID = up.ID, up.ID, up.ID
		want := store.History{
			Vehicle:   fleet.Vehicle{ID: v, FleetID: 1, DepotID: 1, Number: "Bus 1"},
			Fleet:     "North",
			Depot:     "Quay",
			Odometers: []fleet.Odometer{o},
			Readings:  []fleet.Reading{r},
			Fitments:  []fleet.Fitment{f},
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
	})
}

func TestRowsRefused(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		good := reading(v, day(3, 1), 8)
		bad := func(change func(*fleet.Reading)) func(*store.Writer) error {
			return func(w *store.Writer) error {
				r := good
				r.Date++
				change(&r)
				_, err := w.Readings([]fleet.Reading{good, r})
				return err
			}
		}
		for _, c := range []struct {
			name string
			fill func(w *store.Writer) error
			want error
		}{
			{"unknown vehicle", bad(func(r *fleet.Reading) { r.VehicleID = 99 }), fleet.ErrNotFound},
			{"not a number", bad(func(r *fleet.Reading) { r.MM = math.NaN() }), fleet.ErrInvalid},
			{"no part", bad(func(r *fleet.Reading) { r.Position.Part = "hub" }), fleet.ErrInvalid},
			{"zero byte", bad(func(r *fleet.Reading) { r.Note = "\x00" }), fleet.ErrInvalid},
			{"not UTF-8", bad(func(r *fleet.Reading) { r.Gauge = "\xff" }), fleet.ErrInvalid},
			{"axle of an unknown vehicle", func(w *store.Writer) error {
				_, err := w.Axles([]fleet.Axle{{VehicleID: 99, Number: 1, Brake: fleet.DiscBrake}})
				return err
			}, fleet.ErrNotFound},
			{"axle 0", func(w *store.Writer) error {
				_, err := w.Axles([]fleet.Axle{{VehicleID: v, Brake: fleet.DiscBrake}})
				return err
			}, fleet.ErrInvalid},
			{"odometer below zero", func(w *store.Writer) error {
				_, err := w.Odometers([]fleet.Odometer{{VehicleID: v, Km: -1}})
				return err
			}, fleet.ErrInvalid},
			{"odometer of an unknown vehicle", func(w *store.Writer) error {
				_, err := w.Odometers([]fleet.Odometer{{VehicleID: 99}})
				return err
			}, fleet.ErrNotFound},
			{"fitment of an unknown vehicle", func(w *store.Writer) error {
				_, err := w.Fitments([]fleet.Fitment{{VehicleID: 99, Position: pad(1, "", "")}})
				return err
			}, fleet.ErrNotFound},
			{"fitment without a part", func(w *store.Writer) error {
				_, err := w.Fitments([]fleet.Fitment{{VehicleID: v}})
				return err
			}, fleet.ErrInvalid},
			{"an error that fill swallows", func(w *store.Writer) error {
				_, _ = w.Odometers([]fleet.Odometer{{VehicleID: 99}})
				return nil
			}, fleet.ErrNotFound},
		} {
			err := db.TakeIn(t.Context(), all, &fleet.Upload{}, c.fill)
			if !errors.Is(err, c.want) {
				t.Errorf("%s: got %v, want %v", c.name, err, c.want)
			}
		}
		if n := count(t, db, "select count(*) from thickness_readings"); n != 0 {
			t.Errorf("%d readings of refused uploads were kept", n)
		}
		if n := count(t, db, "select count(*) from uploads"); n != 1 {
			t.Errorf("%d uploads were kept, want the vehicles' alone", n)
		}
	})
}

// Whatever ends fill early, nothing of the upload stays.
func TestAllOrNothing(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		half := func(w *store.Writer) {
			if _, err := w.Vehicles([]store.VehicleEntry{entry("Bus 2", of("South", "Hill"))}); err != nil {
				t.Error(err)
			}
			if _, err := w.Readings([]fleet.Reading{reading(v, day(3, 1), 8)}); err != nil {
				t.Error(err)
			}
		}
		ctx, cancel := context.WithCancel(t.Context())
		for _, c := range []struct {
			name string
			ctx  context.Context
			end  func() error
			want error
		}{
			{"error", t.Context(), func() error { return io.ErrUnexpectedEOF }, io.ErrUnexpectedEOF},
			{"panic", t.Context(), func() error { panic("gone") }, nil},
			{"cancelled", ctx, func() error { cancel(); return nil }, context.Canceled},
		} {
			func() {
				defer func() {
					if p := recover(); (p != nil) != (c.name == "panic") {
						t.Errorf("%s: panic %v", c.name, p)
					}
				}()
				err := db.TakeIn(c.ctx, all, &fleet.Upload{}, func(w *store.Writer) error {
					half(w)
					return c.end()
				})
				if !errors.Is(err, c.want) {
					t.Errorf("%s: got %v, want %v", c.name, err, c.want)
				}
			}()
			for table, want := range map[string]int{"uploads": 1, "fleets": 1, "vehicles": 1, "inspections": 0, "thickness_readings": 0, "upload_places": 1} {
				if n := count(t, db, "select count(*) from "+table); n != want {
					t.Errorf("%s: %d rows in %s, want %d", c.name, n, table, want)
				}
			}
		}
		// The connections are as good as before.
		mustReadings(t, db, reading(v, day(3, 1), 8))
	})
}

// A server that goes away in the midst of an upload is said to be unavailable,
// and the upload can be sent again once it is back.
func TestServerGoesAway(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	v := mustVehicles(t, db, entry("Bus 1"))[0]
	err := db.TakeIn(t.Context(), all, &fleet.Upload{}, func(w *store.Writer) error {
		if _, err := w.Readings([]fleet.Reading{reading(v, day(3, 1), 8)}); err != nil {
			t.Error(err)
		}
		mustExec(t, db, `
			select pg_terminate_backend(pid)
			from pg_stat_activity
			where datname = current_database() and pid <> pg_backend_pid()`)
		_, err := w.Readings([]fleet.Reading{reading(v, day(3, 2), 8)})
		return err
	})
	if !errors.Is(err, fleet.ErrUnavailable) {
		t.Errorf("got %v, want unavailable", err)
	}
	mustReadings(t, db, reading(v, day(3, 1), 8))
	if n := count(t, db, "select count(*) from thickness_readings"); n != 1 {
		t.Errorf("got %d readings, want 1", n)
	}
}

// The same bytes sent twice at once wait for each other: one adds the rows,
// the other repeats them, and neither fails.
func TestSameUploadAtOnce(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		rows := killedRows(mustVehicles(t, db, entry("Bus 1"))[0])
		var wg sync.WaitGroup
		var counts [4]store.Counts
		for i := range counts {
			wg.Go(func() {
				up := fleet.Upload{Kind: "readings", SHA256: "the same"}
				err := db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
					for from := 0; from < len(rows); from += 500 {
						c, err := w.Readings(rows[from : from+500])
						counts[i].Added += c.Added
						counts[i].Repeated += c.Repeated
						if err != nil {
							return err
						}
					}
					return nil
				})
				if err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		added := 0
		for _, c := range counts {
			if c.Added+c.Repeated != len(rows) || c.Added != 0 && c.Repeated != 0 {
				t.Errorf("got %+v, want all added or all repeated", c)
			}
			added += c.Added
		}
		if added != len(rows) {
			t.Errorf("%d rows were added, want %d", added, len(rows))
		}
	})
}
