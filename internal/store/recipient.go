package store

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// What a person who is told does.
const (
	RoleManager = "manager"
	RolePlanner = "planner"
)

// Roles are those, in the order they are listed to people.
var Roles = []string{RoleManager, RolePlanner}

// Place is a fleet, or one depot of it.
type Place struct {
	FleetID int64
	DepotID int64 // 0 = the whole fleet
	// Names, filled where places are read.
	Fleet, Depot string
}

// Recipient is a person who is told by e-mail.
type Recipient struct {
	ID         int64 // 0 = not kept yet
	Name       string
	Address    string
	Role       string
	Everything bool // all fleets
	Places     []Place
	AddedBy    string
	AddedAt    time.Time
	Last       *Digest // latest; nil = none
	// Reader is how the account of the same address wants days said; blank where
	// there is no such account.
	Reader units.Reader
}

// Scope is what the person is told of.
func (r *Recipient) Scope() auth.Scope {
	if r.Everything {
		return auth.AllFleets()
	}
	var fleets, depots []int64
	for _, p := range r.Places {
		if p.DepotID != 0 {
			depots = append(depots, p.DepotID)
		} else {
			fleets = append(fleets, p.FleetID)
		}
	}
	return auth.ScopeOf(fleets, depots)
}

// maxName bounds a person's name, in bytes.
const maxName = 200

// Validate says what is wrong with r; its address is the mail's to judge.
func (r *Recipient) Validate() error {
	switch {
	case strings.TrimSpace(r.Name) == "" || len(r.Name) > maxName || !storable(r.Name):
		return fleet.Invalidf("name: want one, of at most %d characters", maxName)
	case r.Address == "" || !storable(r.Address):
		return fleet.Invalidf("address: want one")
	case !slices.Contains(Roles, r.Role):
		return fleet.Invalidf("role %q: want one of %s", r.Role, strings.Join(Roles, ", "))
	case !r.Everything && len(r.Places) == 0:
		return fleet.Invalidf("places: want fleets or depots that %s is told of", r.Name)
	}
	return nil
}

// SaveRecipient adds r, or changes the one of r.ID, and sets r.ID.
func (db *DB) SaveRecipient(ctx context.Context, sc auth.Scope, by string, r *Recipient) error {
	if err := r.Validate(); err != nil {
		return err
	}
	if r.Everything {
		r.Places = nil
	}
	err := db.write(ctx, "keep a person to tell", func(t *tx) error {
		for _, p := range r.Places {
			if err := t.checkPlace(sc, p); err != nil {
				return err
			}
		}
		if r.Everything && !sc.All() {
			return fleet.Invalidf("places: you may tell of your own fleets and depots only")
		}
		var taken int64
		err := t.one([]any{&taken}, `
			select id
			from recipients
			where address_key = ? and stopped_at is null and id <> ?`, key(r.Address), r.ID)
		if err == nil {
			return fleet.Conflictf("address %s: it is told already", r.Address)
		}
		if !errors.Is(err, errNoRows) {
			return err
		}
		if r.ID == 0 {
			r.AddedBy, r.AddedAt = by, t.db.now()
			err = t.one([]any{&r.ID}, `
				insert into recipients (name, address, address_key, role, everything, added_by, added_at)
				values (?, ?, ?, ?, ?, ?, ?)
				returning id`,
				strings.TrimSpace(r.Name), r.Address, key(r.Address), r.Role, r.Everything, storableOf(by), instant(r.AddedAt))
		} else if _, err = t.recipient(sc, r.ID); err == nil {
			_, err = t.exec(`
				update recipients set name = ?, address = ?, address_key = ?, role = ?, everything = ?
				where id = ?`, strings.TrimSpace(r.Name), r.Address, key(r.Address), r.Role, r.Everything, r.ID)
		}
		if err != nil {
			return err
		}
		if _, err := t.exec(`delete from recipient_places where recipient_id = ?`, r.ID); err != nil {
			return err
		}
		for _, p := range r.Places {
			_, err := t.exec(`insert into recipient_places (recipient_id, fleet_id, depot_id) values (?, ?, ?)`, r.ID, p.FleetID, unlessZero(p.DepotID))
			if err != nil {
				return err
			}
		}
		return t.logRecipient(r, actKept, by)
	})
	return err
}

// logRecipient tells the log of changes of r: of a fleet where r is told of
// one only.
func (t *tx) logRecipient(r *Recipient, act, by string) error {
	e := entry{act: act, record: "person told", id: r.ID, by: by, detail: r.Name + ", " + r.Role}
	for i, p := range r.Places {
		switch {
		case i == 0:
			e.fleet, e.depot = p.FleetID, p.DepotID
		case p.FleetID != e.fleet:
			e.fleet, e.depot = 0, 0
			return t.log(e)
		default:
			e.depot = 0
		}
	}
	return t.log(e)
}

// checkPlace wants p to be there, and seen by sc.
func (t *tx) checkPlace(sc auth.Scope, p Place) error {
	if p.DepotID != 0 {
		of, err := t.depotIn(sc, p.DepotID)
		if err == nil && of != p.FleetID {
			err = fleet.Invalidf("depot %d: it is not of fleet %d", p.DepotID, p.FleetID)
		}
		return err
	}
	var n int
	if err := t.one([]any{&n}, `select count(*) from fleets where id = ?`, p.FleetID); err != nil {
		return err
	}
	if n == 0 || !sc.Sees(p.FleetID, 0) {
		return fleet.NotFoundf("fleet %d: there is none, or none that you may see whole", p.FleetID)
	}
	return nil
}

// StopRecipient ends that a person is told.
func (db *DB) StopRecipient(ctx context.Context, sc auth.Scope, by string, id int64) error {
	return db.write(ctx, "stop telling a person", func(t *tx) error {
		r, err := t.recipient(sc, id)
		if err != nil {
			return err
		}
		return t.stopTelling(by, &r)
	})
}

func (t *tx) stopTelling(by string, r *Recipient) error {
	if _, err := t.exec(`delete from digest_axles where recipient_id = ?`, r.ID); err != nil {
		return err
	}
	_, err := t.exec(`update recipients set stopped_by = ?, stopped_at = ? where id = ?`, storableOf(by), instant(t.db.now()), r.ID)
	if err != nil {
		return err
	}
	return t.logRecipient(r, actEnded, by)
}

// stopTellingAt tells nobody at an address any more of places that sc sees: whose account
// ended there is to hear no more of them. What others tell them of is theirs to end, and
// so is that somebody is told of everything.
func (t *tx) stopTellingAt(sc auth.Scope, by, address string) error {
	var at where
	at.add("r.address_key = ?", key(address))
	rs, err := t.recipients(auth.AllFleets(), at)
	if err != nil {
		return err
	}
	for i := range rs {
		r := &rs[i]
		seen := slices.DeleteFunc(slices.Clone(r.Places), func(p Place) bool { return !sc.Sees(p.FleetID, p.DepotID) })
		switch {
		case sc.All(), len(seen) > 0 && len(seen) == len(r.Places):
			err = t.stopTelling(by, r)
		case len(seen) > 0:
			err = t.stopTellingOf(sc, by, r, seen)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// stopTellingOf ends that r is told of those of its places that sc sees.
func (t *tx) stopTellingOf(sc auth.Scope, by string, r *Recipient, seen []Place) error {
	var of where
	of.add("recipient_id = ?", r.ID)
	of.places(sc, "fleet_id", "depot_id")
	if _, err := t.exec(`delete from recipient_places`+of.String(), of.args...); err != nil {
		return err
	}
	r.Places = seen // the log says what ended to who looks after that
	return t.logRecipient(r, actEnded, by)
}

// Recipients returns the people who are told, by name: those of whose places
// sc sees all.
func (db *DB) Recipients(ctx context.Context, sc auth.Scope) (rs []Recipient, err error) {
	err = db.read(ctx, "list people to tell", func(t *tx) error {
		rs, err = t.recipients(sc, where{})
		return err
	})
	return rs, err
}

// RecipientPage is PartPage for what Recipients returns.
func (db *DB) RecipientPage(ctx context.Context, sc auth.Scope, after string, limit int) (rs []Recipient, next string, err error) {
	err = db.read(ctx, "list people to tell", func(t *tx) error {
		var w where
		w.told(sc)
		var ids []int64
		if ids, next, err = t.idPage(recipientOrder, "recipients r", "r.name", "r.id", w, after, limit); err != nil || len(ids) == 0 {
			return err
		}
		var of where
		of.among("r.id", roundedUp(ids))
		rs, err = t.recipients(sc, of)
		return err
	})
	return rs, next, err
}

// Recipient returns one of them.
func (db *DB) Recipient(ctx context.Context, sc auth.Scope, id int64) (r Recipient, err error) {
	err = db.read(ctx, "read a person to tell", func(t *tx) error {
		r, err = t.recipient(sc, id)
		return err
	})
	return r, err
}

func (t *tx) recipient(sc auth.Scope, id int64) (Recipient, error) {
	var w where
	w.add("r.id = ?", id)
	rs, err := t.recipients(sc, w)
	return only(rs, err, "person %d: nobody is told under this number, or nobody that you may see", id)
}

// recipients returns the people r whom w admits and of whose places sc sees
// all.
func (t *tx) recipients(sc auth.Scope, w where) (rs []Recipient, err error) {
	w.told(sc)
	at := map[int64]int{}
	err = t.each(func(r *sqlx.Rows) error {
		var x Recipient
		err := r.Scan(&x.ID, &x.Name, &x.Address, &x.Role, &x.Everything, &x.AddedBy, (*instant)(&x.AddedAt),
			&x.Reader.DistanceIn, &x.Reader.ThicknessIn, &x.Reader.DaysAs)
		at[x.ID] = len(rs)
		rs = append(rs, x)
		return err
	}, `
		select r.id, r.name, r.address, r.role, r.everything, r.added_by, r.added_at,
			coalesce(a.distance, ''), coalesce(a.thickness, ''), coalesce(a.days, '')
		from recipients r
		left join accounts a on a.email_key = r.address_key and a.stopped_at is null`+w.String()+`
		order by r.name, r.id`, w.args...)
	if err != nil || len(rs) == 0 {
		return rs, err
	}
	err = t.each(func(r *sqlx.Rows) error {
		var id int64
		var p Place
		var depot *int64
		var name *string
		err := r.Scan(&id, &p.FleetID, &depot, &p.Fleet, &name)
		if depot != nil {
			p.DepotID, p.Depot = *depot, *name
		}
		if i, ok := at[id]; ok {
			rs[i].Places = append(rs[i].Places, p)
		}
		return err
	}, `
		select p.recipient_id, p.fleet_id, p.depot_id, f.name, d.name
		from recipient_places p
		join fleets f on f.id = p.fleet_id
		left join depots d on d.id = p.depot_id
		where p.recipient_id in (select r.id from recipients r`+w.String()+`)
		order by f.name_key, d.name_key, p.fleet_id, p.depot_id`, w.args...)
	if err != nil {
		return nil, err
	}
	return rs, t.lastDigests(rs, at, w)
}

// told adds that the recipient r is told still, and that sc sees all of the places.
func (w *where) told(sc auth.Scope) {
	w.add("r.stopped_at is null")
	if sc.All() {
		return
	}
	var inside where
	inside.places(sc, "p.fleet_id", "p.depot_id")
	w.add("not r.everything")
	w.add("not exists (select 1 from recipient_places p where p.recipient_id = r.id and (p.depot_id is null and not p.fleet_id in "+
		places(max(1, len(sc.Fleets())))+" or p.depot_id is not null and not "+inside.conds[0]+"))",
		append(anysOr(sc.Fleets()), inside.args...)...)
}

// anysOr is anys with something for a list that may not be empty; no id is 0.
func anysOr(ids []int64) []any {
	if len(ids) == 0 {
		return []any{0}
	}
	return anys(ids)
}
