package store_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// rollerTest is a roller test of a vehicle of two axles.
func rollerTest(vehicle int64, d fleet.Date, stage fleet.Stage, pedal float64) fleet.BrakeTest {
	return fleet.BrakeTest{
		VehicleID:  vehicle,
		Date:       d,
		Method:     fleet.Roller,
		System:     fleet.ServiceBrake,
		Stage:      stage,
		OdometerKm: ptr(155_000.0),
		WeightKg:   1500,
		ForceUnit:  "kN",
		Wheels: []fleet.WheelEffort{
			{Axle: 1, Side: fleet.Left, N: 2700},
			{Axle: 1, Side: fleet.Right, N: 2600, Locked: true},
			{Axle: 2, Side: fleet.Left, N: 1500},
			{Axle: 2, Side: fleet.Right, N: 1450},
		},
		PedalN:     pedal,
		Technician: "N. N.",
		Note:       "wet",
		Line:       2,
		Lines:      4,
	}
}

func mustBrakeTests(t *testing.T, db *store.DB, bs ...fleet.BrakeTest) (c store.Counts) {
	t.Helper()
	mustTakeIn(t, db, func(w *store.Writer) (err error) {
		c, err = w.BrakeTests(bs)
		return err
	})
	return c
}

// asStored leaves out what the store gives.
var asStored = cmpopts.IgnoreFields(fleet.BrakeTest{}, "ID", "UploadID", "Lines", "Aside")

func TestBrakeTests(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Bay")))
		v := ids[0]
		after, before := rollerTest(v, day(time.March, 3), fleet.AfterJob, 271), rollerTest(v, day(time.March, 3), fleet.BeforeJob, 507)
		stop := fleet.BrakeTest{VehicleID: v, Date: day(time.March, 1), Method: fleet.MeasuredStop, System: fleet.ParkingBrake, SpeedKmh: 60, DistanceM: 45, BeginM: 12, EndM: 40, Lines: 1}
		if c := mustBrakeTests(t, db, after, before, stop, before); c != (store.Counts{Added: 9, Repeated: 4}) {
			t.Errorf("got %+v, want 9 lines added and 4 repeated", c)
		}
		// The wheels of a row may come in another order, and a note may be added.
		again := before
		again.Wheels = []fleet.WheelEffort{before.Wheels[3], before.Wheels[0], before.Wheels[2], before.Wheels[1]}
		again.Note = "dry"
		if c := mustBrakeTests(t, db, again, stop); c != (store.Counts{Repeated: 5}) {
			t.Errorf("again: got %+v, want 5 lines repeated", c)
		}
		got, err := db.BrakeTests(t.Context(), all, v)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff([]fleet.BrakeTest{stop, before, after}, got, asStored); d != "" {
			t.Error(d)
		}
		h := mustHistory(t, db, v)
		if d := cmp.Diff(got, h.BrakeTests); d != "" {
			t.Errorf("in the history: %s", d)
		}

		other := auth.ScopeOf([]int64{mustHistory(t, db, ids[1]).Vehicle.FleetID}, nil)
		_, err = db.BrakeTests(t.Context(), other, v)
		wantKind(t, err, fleet.ErrNotFound, "none that you may see")
		_, _, err = db.AddBrakeTest(t.Context(), other, rollerTest(v, day(time.May, 1), "", 0), "N. N.")
		wantKind(t, err, fleet.ErrNotFound, "none that you may change")
		bad := stop
		bad.SpeedKmh = 0
		_, _, err = db.AddBrakeTest(t.Context(), all, bad, "N. N.")
		wantKind(t, err, fleet.ErrInvalid, "speed")
	})
}

func TestAddBrakeTest(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		b := rollerTest(v, day(time.March, 3), fleet.AfterJob, 271)
		b.Line = 0
		first, added, err := db.AddBrakeTest(t.Context(), all, b, "N. N.")
		if err != nil || !added || first.ID == 0 {
			t.Fatalf("got %+v, added %v, %v", first, added, err)
		}
		if d := cmp.Diff(b, first, asStored); d != "" {
			t.Error(d)
		}
		again, added, err := db.AddBrakeTest(t.Context(), all, b, "N. N.")
		if err != nil || added || again.ID != first.ID {
			t.Errorf("a second click: got test %d, added %v, %v; want test %d", again.ID, added, err, first.ID)
		}
	})
}

func TestCorrectBrakeTest(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Bay")))
		v := ids[0]
		mustBrakeTests(t, db, rollerTest(v, day(time.March, 3), "", 507))
		old := mustHistory(t, db, v).BrakeTests[0]
		why := fleet.Reason{Why: "pedal force read off the wrong dial", By: "N. N."}

		_, err := db.CorrectBrakeTest(t.Context(), all, old.ID, old, why)
		wantKind(t, err, fleet.ErrInvalid, "nothing is changed")
		better := old
		better.PedalN = 271
		_, err = db.CorrectBrakeTest(t.Context(), all, old.ID, better, fleet.Reason{By: "N. N."})
		wantKind(t, err, fleet.ErrInvalid, "say why")
		other := auth.ScopeOf([]int64{mustHistory(t, db, ids[1]).Vehicle.FleetID}, nil)
		_, err = db.CorrectBrakeTest(t.Context(), other, old.ID, better, why)
		wantKind(t, err, fleet.ErrNotFound, "brake test")
		got, err := db.BrakeTest(t.Context(), other, old.ID)
		wantKind(t, err, fleet.ErrNotFound, "brake test")
		if d := cmp.Diff(fleet.BrakeTest{}, got); d != "" {
			t.Errorf("another fleet sees of it: %s", d)
		}
		if got, err = db.BrakeTest(t.Context(), all, old.ID); err != nil || got.PedalN != 507 || len(got.Wheels) != 4 {
			t.Errorf("who sees it: got %+v, %v", got, err)
		}

		c, err := db.CorrectBrakeTest(t.Context(), all, old.ID, better, why)
		if err != nil {
			t.Fatal(err)
		}
		h := mustHistory(t, db, v)
		if len(h.BrakeTests) != 1 || h.BrakeTests[0].ID != c.StandsID || h.BrakeTests[0].PedalN != 271 || len(h.BrakeTests[0].Wheels) != 4 {
			t.Errorf("what counts: got %+v", h.BrakeTests)
		}
		all2, err := db.BrakeTests(t.Context(), all, v)
		if err != nil || len(all2) != 2 || all2[0].Aside == nil || all2[0].Aside.StandsID != c.StandsID || all2[0].PedalN != 507 {
			t.Errorf("what is kept: got %+v, %v", all2, err)
		}
		_, err = db.CorrectBrakeTest(t.Context(), all, old.ID, better, why)
		wantKind(t, err, fleet.ErrConflict, "was corrected by N. N.")

		// The same bytes uploaded again do not bring the wrong one back.
		if c := mustBrakeTests(t, db, rollerTest(v, day(time.March, 3), "", 507)); c.Added != 0 {
			t.Errorf("the wrong one again: got %+v", c)
		}

		rec := fleet.Record{Kind: fleet.BrakeTestRecord, ID: c.StandsID}
		if _, err := db.SetAside(t.Context(), all, rec, why); err != nil {
			t.Fatal(err)
		}
		if h := mustHistory(t, db, v); len(h.BrakeTests) != 0 {
			t.Errorf("set aside, but counts: %+v", h.BrakeTests)
		}
		if _, err := db.UndoSetAside(t.Context(), all, rec, why); err != nil {
			t.Fatal(err)
		}
		if h := mustHistory(t, db, v); len(h.BrakeTests) != 1 {
			t.Errorf("undone, but there are %d", len(h.BrakeTests))
		}
		log, err := db.Corrections(t.Context(), all, v)
		if err != nil || len(log.Log) != 3 || !strings.HasPrefix(log.Log[0].Record.String(), "brake test ") {
			t.Errorf("log: got %+v, %v", log.Log, err)
		}
		_, err = db.Correct(t.Context(), all, rec, fleet.Change{Date: ptr(day(time.March, 4))}, why)
		wantKind(t, err, fleet.ErrInvalid, "want one of")
	})
}
