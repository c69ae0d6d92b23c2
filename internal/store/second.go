package store

import (
	"context"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Second is what there is of an account's second factor.
type Second struct {
	Name, Email string
	Password    bool // one of ours is chosen: without one nothing asks for a code
	Admin       bool // has a role of admin, anywhere

	Secret      string     // of the codes, as auth.Keys keep it; blank = none, and none being set up
	ConfirmedAt *time.Time // nil = is not asked for
	LastStep    int64      // of the last code taken
	Recovery    int        // codes left
}

// On says whether a code is asked for.
func (s Second) On() bool { return s.ConfirmedAt != nil }

// SecondOf returns the second factor of an account that is not stopped.
func (db *DB) SecondOf(ctx context.Context, account int64) (s Second, err error) {
	err = db.read(ctx, "read a second factor", func(t *tx) error {
		err := t.one([]any{&s.Name, &s.Email, &s.Password, &s.Admin}, `
			select a.name, a.email, a.password <> '',
				exists (select 1 from grants g where g.account_id = a.id and g.role = ? and g.ended_at is null)
			from accounts a
			where a.id = ? and a.stopped_at is null`, string(auth.Admin), account)
		if errors.Is(err, errNoRows) {
			return fleet.NotFoundf("account %d: there is none", account)
		}
		if err != nil {
			return err
		}
		var at *instant
		err = t.one([]any{&s.Secret, &at, &s.LastStep}, `select secret, confirmed_at, last_step from second_factors where account_id = ?`, account)
		s.ConfirmedAt = (*time.Time)(at)
		if errors.Is(err, errNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		return t.one([]any{&s.Recovery}, `select count(*) from recovery_codes where account_id = ?`, account)
	})
	return s, err
}

// BeginSecond keeps the secret of a second factor that the account is setting
// up, in place of one begun before; one that is in force stays, and is
// fleet.ErrConflict.
func (db *DB) BeginSecond(ctx context.Context, account int64, secret string) error {
	return db.write(ctx, "set up a second factor", func(t *tx) error {
		n, err := t.count(`
			insert into second_factors (account_id, secret, made_at, last_step)
			values (?, ?, ?, 0)
			on conflict (account_id) do update set secret = excluded.secret, made_at = excluded.made_at
			where second_factors.confirmed_at is null`, account, secret, instant(t.db.now()))
		if err == nil && n == 0 {
			err = fleet.Conflictf("second factor: there is one already; take it off first")
		}
		if err != nil {
			return err
		}
		return t.log(entry{act: "second factor begun", record: "account", id: account, account: account})
	})
}

// ConfirmSecond puts the second factor of who in force, by the first code, which
// was of the step given, and keeps the hashes of recovery codes. The other
// sessions of the account end: they were begun without it.
func (db *DB) ConfirmSecond(ctx context.Context, who auth.Who, secret string, step int64, recovery []string) error {
	return db.write(ctx, "put a second factor in force", func(t *tx) error {
		n, err := t.count(`
			update second_factors
			set confirmed_at = ?, last_step = ?
			where account_id = ? and secret = ? and confirmed_at is null`, instant(t.db.now()), step, who.Account, secret)
		if err == nil && n == 0 {
			err = fleet.Conflictf("second factor: another was begun meanwhile, or is in force; begin again")
		}
		if err != nil {
			return err
		}
		if err := t.setRecovery(who.Account, recovery); err != nil {
			return err
		}
		if _, err := t.exec(`delete from sessions where account_id = ? and id <> ?`, who.Account, who.Session); err != nil {
			return err
		}
		return t.log(entry{act: "second factor in force", record: "account", id: who.Account, by: who.Name, account: who.Account})
	})
}

func (t *tx) setRecovery(account int64, hashes []string) error {
	if _, err := t.exec(`delete from recovery_codes where account_id = ?`, account); err != nil {
		return err
	}
	for _, h := range hashes {
		if _, err := t.exec(`insert into recovery_codes (sha256, account_id) values (?, ?)`, h, account); err != nil {
			return err
		}
	}
	return nil
}

// RenewRecovery replaces the recovery codes of who, whose second factor is in
// force.
func (db *DB) RenewRecovery(ctx context.Context, who auth.Who, hashes []string) error {
	return db.write(ctx, "make recovery codes", func(t *tx) error {
		// Held, so that it is not taken off meanwhile.
		n, err := t.count(`update second_factors set last_step = last_step where account_id = ? and confirmed_at is not null`, who.Account)
		if err == nil && n == 0 {
			err = fleet.Conflictf("second factor: there is none to recover")
		}
		if err != nil {
			return err
		}
		if err := t.setRecovery(who.Account, hashes); err != nil {
			return err
		}
		return t.log(entry{act: "recovery codes made", record: "account", id: who.Account, by: who.Name, account: who.Account})
	})
}

// KeptSecond is the secret of an account's second factor, as it is kept.
type KeptSecond struct {
	Account int64
	Secret  string
}

// KeptSeconds returns all secrets of second factors.
func (db *DB) KeptSeconds(ctx context.Context) (kept []KeptSecond, err error) {
	err = db.read(ctx, "read second factors", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var k KeptSecond
			err := r.Scan(&k.Account, &k.Secret)
			kept = append(kept, k)
			return err
		}, `select account_id, secret from second_factors order by account_id`)
	})
	return kept, err
}

// KeepSecond keeps a secret in another way, unless it was changed meanwhile.
func (db *DB) KeepSecond(ctx context.Context, was KeptSecond, kept string) error {
	return db.tend(ctx, "keep a second factor", func(t *tx) error {
		_, err := t.exec(`update second_factors set secret = ? where account_id = ? and secret = ?`, kept, was.Account, was.Secret)
		return err
	})
}

// TakeStep takes a code of the account, by its step: false when it, or a later
// one, was taken before.
func (db *DB) TakeStep(ctx context.Context, account, step int64) (ok bool, err error) {
	err = db.tend(ctx, "take a code", func(t *tx) error {
		n, err := t.count(`update second_factors set last_step = ? where account_id = ? and last_step < ? and confirmed_at is not null`, step, account, step)
		ok = n == 1
		return err
	})
	return ok, err
}

// TakeRecovery takes a recovery code of the account, by its hash: false when
// there is none of it, or none any more.
func (db *DB) TakeRecovery(ctx context.Context, account int64, hash string) (ok bool, err error) {
	err = db.write(ctx, "take a recovery code", func(t *tx) error {
		n, err := t.count(`delete from recovery_codes where account_id = ? and sha256 = ?`, account, hash)
		ok = n == 1
		if err != nil || !ok {
			t.unchanged()
			return err
		}
		return t.log(entry{act: "recovery code used", record: "account", id: account, account: account})
	})
	return ok && err == nil, err
}

// EndOwnSecond takes the second factor of who off. Sessions elsewhere end.
func (db *DB) EndOwnSecond(ctx context.Context, who auth.Who) error {
	return db.write(ctx, "take a second factor off", func(t *tx) error {
		return t.endSecond(who.Account, who.Session, who.Name)
	})
}

// EndSecond takes the second factor of an account off, all of whose places sc
// sees: its owner lost it. All its sessions end.
func (db *DB) EndSecond(ctx context.Context, sc auth.Scope, by string, account int64) error {
	return db.write(ctx, "take a second factor off", func(t *tx) error {
		if _, err := t.ownAccount(sc, account); err != nil {
			return err
		}
		return t.endSecond(account, 0, by)
	})
}

func (t *tx) endSecond(account, session int64, by string) error {
	n, err := t.count(`delete from second_factors where account_id = ?`, account)
	if err == nil && n == 0 {
		err = fleet.NotFoundf("second factor: the account has none")
	}
	if err != nil {
		return err
	}
	if err := t.setRecovery(account, nil); err != nil {
		return err
	}
	if err := t.log(entry{act: "second factor taken off", record: "account", id: account, by: by, account: account}); err != nil {
		return err
	}
	return t.forgetEntry(account, session)
}

// BegunLife is how long after the password the code is waited for.
const BegunLife = 10 * time.Minute

// BeginSignIn keeps a secret under which somebody whose password was right may
// give the code.
func (db *DB) BeginSignIn(ctx context.Context, account int64, secret string) error {
	return db.write(ctx, "begin to sign in", func(t *tx) error {
		now := t.db.now()
		if _, err := t.exec(`delete from sign_ins_begun where begun_at <= ?`, instant(now.Add(-BegunLife))); err != nil {
			return err
		}
		_, err := t.exec(`insert into sign_ins_begun (sha256, account_id, begun_at) values (?, ?, ?)`, auth.Hash(secret), account, instant(now))
		if err != nil {
			return err
		}
		return t.log(entry{act: "password right, code awaited", record: "account", id: account, account: account})
	})
}

var errNotBegun = fleet.Strangerf("It is too long ago that you gave your password, or it was changed: sign in again.")

// BegunSignIn returns whose sign-in a secret is. One that ended, or never was,
// is fleet.ErrStranger.
func (db *DB) BegunSignIn(ctx context.Context, secret string) (account int64, err error) {
	err = db.read(ctx, "find a sign-in", func(t *tx) error {
		err := t.one([]any{&account}, `
			select b.account_id
			from sign_ins_begun b
			join accounts a on a.id = b.account_id
			where b.sha256 = ? and b.begun_at > ? and a.stopped_at is null`, auth.Hash(secret), instant(t.db.now().Add(-BegunLife)))
		if errors.Is(err, errNoRows) {
			err = errNotBegun
		}
		return err
	})
	return account, err
}

// FinishSignIn ends a sign-in that was begun, and starts the session of it: once.
func (db *DB) FinishSignIn(ctx context.Context, begun, secret, browser string) error {
	return db.write(ctx, "finish a sign-in", func(t *tx) error {
		var account int64
		err := t.one([]any{&account}, `delete from sign_ins_begun where sha256 = ? and begun_at > ? returning account_id`,
			auth.Hash(begun), instant(t.db.now().Add(-BegunLife)))
		if errors.Is(err, errNoRows) {
			return errNotBegun
		}
		if err != nil {
			return err
		}
		return t.startSession(account, secret, browser)
	})
}
