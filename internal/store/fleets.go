package store

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// key is a name as it is compared: people write one name in several cases.
// Go's rules, for the databases' differ.
func key(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

// depotKey names a depot within its fleet.
type depotKey struct {
	fleet int64
	name  string // in lower case
}

// utc is the time zone of a depot that nobody has set one for.
const utc = "UTC"

// fleetID returns the id of the fleet of this name, and makes it when it is
// new and the sender may.
func (w *Writer) fleetID(name string) (int64, error) {
	k := key(name)
	if id, ok := w.fleets[k]; ok {
		return id, nil
	}
	if k == "" || !storable(name) {
		return 0, fleet.Invalidf("fleet %q: a vehicle needs the name of its fleet", name)
	}
	if w.sc.All() {
		_, err := w.t.exec(`insert into fleets (name, name_key) values (?, ?) on conflict do nothing`, strings.TrimSpace(name), k)
		if err != nil {
			return 0, err
		}
	}
	var id int64
	err := w.t.one([]any{&id}, `select id from fleets where name_key = ?`, k)
	if errors.Is(err, errNoRows) {
		return 0, fleet.NotFoundf("fleet %q: there is none, or none that you may change", name)
	}
	if err != nil {
		return 0, err
	}
	w.fleets[k] = id
	return id, nil
}

// depotID is fleetID for a depot of a fleet.
func (w *Writer) depotID(fleetID int64, name string) (int64, error) {
	k := depotKey{fleetID, key(name)}
	if id, ok := w.depots[k]; ok {
		return id, nil
	}
	if !storable(name) {
		return 0, fleet.Invalidf("depot %q: it holds bytes that are no text; send it as UTF-8", name)
	}
	const noDepot = 0
	if w.sc.Sees(fleetID, noDepot) {
		_, err := w.t.exec(`
			insert into depots (fleet_id, name, name_key, time_zone)
			values (?, ?, ?, ?)
			on conflict do nothing`, fleetID, strings.TrimSpace(name), k.name, utc)
		if err != nil {
			return 0, err
		}
	}
	var id int64
	err := w.t.one([]any{&id}, `select id from depots where fleet_id = ? and name_key = ?`, fleetID, k.name)
	if err != nil && !errors.Is(err, errNoRows) {
		return 0, err
	}
	if err != nil || !w.sc.Sees(fleetID, id) {
		return 0, fleet.NotFoundf("depot %q: there is none, or none that you may change", name)
	}
	w.depots[k] = id
	return id, nil
}

// Fleets returns the fleets by name, also those of which sc sees a depot only.
func (db *DB) Fleets(ctx context.Context, sc auth.Scope) (fs []fleet.Fleet, err error) {
	err = db.read(ctx, "list fleets", func(t *tx) error {
		var w where
		w.places(sc, "f.id", "d.id")
		query := `
			select f.id, f.name, f.rule_set
			from fleets f
			left join depots d on d.fleet_id = f.id` + w.String() + `
			group by f.id, f.name, f.name_key, f.rule_set
			order by f.name_key`
		fs, err = ofPlaces(t, query, w.args, func() (fs []fleet.Fleet, err error) {
			err = t.each(func(r *sqlx.Rows) error {
				var f fleet.Fleet
				err := r.Scan(&f.ID, &f.Name, &f.RuleSet)
				fs = append(fs, f)
				return err
			}, query, w.args...)
			return fs, err
		})
		return err
	})
	return slices.Clone(fs), err
}

// Depots returns the depots by name.
func (db *DB) Depots(ctx context.Context, sc auth.Scope) ([]fleet.Depot, error) {
	return db.depots(ctx, sc, where{}, -1)
}

// DepotsToChoose returns the depots of a fleet by name; of all fleets (0), as
// many as anybody chooses from, or, when there are more, only the one chosen.
func (db *DB) DepotsToChoose(ctx context.Context, sc auth.Scope, fleetID, chosen int64, most int) (ds []fleet.Depot, more bool, err error) {
	var w where
	if w.only("d.fleet_id", fleetID); fleetID != 0 {
		ds, err = db.depots(ctx, sc, w, -1)
		return ds, false, err
	}
	if ds, err = db.depots(ctx, sc, w, most+1); err != nil || len(ds) <= most {
		return ds, false, err
	}
	w.add("d.id = ?", chosen)
	ds, err = db.depots(ctx, sc, w, 1)
	return ds, true, err
}

// depots returns the depots d that w admits, so many at most; -1 = all.
func (db *DB) depots(ctx context.Context, sc auth.Scope, w where, limit int) (ds []fleet.Depot, err error) {
	err = db.read(ctx, "list depots", func(t *tx) error {
		w.places(sc, "d.fleet_id", "d.id")
		end := ""
		if limit >= 0 {
			end = " limit " + strconv.Itoa(limit)
		}
		query := `
			select d.id, d.fleet_id, d.name, d.time_zone
			from depots d` + w.String() + `
			order by d.name_key, d.id` + end
		ds, err = ofPlaces(t, query, w.args, func() (ds []fleet.Depot, err error) {
			err = t.each(func(r *sqlx.Rows) error {
				var d fleet.Depot
				err := r.Scan(&d.ID, &d.FleetID, &d.Name, &d.TimeZone)
				ds = append(ds, d)
				return err
			}, query, w.args...)
			return ds, err
		})
		return err
	})
	return slices.Clone(ds), err
}
