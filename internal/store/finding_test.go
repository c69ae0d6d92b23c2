package store_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// uneven is a finding of a vehicle's axle 1 with so many mm between its pads.
func uneven(vehicle int64, mm float64) fleet.Finding {
	p := pad(1, fleet.Left, "")
	return fleet.Finding{
		VehicleID: vehicle, Kind: fleet.UnevenPads, Subject: "1/left", Position: p,
		Seen: fmt.Sprintf("%g mm apart", mm), Advice: "Check the pins.", Source: "WP-15", Figure: &mm,
	}
}

// changed is a finding that suggests new pads on axle 1 in the spring.
func changed(vehicle int64) fleet.Finding {
	p := pad(1, "", "")
	return fleet.Finding{
		VehicleID: vehicle, Kind: fleet.PartChange, Subject: "1/pad/spring", Position: p,
		Seen: "grew thicker", Advice: "Confirm.", Source: "test",
		Suggested: &fleet.SuggestedFitment{After: day(3, 1), Before: day(5, 1), Fitment: fleet.Fitment{
			VehicleID: vehicle, Position: p, Date: day(3, 20), OdometerKm: ptr(12_000.0),
		}},
	}
}

func mustFindings(t *testing.T, db *store.DB, on fleet.Date, vehicles []int64, fs ...fleet.Finding) {
	t.Helper()
	if err := storetest.SaveFindings(t.Context(), db, all, vehicles, fs, on); err != nil {
		t.Fatal(err)
	}
}

func findingsOf(t *testing.T, db *store.DB, q store.FindingQuery) []store.FindingRow {
	t.Helper()
	page, err := db.Findings(t.Context(), all, q)
	if err != nil {
		t.Fatal(err)
	}
	return page.Rows
}

func TestFindingsKeepTheirIdentity(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		v := mustVehicles(t, db, entry("Bus 1"))
		mustFindings(t, db, day(6, 1), v, uneven(v[0], 4), changed(v[0]))
		first := findingsOf(t, db, store.FindingQuery{})
		if len(first) != 2 {
			t.Fatalf("got %+v", first)
		}
		at := mustHistory(t, db, v[0]).Vehicle
		want := store.FindingRow{Finding: uneven(v[0], 4), FleetID: at.FleetID, DepotID: at.DepotID, Vehicle: "Bus 1", Fleet: "North", Depot: "Quay"}
		want.ID, want.State, want.FirstSeen, want.LastSeen = first[0].ID, fleet.OpenFinding, day(6, 1), day(6, 1)
		if d := cmp.Diff(want, first[0]); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff(changed(v[0]).Suggested, first[1].Suggested); d != "" {
			t.Error(d)
		}
		id := first[0].ID
		see := func(on fleet.Date, state fleet.FindingState, fs ...fleet.Finding) store.FindingRow {
			t.Helper()
			mustFindings(t, db, on, v, fs...)
			f, err := db.Finding(ctx, all, id)
			if err != nil {
				t.Fatal(err)
			}
			if f.State != state {
				t.Errorf("on %s: got state %q, want %q", on, f.State, state)
			}
			return f
		}
		f := see(day(6, 2), fleet.OpenFinding, uneven(v[0], 4.1))
		if f.Seen != "4.1 mm apart" || f.FirstSeen != day(6, 1) || f.LastSeen != day(6, 2) {
			t.Errorf("got %+v", f)
		}
		see(day(6, 3), fleet.NoLonger)
		f = see(day(6, 4), fleet.OpenFinding, uneven(v[0], 4.1))
		if f.FirstSeen != day(6, 1) || f.LastSeen != day(6, 4) {
			t.Errorf("got %+v", f)
		}
		if _, err := db.NoteFinding(ctx, all, id, fleet.Reason{Why: "pins freed", By: "N. N."}); err != nil {
			t.Fatal(err)
		}
		f = see(day(6, 5), fleet.LookedAt, uneven(v[0], 5)) // not a quarter more than 4.1
		if f.Note.Why != "pins freed" || f.Note.By != "N. N." || f.NoteAt.IsZero() {
			t.Errorf("got %+v", f)
		}
		f = see(day(6, 6), fleet.OpenFinding, uneven(v[0], 5.2)) // it has grown since
		if f.Note.Why != "pins freed" {
			t.Errorf("the note is gone: %+v", f)
		}
		if n := count(t, db, `select count(*) from findings`); n != 2 {
			t.Errorf("got %d rows, want the same 2", n)
		}
	})
}

// Of vehicles of which all that stands is known, only those handed over are looked at.
func TestFindingsOfOthersStay(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		if err := storetest.SaveFindings(t.Context(), db, all, v, []fleet.Finding{uneven(v[0], 4), uneven(v[1], 4)}, day(6, 1)); err != nil {
			t.Fatal(err)
		}
		st, err := db.Standing(t.Context(), all, v, day(6, 2), storetest.Ahead)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.SaveFindings(t.Context(), st, v[:1], nil); err != nil {
			t.Fatal(err)
		}
		for i, want := range []fleet.FindingState{fleet.NoLonger, fleet.OpenFinding} {
			if fs := findingsOf(t, db, store.FindingQuery{Vehicle: v[i]}); len(fs) != 1 || fs[0].State != want {
				t.Errorf("vehicle %d: got %+v, want it %s", i+1, fs, want)
			}
		}
	})
}

// What is found again just as it is there is not written again.
func TestFindingsLeftAsTheyAre(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		worse := uneven(v[0], 5)
		for _, step := range []struct {
			what   string
			on     fleet.Date
			fs     []fleet.Finding
			writes int
		}{
			{"at first", day(6, 1), []fleet.Finding{uneven(v[0], 4), changed(v[1])}, 1},
			{"the same", day(6, 1), []fleet.Finding{uneven(v[0], 4), changed(v[1])}, 0},
			{"one is worse", day(6, 1), []fleet.Finding{worse, changed(v[1])}, 1},
			{"one is gone", day(6, 1), []fleet.Finding{changed(v[1])}, 1},
			{"and still gone", day(6, 1), []fleet.Finding{changed(v[1])}, 0},
			{"it is back", day(6, 1), []fleet.Finding{worse, changed(v[1])}, 1},
			{"the day after", day(6, 2), []fleet.Finding{worse, changed(v[1])}, 1},
		} {
			writes := 0
			ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
				if strings.Contains(query, "insert into findings") || strings.Contains(query, "update findings") {
					writes++
				}
			})
			if err := storetest.SaveFindings(ctx, db, all, v, step.fs, step.on); err != nil {
				t.Fatal(err)
			}
			if writes != step.writes {
				t.Errorf("%s: got %d statements that write, want %d", step.what, writes, step.writes)
			}
			seen := findingsOf(t, db, store.FindingQuery{States: []fleet.FindingState{fleet.OpenFinding}})
			if len(seen) != len(step.fs) {
				t.Errorf("%s: got %d that are open, want %d", step.what, len(seen), len(step.fs))
			}
			for _, f := range seen {
				if f.LastSeen != step.on {
					t.Errorf("%s: got %s last seen on %s", step.what, f.Subject, f.LastSeen)
				}
			}
		}
	})
}

func TestNoteFinding(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		v := mustVehicles(t, db, entry("Bus 1"))
		mustFindings(t, db, day(6, 1), v, uneven(v[0], 4))
		id := findingsOf(t, db, store.FindingQuery{})[0].ID
		var wg sync.WaitGroup
		errs := make([]error, 6)
		for i := range errs {
			wg.Go(func() {
				_, errs[i] = db.NoteFinding(ctx, all, id, fleet.Reason{Why: "pins freed", By: fmt.Sprint("N. ", i)})
			})
		}
		wg.Wait()
		won := 0
		for _, err := range errs {
			if err == nil {
				won++
				continue
			}
			wantKind(t, err, fleet.ErrConflict, "was looked at by N. ", "pins freed")
		}
		if won != 1 {
			t.Errorf("%d notes were taken, want 1", won)
		}
		_, err := db.RefuseFitment(ctx, all, id, why)
		wantKind(t, err, fleet.ErrConflict, "was looked at")
		mustFindings(t, db, day(6, 2), v, uneven(v[0], 40))
		_, err = db.RefuseFitment(ctx, all, id, why)
		wantKind(t, err, fleet.ErrInvalid, "suggests no fitment")
		mustFindings(t, db, day(6, 3), v)
		_, err = db.NoteFinding(ctx, all, id, why)
		wantKind(t, err, fleet.ErrConflict, "no longer seen")
		_, err = db.NoteFinding(ctx, all, 999, why)
		wantKind(t, err, fleet.ErrNotFound, "finding 999")
		_, err = db.NoteFinding(ctx, all, id, fleet.Reason{By: "N. N."})
		wantKind(t, err, fleet.ErrInvalid, "say why")
	})
}

func TestConfirmAndRefuseFitment(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		v := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		mustTakeIn(t, db, func(w *store.Writer) error {
			_, err := w.Axles([]fleet.Axle{{VehicleID: v[0], Number: 1, Brake: fleet.DiscBrake}, {VehicleID: v[1], Number: 1, Brake: fleet.DiscBrake}})
			return err
		})
		mustFindings(t, db, day(6, 1), v, changed(v[0]), changed(v[1]))
		rows := findingsOf(t, db, store.FindingQuery{})

		fit := fleet.Fitment{Date: day(5, 2), MM: 18}
		_, err := db.ConfirmFitment(ctx, all, rows[0].ID, fit, why)
		wantKind(t, err, fleet.ErrInvalid, "from 1 Mar 2025 to 1 May 2025")
		fit.Date = day(4, 4)
		if got, err := db.ConfirmFitment(ctx, all, rows[0].ID, fit, why); got != v[0] || err != nil {
			t.Fatalf("got vehicle %d, %v", got, err)
		}
		h := mustHistory(t, db, v[0])
		if len(h.Fitments) != 1 || h.Fitments[0].Date != day(4, 4) || h.Fitments[0].MM != 18 || h.Fitments[0].Position != pad(1, "", "") || h.Fitments[0].UploadID == 0 {
			t.Errorf("got %+v", h.Fitments)
		}
		_, err = db.ConfirmFitment(ctx, all, rows[0].ID, fit, why)
		wantKind(t, err, fleet.ErrConflict, "was looked at")
		// Set aside, and suspected again, it can be confirmed again.
		if _, err := db.SetAside(ctx, all, fleet.Record{Kind: fleet.FitmentRecord, ID: h.Fitments[0].ID}, why); err != nil {
			t.Fatal(err)
		}
		mustFindings(t, db, day(6, 1), v[:1])
		mustFindings(t, db, day(6, 1), v[:1], changed(v[0]))
		if _, err := db.ConfirmFitment(ctx, all, rows[0].ID, fit, why); err != nil {
			t.Error(err)
		}
		if n := len(mustHistory(t, db, v[0]).Fitments); n != 1 {
			t.Errorf("got %d fitments that count, want 1", n)
		}

		if got, err := db.RefuseFitment(ctx, all, rows[1].ID, why); got != v[1] || err != nil {
			t.Fatalf("got vehicle %d, %v", got, err)
		}
		// It stays refused, though it is no longer seen.
		mustFindings(t, db, day(6, 2), v)
		h = mustHistory(t, db, v[1])
		want := []fleet.SuggestedFitment{{After: day(3, 1), Before: day(5, 1), Fitment: fleet.Fitment{VehicleID: v[1], Position: pad(1, "", "")}}}
		if d := cmp.Diff(want, h.Refused); d != "" {
			t.Error(d)
		}
		if len(mustHistory(t, db, v[0]).Refused) != 0 || len(h.Fitments) != 0 {
			t.Error("the answers went to the wrong vehicle")
		}
		f, err := db.Finding(ctx, all, rows[1].ID)
		if err != nil || f.Answer != fleet.Refused || f.State != fleet.NoLonger {
			t.Errorf("got %+v, %v", f, err)
		}
	})
}

func TestFindingPages(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		v := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("North", "Hill")), entry("Bus 3", of("South", "Bay")))
		var fs []fleet.Finding
		for i, id := range v {
			for k, kind := range []fleet.FindingKind{fleet.OdometerBack, fleet.UnevenPads, fleet.PastStamped} {
				fs = append(fs, fleet.Finding{VehicleID: id, Kind: kind, Subject: fmt.Sprint(i, k), Seen: string(kind)})
			}
		}
		mustFindings(t, db, day(6, 1), v, fs...)
		var got []string
		q := store.FindingQuery{Limit: 2}
		for {
			page, err := db.Findings(ctx, all, q)
			if err != nil {
				t.Fatal(err)
			}
			if page.Total != 9 {
				t.Errorf("got %d in all, want 9", page.Total)
			}
			for _, r := range page.Rows {
				got = append(got, r.Vehicle+" "+string(r.Kind))
			}
			if q.After = page.Next; q.After == "" {
				break
			}
		}
		want := []string{
			"Bus 1 past_stamped_limit", "Bus 2 past_stamped_limit", "Bus 3 past_stamped_limit",
			"Bus 1 uneven_pads", "Bus 2 uneven_pads", "Bus 3 uneven_pads",
			"Bus 1 odometer_back", "Bus 2 odometer_back", "Bus 3 odometer_back",
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
		var each []string
		err := db.EachFinding(ctx, all, store.FindingQuery{Limit: 1}, func(r store.FindingRow) error {
			each = append(each, r.Vehicle+" "+string(r.Kind))
			return nil
		})
		if err != nil || !slices.Equal(each, want) {
			t.Errorf("EachFinding: got %q, %v", each, err)
		}
		hill := findingsOf(t, db, store.FindingQuery{Vehicle: v[1]})[0]
		depots, err := db.Depots(ctx, all)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.Name == "Hill" })
		for _, c := range []struct {
			name string
			q    store.FindingQuery
			want int
		}{
			{"of a kind", store.FindingQuery{Kind: fleet.UnevenPads}, 3},
			{"of a depot", store.FindingQuery{Depot: depots[i].ID}, 3},
			{"of a vehicle", store.FindingQuery{Vehicle: v[0], Kind: fleet.PastStamped}, 1},
			{"open", store.FindingQuery{States: []fleet.FindingState{fleet.OpenFinding}}, 9},
			{"looked at", store.FindingQuery{States: []fleet.FindingState{fleet.LookedAt, fleet.NoLonger}}, 0},
		} {
			page, err := db.Findings(ctx, all, c.q)
			if err != nil || len(page.Rows) != c.want || page.Total != c.want {
				t.Errorf("%s: got %d of %d, %v; want %d", c.name, len(page.Rows), page.Total, err, c.want)
			}
		}
		for _, bad := range []string{"!!", "e30"} {
			if _, err := db.Findings(ctx, all, store.FindingQuery{After: bad}); !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("cursor %q: got %v, want it refused", bad, err)
			}
		}

		// Who sees one depot sees and changes nothing of another's.
		mine := auth.ScopeOf(nil, []int64{depots[i].ID})
		page, err := db.Findings(ctx, mine, store.FindingQuery{})
		if err != nil || len(page.Rows) != 3 || page.Rows[0].Vehicle != "Bus 2" {
			t.Errorf("in one depot: got %+v, %v", page.Rows, err)
		}
		other := findingsOf(t, db, store.FindingQuery{Vehicle: v[0]})[0].ID
		errs := map[string]error{}
		_, errs["Finding"] = db.Finding(ctx, mine, other)
		_, errs["NoteFinding"] = db.NoteFinding(ctx, mine, other, why)
		_, errs["RefuseFitment"] = db.RefuseFitment(ctx, mine, other, why)
		_, errs["ConfirmFitment"] = db.ConfirmFitment(ctx, mine, other, fleet.Fitment{Date: day(4, 1)}, why)
		_, errs["Standing"] = db.Standing(ctx, mine, v, day(6, 2), storetest.Ahead)
		st, err := db.Standing(ctx, mine, v[1:2], day(6, 2), storetest.Ahead)
		if err != nil {
			t.Fatal(err)
		}
		errs["SaveFindings of none"] = db.SaveFindings(ctx, st, v[:2], nil)
		errs["SaveFindings"] = db.SaveFindings(ctx, st, v[1:2], []fleet.Finding{{VehicleID: v[0], Kind: fleet.CrackedPart, Subject: "axle 1"}})
		for what, err := range errs {
			if !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("%s in another depot: got %v, want not found", what, err)
			}
		}
		if f, err := db.Finding(ctx, mine, hill.ID); err != nil || !strings.HasPrefix(f.Vehicle, "Bus 2") {
			t.Errorf("got %+v, %v", f, err)
		}
	})
}
