package store

import (
	"context"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Subject is who an account is to an OpenID Connect provider.
type Subject struct {
	Issuer, Subject string
	BoundAt         time.Time
}

// maxSubject bounds an issuer and a subject, in bytes: OpenID Connect Core 1.0,
// 2, allows a subject 255.
const maxSubject = 255

// AccountOfSubject returns the account that is bound to s; 0 when there is
// none.
func (db *DB) AccountOfSubject(ctx context.Context, s Subject) (account int64, err error) {
	err = db.read(ctx, "find an account", func(t *tx) error {
		account, err = t.accountOfSubject(s)
		return err
	})
	return account, err
}

func (t *tx) accountOfSubject(s Subject) (account int64, err error) {
	err = t.one([]any{&account}, `
		select a.id
		from openid_subjects o
		join accounts a on a.id = o.account_id
		where o.issuer = ? and o.subject = ? and a.stopped_at is null`, storableOf(s.Issuer), storableOf(s.Subject))
	if errors.Is(err, errNoRows) {
		err = nil
	}
	return account, err
}

// BindSubject binds the account of an e-mail address to s, and returns it; 0
// when there is none. One that is bound to another subject of the issuer is
// fleet.ErrConflict: it is another person, however they come by the address.
func (db *DB) BindSubject(ctx context.Context, s Subject, email string) (account int64, err error) {
	for _, x := range []string{s.Issuer, s.Subject} {
		if x == "" || len(x) > maxSubject || !storable(x) {
			return 0, fleet.Invalidf("who came back from the provider: want a name of at most %d characters for them", maxSubject)
		}
	}
	err = db.write(ctx, "bind an account", func(t *tx) error {
		account, err = t.accountOfSubject(s) // by another request meanwhile
		if err != nil || account != 0 {
			t.unchanged()
			return err
		}
		err := t.one([]any{&account}, `select id from accounts where email_key = ? and stopped_at is null`, key(storableOf(email)))
		if errors.Is(err, errNoRows) {
			t.unchanged()
			return nil
		}
		if err != nil {
			return err
		}
		n, err := t.count(`
			insert into openid_subjects (issuer, subject, account_id, bound_at)
			values (?, ?, ?, ?)
			on conflict do nothing`, s.Issuer, s.Subject, account, instant(t.db.now()))
		if err != nil {
			return err
		}
		if n == 0 {
			if again, err := t.accountOfSubject(s); err != nil || again == account { // by another request just now
				t.unchanged()
				return err
			}
			return fleet.Conflictf("the account of %s is another person's there: ask whoever looks after the accounts to let go of that sign-in.", email)
		}
		return t.log(entry{act: "bound to a sign-in elsewhere", record: "account", id: account, account: account, detail: s.Issuer})
	})
	if err != nil {
		account = 0
	}
	return account, err
}

// SubjectsOf returns who an account that sc sees is to providers.
func (db *DB) SubjectsOf(ctx context.Context, sc auth.Scope, account int64) (ss []Subject, err error) {
	err = db.read(ctx, "list sign-ins elsewhere", func(t *tx) error {
		if _, err := t.account(sc, account); err != nil {
			return err
		}
		return t.each(func(r *sqlx.Rows) error {
			var s Subject
			err := r.Scan(&s.Issuer, &s.Subject, (*instant)(&s.BoundAt))
			ss = append(ss, s)
			return err
		}, `select issuer, subject, bound_at from openid_subjects where account_id = ? order by issuer`, account)
	})
	return ss, err
}

// FreeAccount lets go of what an account, all of whose places sc sees, is
// bound to; its sessions end. The next to come with its address is bound anew.
func (db *DB) FreeAccount(ctx context.Context, sc auth.Scope, by string, account int64) error {
	return db.write(ctx, "free an account", func(t *tx) error {
		if _, err := t.ownAccount(sc, account); err != nil {
			return err
		}
		n, err := t.count(`delete from openid_subjects where account_id = ?`, account)
		if err != nil {
			return err
		}
		if n == 0 {
			return fleet.NotFoundf("sign-in elsewhere: the account is bound to none")
		}
		if err := t.log(entry{act: "let go of a sign-in elsewhere", record: "account", id: account, by: by}); err != nil {
			return err
		}
		return t.forgetEntry(account, 0)
	})
}
