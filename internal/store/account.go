package store

import (
	"context"
	"errors"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Account is somebody who may sign in.
type Account struct {
	ID         int64
	Name       string
	Email      string
	Password   bool // one is chosen
	Second     bool // a code is asked for too
	AddedBy    string
	AddedAt    time.Time
	SignedInAt *time.Time // last; nil = never
	Grants     []Grant    // those that have not ended, on places that the reader sees
	Elsewhere  bool       // it has others
}

// Grant is what an account may do, and where.
type Grant struct {
	ID      int64
	Role    auth.Role
	Place   // both ids 0 = everything
	GivenBy string
	GivenAt time.Time
}

// Validate says what is wrong with a; its e-mail address is the mail's to
// judge.
func (a *Account) Validate() error {
	switch {
	case strings.TrimSpace(a.Name) == "" || len(a.Name) > maxName || !storable(a.Name):
		return fleet.Invalidf("name: want one, of at most %d characters", maxName)
	case a.Email == "" || len(a.Email) > maxName || !storable(a.Email):
		return fleet.Invalidf("e-mail: want one, of at most %d characters", maxName)
	}
	return nil
}

// AddAccount adds a with its grants, all of them on places that sc sees, and
// sets a.ID. It cannot sign in before a password is chosen: see AddLink.
func (db *DB) AddAccount(ctx context.Context, sc auth.Scope, by string, a *Account) error {
	if err := a.Validate(); err != nil {
		return err
	}
	if len(a.Grants) == 0 {
		return fleet.Invalidf("role: say what %s may do", a.Name)
	}
	return db.write(ctx, "add an account", func(t *tx) error {
		var taken int64
		err := t.one([]any{&taken}, `select id from accounts where email_key = ? and stopped_at is null`, key(a.Email))
		if err == nil {
			return fleet.Conflictf("e-mail %s: there is an account with it", a.Email)
		}
		if !errors.Is(err, errNoRows) {
			return err
		}
		a.AddedBy, a.AddedAt = by, t.db.now()
		err = t.one([]any{&a.ID}, `
			insert into accounts (name, email, email_key, password, added_by, added_at)
			values (?, ?, ?, '', ?, ?)
			returning id`, strings.TrimSpace(a.Name), a.Email, key(a.Email), storableOf(by), instant(a.AddedAt))
		for i := 0; err == nil && i < len(a.Grants); i++ {
			err = t.give(sc, by, a.ID, &a.Grants[i])
		}
		if err != nil {
			return err
		}
		return t.log(entry{act: actAdded, record: "account", id: a.ID, by: by, detail: a.Name})
	})
}

// RenameAccount changes who's own name and e-mail address.
func (db *DB) RenameAccount(ctx context.Context, who auth.Who, name, email string) error {
	a := Account{Name: name, Email: email}
	if err := a.Validate(); err != nil {
		return err
	}
	return db.write(ctx, "change an account", func(t *tx) error {
		var taken int64
		err := t.one([]any{&taken}, `select id from accounts where email_key = ? and stopped_at is null and id <> ?`, key(email), who.Account)
		if err == nil {
			return fleet.Conflictf("e-mail %s: there is another account with it", email)
		}
		if !errors.Is(err, errNoRows) {
			return err
		}
		_, err = t.exec(`update accounts set name = ?, email = ?, email_key = ? where id = ?`, strings.TrimSpace(name), email, key(email), who.Account)
		if err != nil {
			return err
		}
		return t.log(entry{act: "name and e-mail changed", record: "account", id: who.Account, by: who.Name, account: who.Account})
	})
}

// SetReader changes how who wants quantities and days said.
func (db *DB) SetReader(ctx context.Context, who auth.Who, r units.Reader) error {
	if err := r.Validate(); err != nil {
		return fleet.Invalidf("%v", err)
	}
	return db.write(ctx, "change an account", func(t *tx) error {
		d, k, days := string(r.DistanceIn), string(r.ThicknessIn), string(r.DaysAs)
		n, err := t.count(`
			update accounts
			set distance = ?, thickness = ?, days = ?, time_zone = ?
			where id = ? and (distance <> ? or thickness <> ? or days <> ? or time_zone <> ?)`,
			d, k, days, r.Zone, who.Account, d, k, days, r.Zone)
		if err != nil || n == 0 {
			t.unchanged()
			return err
		}
		return t.log(entry{act: actReader, record: "account", id: who.Account, by: who.Name, account: who.Account})
	})
}

// GiveGrant gives g to an account that sc sees, on a place that sc sees, and
// sets g.ID. Links to the account end, but those that an admin of everything
// made: otherwise whoever made one could come to more by it than they have. So
// does a password that was chosen by such a link, when the role reaches beyond
// where the account has one.
func (db *DB) GiveGrant(ctx context.Context, sc auth.Scope, by string, account int64, g *Grant) error {
	return db.write(ctx, "give a role", func(t *tx) error {
		a, err := t.account(sc, account)
		if err != nil {
			return err
		}
		for _, old := range a.Grants {
			if old.Role == g.Role && old.FleetID == g.FleetID && old.DepotID == g.DepotID {
				return fleet.Conflictf("role: %s has it there already", a.Name)
			}
		}
		if _, err := t.exec(`delete from links where account_id = ? and not whole`, account); err != nil {
			return err
		}
		if err := t.endNarrow(by, account, g.Place); err != nil {
			return err
		}
		return t.give(sc, by, account, g)
	})
}

// endNarrow ends the password of an account, and all that came of it, where it
// was chosen by a link of an admin of a part, who need not have the rights that
// a role on p gives. On all places where the account had a role, they did.
func (t *tx) endNarrow(by string, account int64, p Place) error {
	var narrow bool
	if err := t.one([]any{&narrow}, `select narrow from accounts where id = ?`, account); err != nil || !narrow {
		return err
	}
	var within int
	err := t.one([]any{&within}, `
		select count(*)
		from grants
		where account_id = ? and ended_at is null and fleet_id = ? and (depot_id is null or depot_id = ?)`, account, p.FleetID, p.DepotID)
	if err != nil || within > 0 {
		return err
	}
	if _, err := t.exec(`update accounts set password = '', narrow = ? where id = ?`, false, account); err != nil {
		return err
	}
	_, err = t.exec(`update api_tokens set ended_by = ?, ended_at = ? where account_id = ? and ended_at is null`, storableOf(by), instant(t.db.now()), account)
	if err != nil {
		return err
	}
	if err := t.forgetEntry(account, 0); err != nil {
		return err
	}
	return t.log(entry{act: "password ended with a role elsewhere", record: "account", id: account, by: by})
}

func (t *tx) give(sc auth.Scope, by string, account int64, g *Grant) error {
	if !g.Role.Known() {
		return fleet.Invalidf("role %q: there is no such role", g.Role)
	}
	if g.FleetID == 0 {
		if !sc.All() {
			return fleet.Deniedf("place: you may give roles on your own fleets and depots only")
		}
	} else if err := t.checkPlace(sc, g.Place); err != nil {
		return err
	}
	g.GivenBy, g.GivenAt = by, t.db.now()
	err := t.one([]any{&g.ID}, `
		insert into grants (account_id, role, fleet_id, depot_id, given_by, given_at)
		values (?, ?, ?, ?, ?, ?)
		returning id`, account, string(g.Role), unlessZero(g.FleetID), unlessZero(g.DepotID), storableOf(by), instant(g.GivenAt))
	if err != nil {
		return err
	}
	return t.log(entry{act: "role given", record: "account", id: account, fleet: g.FleetID, depot: g.DepotID, by: by, detail: string(g.Role)})
}

// EndGrant ends a grant on a place that sc sees.
func (db *DB) EndGrant(ctx context.Context, sc auth.Scope, by string, account, grant int64) error {
	return db.write(ctx, "end a role", func(t *tx) error {
		if err := t.holdAdmins(); err != nil {
			return err
		}
		a, err := t.account(sc, account)
		if err != nil {
			return err
		}
		for _, g := range a.Grants {
			if g.ID != grant {
				continue
			}
			_, err := t.exec(`update grants set ended_by = ?, ended_at = ? where id = ?`, storableOf(by), instant(t.db.now()), grant)
			if err != nil {
				return err
			}
			err = t.log(entry{act: "role ended", record: "account", id: account, fleet: g.FleetID, depot: g.DepotID, by: by, detail: string(g.Role)})
			if err != nil {
				return err
			}
			return t.someAdmin()
		}
		return fleet.NotFoundf("role %d: %s has none of this number", grant, a.Name)
	})
}

// StopAccount ends an account all of whose places sc sees: nobody signs in
// with it any more, and its sessions and tokens end now.
func (db *DB) StopAccount(ctx context.Context, sc auth.Scope, by string, id int64) error {
	return db.write(ctx, "stop an account", func(t *tx) error {
		if err := t.holdAdmins(); err != nil {
			return err
		}
		a, err := t.ownAccount(sc, id)
		if err != nil {
			return err
		}
		now := instant(t.db.now())
		if _, err := t.exec(`update accounts set stopped_by = ?, stopped_at = ? where id = ?`, storableOf(by), now, id); err != nil {
			return err
		}
		if _, err := t.exec(`update grants set ended_by = ?, ended_at = ? where account_id = ? and ended_at is null`, storableOf(by), now, id); err != nil {
			return err
		}
		if _, err := t.exec(`update api_tokens set ended_by = ?, ended_at = ? where account_id = ? and ended_at is null`, storableOf(by), now, id); err != nil {
			return err
		}
		if _, err := t.exec(`delete from openid_subjects where account_id = ?`, id); err != nil {
			return err
		}
		if err := t.forgetEntry(id, 0); err != nil {
			return err
		}
		// A line for each place, so that who looks after it reads it there.
		for _, g := range a.Grants {
			err := t.log(entry{act: "role ended", record: "account", id: id, fleet: g.FleetID, depot: g.DepotID, by: by, detail: string(g.Role)})
			if err != nil {
				return err
			}
		}
		if err := t.log(entry{act: actEnded, record: "account", id: id, by: by, detail: a.Name}); err != nil {
			return err
		}
		if err := t.stopTellingAt(sc, by, a.Email); err != nil {
			return err
		}
		return t.someAdmin()
	})
}

// holdAdmins keeps others from ending roles of admins meanwhile: two who end
// each other's at the same moment would both find one left.
func (t *tx) holdAdmins() error {
	if t.db.dialect != Postgres {
		return nil // one writes at a time
	}
	return t.each(func(*sqlx.Rows) error { return nil }, `
		select 1
		from grants
		where role = ? and fleet_id is null and ended_at is null
		order by id
		for update`, string(auth.Admin))
}

// someAdmin keeps the last way in open: somebody must be left who may give
// roles on everything.
func (t *tx) someAdmin() error {
	ok, err := t.hasAdmin(true, "")
	if err == nil && !ok {
		err = fleet.Conflictf("nobody would be left who may give roles: make somebody else admin of everything first")
	}
	return err
}

// hasAdmin says whether somebody may give roles on everything, who has a way to
// sign in or before there is one: a password, or a sign-in with the provider of
// the issuer.
func (t *tx) hasAdmin(before bool, issuer string) (bool, error) {
	var n int
	err := t.one([]any{&n}, `
		select count(*)
		from grants g
		join accounts a on a.id = g.account_id
		where g.role = ? and g.fleet_id is null and g.ended_at is null and a.stopped_at is null
			and (? or a.password <> '' or exists (select 1 from openid_subjects o where o.account_id = a.id and o.issuer = ?))`,
		string(auth.Admin), before, storableOf(issuer))
	return n > 0, err
}

// HasAdmin says whether somebody can sign in who may give roles on everything:
// with a password, or with the OpenID Connect provider of the issuer, blank where
// none is set. Before that, the program offers to make the first account.
func (db *DB) HasAdmin(ctx context.Context, issuer string) (ok bool, err error) {
	err = db.read(ctx, "look for an admin", func(t *tx) error {
		ok, err = t.hasAdmin(false, issuer)
		return err
	})
	return ok, err
}

// AdminInvited says whether somebody holds a link that is still good, to choose a
// password with, who may give roles on everything; but who has the address other
// does not count.
func (db *DB) AdminInvited(ctx context.Context, other string) (ok bool, err error) {
	err = db.read(ctx, "look for an admin", func(t *tx) error {
		var n int
		err := t.one([]any{&n}, `
			select count(*)
			from grants g
			join accounts a on a.id = g.account_id
			join links l on l.account_id = a.id
			where g.role = ? and g.fleet_id is null and g.ended_at is null and a.stopped_at is null
				and l.until > ? and a.email_key <> ?`, string(auth.Admin), instant(t.db.now()), key(other))
		ok = n > 0
		return err
	})
	return ok, err
}

// Accounts returns the accounts with a role on a place that sc sees, by name.
func (db *DB) Accounts(ctx context.Context, sc auth.Scope) (as []Account, err error) {
	err = db.read(ctx, "list accounts", func(t *tx) error {
		as, err = t.accounts(sc, where{})
		return err
	})
	return as, err
}

// Account returns one of them.
func (db *DB) Account(ctx context.Context, sc auth.Scope, id int64) (a Account, err error) {
	err = db.read(ctx, "read an account", func(t *tx) error {
		a, err = t.account(sc, id)
		return err
	})
	return a, err
}

func (t *tx) account(sc auth.Scope, id int64) (Account, error) {
	var w where
	w.add("a.id = ?", id)
	as, err := t.accounts(sc, w)
	return only(as, err, "account %d: there is none, or none that you may see", id)
}

// ownAccount is account where sc sees every place of it: whoever may choose
// its password may do what it may.
func (t *tx) ownAccount(sc auth.Scope, id int64) (Account, error) {
	a, err := t.account(sc, id)
	if err != nil {
		return a, err
	}
	if a.Elsewhere {
		return a, fleet.Deniedf("%s has a role on a place that is not yours: ask an admin of everything", a.Name)
	}
	return a, nil
}

// inside says whether sc holds the whole of p.
func inside(sc auth.Scope, p Place) bool {
	if p.FleetID == 0 {
		return sc.All()
	}
	return sc.Sees(p.FleetID, p.DepotID)
}

// accounts returns the accounts a whom w admits and who have a grant on a place
// that sc sees, with those grants.
func (t *tx) accounts(sc auth.Scope, w where) (as []Account, err error) {
	w.add("a.stopped_at is null")
	if !sc.All() {
		var in where
		in.places(sc, "g.fleet_id", "g.depot_id")
		w.add("exists (select 1 from grants g where g.account_id = a.id and g.ended_at is null and "+in.conds[0]+")", in.args...)
	}
	at := map[int64]int{}
	err = t.each(func(r *sqlx.Rows) error {
		var a Account
		var in *instant
		err := r.Scan(&a.ID, &a.Name, &a.Email, &a.Password, &a.Second, &a.AddedBy, (*instant)(&a.AddedAt), &in)
		a.SignedInAt = (*time.Time)(in)
		at[a.ID] = len(as)
		as = append(as, a)
		return err
	}, `
		select a.id, a.name, a.email, a.password <> '',
			exists (select 1 from second_factors s where s.account_id = a.id and s.confirmed_at is not null),
			a.added_by, a.added_at, a.signed_in_at
		from accounts a`+w.String()+`
		order by a.email_key, a.id`, w.args...)
	if err != nil || len(as) == 0 {
		return as, err
	}
	// All grants: the few accounts there are do not need a choice of them.
	return as, t.each(func(r *sqlx.Rows) error {
		var account int64
		var g Grant
		var fleetID, depotID *int64
		var fleetName, depotName *string
		err := r.Scan(&account, &g.ID, &g.Role, &fleetID, &depotID, &fleetName, &depotName, &g.GivenBy, (*instant)(&g.GivenAt))
		if fleetID != nil {
			g.FleetID, g.Fleet = *fleetID, *fleetName
		}
		if depotID != nil {
			g.DepotID, g.Depot = *depotID, *depotName
		}
		switch i, ok := at[account]; {
		case !ok:
		case inside(sc, g.Place):
			as[i].Grants = append(as[i].Grants, g)
		default:
			as[i].Elsewhere = true
		}
		return err
	}, `
		select g.account_id, g.id, g.role, g.fleet_id, g.depot_id, f.name, d.name, g.given_by, g.given_at
		from grants g
		left join fleets f on f.id = g.fleet_id
		left join depots d on d.id = g.depot_id
		where g.ended_at is null
		order by g.account_id, g.fleet_id, g.depot_id, g.id`)
}
