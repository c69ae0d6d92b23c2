package store_test

import (
	"errors"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// island has two fleets; North has the depots Quay and Hill, South has Bay.
// Each depot has one vehicle of the same name, with an axle, a reading and a
// forecast.
func island(t *testing.T, db *store.DB) {
	t.Helper()
	ids := mustVehicles(t, db,
		entry("Quay", of("North", "Quay")),
		entry("Hill", of("North", "Hill")),
		entry("Bay", of("South", "Bay")))
	for _, id := range ids {
		up := fleet.Upload{Kind: "readings", SHA256: fmt.Sprint(id)}
		err := db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
			_, err1 := w.Axles([]fleet.Axle{{VehicleID: id, Number: 1, Brake: fleet.DiscBrake}})
			_, err2 := w.Readings([]fleet.Reading{reading(id, day(3, 1), 8)})
			return errors.Join(err1, err2)
		})
		if err != nil {
			t.Fatal(err)
		}
		mustForecasts(t, db, due(id, 1, ptr(day(4, 1)), float64(day(4, 10))))
	}
}

func TestScope(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		island(t, db)
		fleets, depots := map[string]int64{}, map[string]int64{}
		fs, err := db.Fleets(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range fs {
			fleets[f.Name] = f.ID
		}
		ds, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range ds {
			depots[d.Name] = d.ID
		}
		for _, c := range []struct {
			name    string
			scope   auth.Scope
			want    []string // vehicles, each in the depot of its name
			fleets  []string
			uploads int // readings of each vehicle, and the vehicles' own
		}{
			{"all", all, []string{"Bay", "Hill", "Quay"}, []string{"North", "South"}, 4},
			{"nothing", auth.Scope{}, nil, nil, 0},
			{"one fleet", auth.ScopeOf([]int64{fleets["North"]}, nil), []string{"Hill", "Quay"}, []string{"North"}, 2},
			{"one depot", auth.ScopeOf(nil, []int64{depots["Hill"]}), []string{"Hill"}, []string{"North"}, 1},
			{"fleet and depot", auth.ScopeOf([]int64{fleets["South"]}, []int64{depots["Hill"]}), []string{"Bay", "Hill"}, []string{"North", "South"}, 2},
			{"every fleet by name", auth.ScopeOf([]int64{fleets["South"], fleets["North"]}, nil), []string{"Bay", "Hill", "Quay"}, []string{"North", "South"}, 4},
			{"one that is not there", auth.ScopeOf([]int64{99}, []int64{99}), nil, nil, 0},
		} {
			t.Run(c.name, func(t *testing.T) {
				for what, got := range seenBy(t, db, c.scope) {
					if d := cmp.Diff(c.want, got); d != "" {
						t.Errorf("%s: %s", what, d)
					}
				}
				var names []string
				fs, err := db.Fleets(t.Context(), c.scope)
				if err != nil {
					t.Fatal(err)
				}
				for _, f := range fs {
					names = append(names, f.Name)
				}
				if d := cmp.Diff(c.fleets, names); d != "" {
					t.Errorf("Fleets: %s", d)
				}
				n := len(c.want)
				vehicles, axles, readings, err := db.Counts(t.Context(), c.scope)
				if err != nil || vehicles != n || axles != n || readings != n {
					t.Errorf("Counts: got %d %d %d, %v; want %d of each", vehicles, axles, readings, err, n)
				}
				ups, err := db.Uploads(t.Context(), c.scope, 0, 0)
				if err != nil || len(ups) != c.uploads {
					t.Errorf("Uploads: got %d, %v; want %d", len(ups), err, c.uploads)
				}
				ids := []int64{1, 2, 3, 4} // all there are
				hidden, err := db.HiddenUploads(t.Context(), c.scope, ids)
				if err != nil || len(hidden) != len(ids)-c.uploads {
					t.Errorf("HiddenUploads: got %v, %v; want all but %d", hidden, err, c.uploads)
				}
				// More than a statement has parameters: 65,535 on PostgreSQL, 32,766 on SQLite.
				many := make([]int64, 70_000)
				for i := range many {
					many[i] = int64(i + 1)
				}
				if hidden, err := db.HiddenUploads(t.Context(), c.scope, many); err != nil || !c.scope.All() && len(hidden) != len(many)-c.uploads {
					t.Errorf("HiddenUploads: got %d of %d, %v; want all but %d", len(hidden), len(many), err, c.uploads)
				}
				for _, up := range ups {
					if hidden[up.ID] {
						t.Errorf("HiddenUploads: %d, which is seen", up.ID)
					}
				}
				n = 0
				for _, id := range ids { // of the vehicles, too, and one more
					sees, err := db.SeesVehicle(t.Context(), c.scope, id)
					if err != nil {
						t.Fatal(err)
					}
					if sees {
						n++
					}
				}
				if n != len(c.want) {
					t.Errorf("SeesVehicle: got %d, want %d", n, len(c.want))
				}
			})
		}
	})
}

// seenBy asks each method that lists vehicles or something of them, and
// returns the vehicles' names by method.
func seenBy(t *testing.T, db *store.DB, sc auth.Scope) map[string][]string {
	t.Helper()
	ctx := t.Context()
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	every, err := db.VehicleIndex(ctx, all)
	check(err)
	order := []string{"Bay", "Hill", "Quay"}
	got := map[string][]string{}

	vehicles, err := db.Vehicles(ctx, sc, store.VehicleQuery{})
	check(err)
	got["Vehicles"] = nil
	for _, v := range vehicles.Rows {
		got["Vehicles"] = append(got["Vehicles"], v.Number)
	}
	duePage, err := db.DueSoon(ctx, sc, store.DueQuery{Sort: store.ByVehicle})
	check(err)
	got["DueSoon"] = nil
	for _, r := range duePage.Rows {
		got["DueSoon"] = append(got["DueSoon"], r.Vehicle)
	}
	got["EachDue"] = nil
	check(db.EachDue(ctx, sc, store.DueQuery{Sort: store.ByVehicle}, func(r store.DueRow) error {
		got["EachDue"] = append(got["EachDue"], r.Vehicle)
		return nil
	}))
	depots, err := db.Depots(ctx, sc)
	check(err)
	got["Depots"] = nil
	for _, d := range depots {
		got["Depots"] = append(got["Depots"], d.Name)
	}
	vehicleIndex, err := db.VehicleIndex(ctx, sc)
	check(err)
	axleIndex, err := db.AxleIndex(ctx, sc)
	check(err)
	histories := map[string]bool{}
	check(db.EachHistory(ctx, sc, nil, func(h *store.History) error {
		histories[h.Vehicle.Number] = len(h.Readings) == 1 && len(h.Axles) == 1
		return nil
	}))
	for _, name := range []string{"VehicleIndex", "AxleIndex", "EachHistory", "EachHistory by id", "History", "Forecasts", "Upload", "UploadByHash", "Standing", "SaveForecasts", "Readings", "Axles", "Odometers", "Fitments"} {
		got[name] = nil
	}
	for _, number := range order {
		id := every[number][0].ID
		add := func(what string, seen bool) {
			if seen {
				got[what] = append(got[what], number)
			}
		}
		// found says whether err is nil, and wants it to be "not found" if not.
		found := func(what string, err error) bool {
			if err != nil && !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("%s: got %v, want not found", what, err)
			}
			return err == nil
		}
		add("VehicleIndex", len(vehicleIndex[number]) == 1)
		_, ok := axleIndex[store.AxleKey{VehicleID: id, Axle: 1}]
		add("AxleIndex", ok)
		add("EachHistory", histories[number])
		check(db.EachHistory(ctx, sc, []int64{id}, func(*store.History) error {
			add("EachHistory by id", true)
			return nil
		}))
		_, err := db.History(ctx, sc, id)
		add("History", found("History", err))
		fs, err := db.Forecasts(ctx, sc, id)
		add("Forecasts", found("Forecasts", err) && len(fs) == 1)
		ls, err := db.LoggedForecasts(ctx, sc, id, 0)
		check(err)
		add("LoggedForecasts", len(ls) > 0)
		up, err := db.UploadByHash(ctx, sc, "readings", fmt.Sprint(id))
		add("UploadByHash", found("UploadByHash", err))
		if err == nil {
			_, err = db.Upload(ctx, sc, up.ID)
		}
		add("Upload", found("Upload", err))
		_, err = db.Standing(ctx, sc, []int64{id}, asOf, storetest.Ahead)
		add("Standing", found("Standing", err))
		fs, err = db.Forecasts(ctx, all, id)
		check(err)
		add("SaveForecasts", found("SaveForecasts", db.SaveForecasts(ctx, sc, &store.Standing{}, fs)) && len(fs) == 1)

		// Writes, rolled back so that every scope finds the island as it was.
		undo := errors.New("undo")
		for what, write := range map[string]func(w *store.Writer) error{
			"Readings": func(w *store.Writer) error {
				_, err := w.Readings([]fleet.Reading{reading(id, day(5, 1), 7)})
				return err
			},
			"Axles": func(w *store.Writer) error {
				_, err := w.Axles([]fleet.Axle{{VehicleID: id, Number: 2, Brake: fleet.DiscBrake}})
				return err
			},
			"Odometers": func(w *store.Writer) error {
				_, err := w.Odometers([]fleet.Odometer{{VehicleID: id, Km: 7}})
				return err
			},
			"Fitments": func(w *store.Writer) error {
				_, err := w.Fitments([]fleet.Fitment{{VehicleID: id, Position: pad(1, "", "")}})
				return err
			},
		} {
			err := db.TakeIn(ctx, sc, &fleet.Upload{}, func(w *store.Writer) error {
				if err := write(w); err != nil {
					return err
				}
				return undo
			})
			if !errors.Is(err, undo) {
				found(what, err)
			}
			add(what, errors.Is(err, undo))
		}
	}
	return got
}

// What a scope may do to vehicles, fleets and depots themselves.
func TestScopeOfVehicles(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		island(t, db)
		north := auth.ScopeOf([]int64{1}, nil)
		quay := auth.ScopeOf(nil, []int64{1}) // a depot of North
		for _, c := range []struct {
			name  string
			scope auth.Scope
			entry store.VehicleEntry
			ok    bool
		}{
			{"fleet: vehicle in a new depot", north, entry("Bus 1", of("North", "Mill")), true},
			{"fleet: vehicle of another fleet", north, entry("Bus 1", of("South", "Bay")), false},
			{"fleet: new fleet", north, entry("Bus 1", of("East", "Dale")), false},
			{"fleet: change in another fleet", north, store.VehicleEntry{Fleet: "South", Vehicle: fleet.Vehicle{Number: "Bay", Plate: "X"}}, false},
			{"depot: new vehicle", quay, entry("Bus 1", of("North", "Quay")), true},
			{"depot: new depot", quay, entry("Bus 1", of("North", "Mill")), false},
			{"depot: vehicle in another depot", quay, entry("Bus 1", of("North", "Hill")), false},
			{"depot: change in another depot", quay, store.VehicleEntry{Fleet: "North", Vehicle: fleet.Vehicle{Number: "Hill", Plate: "X"}}, false},
			{"depot: take a vehicle from another depot", quay, entry("Hill", of("North", "Quay")), false},
			{"depot: give a vehicle to another depot", quay, entry("Quay", of("North", "Hill")), false},
			{"nothing", auth.Scope{}, entry("Bus 1", of("North", "Quay")), false},
		} {
			undo := errors.New("undo")
			err := db.TakeIn(t.Context(), c.scope, &fleet.Upload{}, func(w *store.Writer) error {
				if _, err := w.Vehicles([]store.VehicleEntry{c.entry}); err != nil {
					return err
				}
				return undo
			})
			if want := map[bool]error{true: undo, false: fleet.ErrNotFound}[c.ok]; !errors.Is(err, want) {
				t.Errorf("%s: got %v, want %v", c.name, err, want)
			}
		}
	})
}

// An upload of which every row was refused speaks of no vehicle; its sender
// sees it all the same, and nobody else does.
func TestScopeOfRefusedUpload(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		island(t, db)
		north, south := auth.ScopeOf([]int64{1}, nil), auth.ScopeOf([]int64{2}, nil)
		up := fleet.Upload{Kind: "readings", Refused: 1}
		if err := db.TakeIn(t.Context(), north, &up, func(*store.Writer) error { return nil }); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Upload(t.Context(), north, up.ID); err != nil {
			t.Errorf("its sender: %v", err)
		}
		if _, err := db.Upload(t.Context(), south, up.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another: got %v, want not found", err)
		}
	})
}
