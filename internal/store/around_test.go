package store_test

import (
	"encoding/json"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestHistoryAround: a page asks for nothing that Around does not tell of, so that what is
// there must be told of, and of no other vehicle.
func TestHistoryAround(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		bus := visited(t, db)
		other := mustVehicles(t, db, entry("Bus 2"))[0]
		quay := depotOf(t, db, "Quay")
		shop := fleet.DefaultWorkshop()
		shop.DepotID = quay.ID
		var want, elsewhere store.Around
		look := func(after string, id int64, want store.Around) {
			t.Helper()
			_, got, err := db.HistoryAround(t.Context(), all, id, 0)
			if err != nil {
				t.Fatalf("after %s, vehicle %d: %v", after, id, err)
			}
			err = db.EachFinding(t.Context(), all, store.FindingQuery{Vehicle: id}, func(f store.FindingRow) error {
				want.Findings = append(want.Findings, f)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			if want.Logged, err = db.LoggedForecasts(t.Context(), all, id, 0); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("after %s, vehicle %d (-want +got):\n%s", after, id, diff)
			}
		}
		for _, x := range []struct {
			name string
			do   func() error
			flag *bool
		}{
			{"nothing", func() error { return nil }, new(bool)},
			{"a correction", func() error {
				mustCorrect(t, db, fleet.Record{Kind: fleet.ReadingRecord, ID: mustHistory(t, db, bus).Readings[0].ID}, fleet.Change{MM: ptr(8.1)})
				return nil
			}, &want.Corrections},
			{"a finding", func() error {
				return storetest.SaveFindings(t.Context(), db, all, []int64{bus}, []fleet.Finding{uneven(bus, 3)}, day(6, 2))
			}, new(bool)},
			{"a proposed visit", func() error {
				mustPropose(t, db, []fleet.Depot{quay}, visitOf(bus, quay.ID, monday+7, 480))
				return nil
			}, &want.Proposed},
			{"a booking", func() error {
				mustBook(t, db, job(bus, quay.ID, monday))
				return nil
			}, &want.Bookings},
			{"a planned visit", func() error {
				return db.AddPlannedVisit(t.Context(), all, fleet.PlannedVisit{VehicleID: bus, Day: monday, What: "service"})
			}, &want.Away},
			{"a forecast", func() error {
				return db.LogForecasts(t.Context(), all, []store.AxleForecast{due(bus, 1, ptr(day(5, 1)), 20000)})
			}, new(bool)},
			{"the depot's workshop", func() error {
				elsewhere.Workshop = true // of the same depot
				return db.SaveWorkshop(t.Context(), all, "N. N.", shop)
			}, &want.Workshop},
		} {
			if err := x.do(); err != nil {
				t.Fatalf("%s: %v", x.name, err)
			}
			*x.flag = true
			for id, want := range map[int64]store.Around{bus: want, other: elsewhere} {
				look(x.name, id, want)
			}
		}
		for _, model := range []string{"full", "line"} {
			p := store.Parameters{Model: model, Values: json.RawMessage("{}"), Diagnostics: json.RawMessage("{}")}
			if err := db.SaveParameters(t.Context(), &p); err != nil {
				t.Fatal(err)
			}
			want.Parameters, elsewhere.Parameters = p.ID, p.ID
			look("parameters of "+model, bus, want)
		}
		if err := db.AddAbsence(t.Context(), all, fleet.Absence{VehicleID: other, First: ptr(monday), Last: ptr(monday)}); err != nil {
			t.Fatal(err)
		}
		elsewhere.Away = true
		look("an absence", other, elsewhere)
		_, got, err := db.HistoryAround(t.Context(), all, bus, 0)
		if err != nil || len(got.Findings) != 1 || len(got.Logged) != 1 {
			t.Fatalf("got %+v, %v, want one finding and one forecast of the log", got, err)
		}
		if _, got, err := db.HistoryAround(t.Context(), all, bus, got.Logged[0].AsOf+1); err != nil || len(got.Logged) != 0 {
			t.Errorf("from a day later: got %+v, %v, want nothing of the log", got.Logged, err)
		}
		_, _, err = db.HistoryAround(t.Context(), auth.ScopeOf(nil, []int64{quay.ID + 99}), bus, 0)
		wantKind(t, err, fleet.ErrNotFound, "vehicle")
	})
}
