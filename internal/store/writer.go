package store

import (
	"cmp"
	"errors"
	"maps"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Writer stores the rows of one upload; see TakeIn. It is for one goroutine.
// An error of one of its methods ends the upload, whatever is made of it.
type Writer struct {
	t      *tx
	sc     auth.Scope
	upload int64
	fleets map[string]int64   // by name in lower case
	depots map[depotKey]int64 // likewise
	placed map[[2]int64]bool  // fleets and depots that the upload speaks of
	failed error              // first error of a method

	fleetOf map[int64]int64     // by vehicle, of those that enter let in
	seen    map[int64][2]int64  // fleets and depots, see Seen
	keys    map[readingKey]bool // see keysOf
}

// Counts says what became of the rows of one call.
type Counts struct {
	Added    int
	Changed  int
	Repeated int // already there, nothing changed
}

// end gives a method's error its kind and keeps it. An error of the caller's
// own, such as of reading a file, must not pass for one of the database.
func (w *Writer) end(what string, err *error) {
	*err = wrap(w.t.ctx, what, *err)
	w.failed = cmp.Or(w.failed, *err)
}

// enter checks that sc sees the vehicles of rows, and notes that the upload speaks of
// their fleets and depots. It asks for none twice.
func enter[R any](w *Writer, rows []R, vehicle func(*R) int64) error {
	strange := map[int64]bool{}
	for i := range rows {
		id := vehicle(&rows[i])
		if _, known := w.fleetOf[id]; known {
			continue
		}
		home, seen := w.seen[id]
		if !seen {
			strange[id] = true
			continue
		}
		w.fleetOf[id] = home[0]
		if err := w.place(home[0], home[1]); err != nil {
			return err
		}
	}
	for ids := range slices.Chunk(slices.Sorted(maps.Keys(strange)), roundVehicles) {
		var seen where
		seen.among("v.id", roundedUp(ids))
		seen.scope(w.sc, "v")
		var homes [][2]int64 // fleets and depots
		err := w.t.each(func(r *sqlx.Rows) error {
			var id int64
			var home [2]int64
			err := r.Scan(&id, &home[0], &home[1])
			w.fleetOf[id], homes = home[0], append(homes, home)
			return err
		}, `select v.id, v.fleet_id, v.depot_id from vehicles v`+seen.String(), seen.args...)
		if err != nil {
			return err
		}
		for _, id := range ids {
			if _, known := w.fleetOf[id]; !known {
				return strangeVehicle(id)
			}
		}
		for _, h := range homes {
			if err := w.place(h[0], h[1]); err != nil {
				return err
			}
		}
	}
	return nil
}

// Seen tells of a vehicle that was read for the Writer's scope in the transaction that
// it writes in, and need not be looked for again.
func (w *Writer) Seen(v *fleet.Vehicle) { w.seen[v.ID] = [2]int64{v.FleetID, v.DepotID} }

// checkVehicles refuses a stage with a vehicle that sc does not see.
func (t *tx) checkVehicles(sc auth.Scope, stage string) error {
	var seen where
	seen.add("v.id = s.vehicle_id")
	seen.scope(sc, "v")
	var stranger int64
	err := t.one([]any{&stranger}, `
		select s.vehicle_id
		from `+stage+` s
		where not exists (select 1 from vehicles v`+seen.String()+`)
		limit 1`, seen.args...)
	switch {
	case errors.Is(err, errNoRows):
		return nil
	case err != nil:
		return err
	}
	return strangeVehicle(stranger)
}

func strangeVehicle(id int64) error {
	return fleet.NotFoundf("vehicle %d: there is none, or none that you may change", id)
}

// place notes that the upload speaks of a depot of a fleet.
func (w *Writer) place(fleetID, depotID int64) error {
	p := [2]int64{fleetID, depotID}
	if w.placed[p] {
		return nil
	}
	w.placed[p] = true
	return w.t.later(`
		insert into upload_places (upload_id, fleet_id, depot_id)
		values (?, ?, ?)
		on conflict do nothing`, w.upload, fleetID, depotID)
}

// waves cuts rows so that no key is twice in one part: what is upserted in
// one statement must be unique, and a later row must see the earlier.
func waves[T any, K comparable](rows []T, key func(*T) K, do func(wave []T) error) error {
	seen := make(map[K]bool, len(rows))
	start := 0
	for i := range rows {
		k := key(&rows[i])
		if seen[k] {
			if err := do(rows[start:i]); err != nil {
				return err
			}
			clear(seen)
			start = i
		}
		seen[k] = true
	}
	if start == len(rows) {
		return nil
	}
	return do(rows[start:])
}
