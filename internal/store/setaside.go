package store

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// DeclineVisits sets proposed visits aside, with why; later proposals look for
// another day.
func (db *DB) DeclineVisits(ctx context.Context, sc auth.Scope, by, why string, ids []int64) error {
	if err := fleet.ValidWords("reason", why); err != nil {
		return err
	}
	return db.write(ctx, "decline a proposal", func(t *tx) error {
		vs, err := t.openVisits(sc, ids)
		if err != nil {
			return err
		}
		t.unchanged() // until one is declined
		for i := range vs {
			if vs[i].State != VisitOpen {
				continue
			}
			if err := t.decide(&vs[i], VisitDeclined, "declined", by, why); err != nil {
				return err
			}
		}
		return nil
	})
}

// TakeBackVisits undoes DeclineVisits: a visit is open again, or where a newer
// proposal has been made for its depot, binds the next no more.
func (db *DB) TakeBackVisits(ctx context.Context, sc auth.Scope, by string, ids []int64) error {
	return db.write(ctx, "take a set-aside visit back", func(t *tx) error {
		vs, err := t.openVisits(sc, ids)
		if err != nil {
			return err
		}
		t.unchanged()               // until one is taken back
		newest := map[int64]int64{} // run of each depot
		oldest := slices.MinFunc(vs, func(a, b Visit) int { return cmp.Compare(a.ProposalID, b.ProposalID) }).ProposalID
		for i := range vs {
			v := &vs[i]
			if v.State != VisitDeclined {
				continue
			}
			if _, known := newest[v.DepotID]; !known {
				if newest[v.DepotID], err = t.newestRun(v.FleetID, v.DepotID, oldest); err != nil {
					return err
				}
			}
			state := VisitOpen
			if newest[v.DepotID] > v.ProposalID {
				state = VisitSuperseded
			}
			if err := t.decide(v, state, "taken back", by, ""); err != nil {
				return err
			}
		}
		return nil
	})
}

// newestRun returns the newest proposal for a depot, which may want nothing there,
// of those after a run; 0 = there is none.
func (t *tx) newestRun(fleetID, depotID, after int64) (id int64, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var run int64
		var figures []byte
		if err := r.Scan(&run, &figures); err != nil || id != 0 {
			return err
		}
		var f Figures
		err := json.Unmarshal(figures, &f)
		// One made before its depots were kept planned them all, as far as is known.
		if f.Depots == nil || slices.Contains(f.Depots, depotID) {
			id = run
		}
		return err
	}, `
		select id, figures
		from proposals
		where fleet_id = ? and id > ?
		order by id desc`, fleetID, after)
	return id, err
}
