package store

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Token lets a program do some of what its account may.
type Token struct {
	ID     int64
	Name   string // what it is for
	Rights []auth.Right
	MadeAt time.Time
	Until  time.Time
	UsedAt *time.Time // last, to the hour; nil = never
}

const (
	// MaxTokenLife is a year: a token that nobody renews is one that nobody
	// remembers.
	MaxTokenLife = 366 * 24 * time.Hour
	// usedEvery is how old the note of a token's last use may be.
	usedEvery = time.Hour
	// maxTokens of one account.
	maxTokens = 50
)

// AddToken adds k for who under a secret, and sets k.ID.
func (db *DB) AddToken(ctx context.Context, who auth.Who, k *Token, secret string) error {
	now := db.now()
	switch {
	case strings.TrimSpace(k.Name) == "" || len(k.Name) > maxName || !storable(k.Name):
		return fleet.Invalidf("name: say what the token is for, in at most %d characters", maxName)
	case len(k.Rights) == 0:
		return fleet.Invalidf("rights: say what the token may do")
	case !k.Until.After(now) || k.Until.Sub(now) > MaxTokenLife:
		return fleet.Invalidf("until: want a day within a year from now")
	}
	var rights []string
	for _, r := range k.Rights {
		if !slices.Contains(auth.Rights, r) {
			return fleet.Invalidf("right %q: there is no such right", r)
		}
		if !who.May(r) {
			return fleet.Deniedf("right %q: you have not got it yourself", r)
		}
		rights = append(rights, string(r))
	}
	return db.write(ctx, "make a token", func(t *tx) error {
		var n int
		if err := t.one([]any{&n}, `select count(*) from api_tokens where account_id = ? and ended_at is null and until > ?`, who.Account, instant(now)); err != nil {
			return err
		}
		if n >= maxTokens {
			return fleet.Conflictf("there are %d tokens: end one first", n)
		}
		k.MadeAt = now
		err := t.one([]any{&k.ID}, `
			insert into api_tokens (sha256, account_id, name, rights, made_at, until)
			values (?, ?, ?, ?, ?, ?)
			returning id`, auth.Hash(secret), who.Account, strings.TrimSpace(k.Name), strings.Join(rights, " "), instant(now), instant(k.Until))
		if err != nil {
			return err
		}
		return t.log(entry{act: actAdded, record: "token", id: k.ID, by: who.Name, account: who.Account, detail: k.Name + ": " + strings.Join(rights, ", ")})
	})
}

// Tokens returns the tokens of who that work, the latest first.
func (db *DB) Tokens(ctx context.Context, who auth.Who) (ks []Token, err error) {
	err = db.read(ctx, "list tokens", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var k Token
			var rights string
			var used *instant
			err := r.Scan(&k.ID, &k.Name, &rights, (*instant)(&k.MadeAt), (*instant)(&k.Until), &used)
			k.Rights, k.UsedAt = rightsOf(rights), (*time.Time)(used)
			ks = append(ks, k)
			return err
		}, `
			select id, name, rights, made_at, until, used_at
			from api_tokens
			where account_id = ? and ended_at is null and until > ?
			order by id desc`, who.Account, instant(t.db.now()))
	})
	return ks, err
}

func rightsOf(text string) []auth.Right {
	rights := []auth.Right{} // none is not all
	for _, r := range strings.Fields(text) {
		rights = append(rights, auth.Right(r))
	}
	return rights
}

// EndToken ends one of who's tokens.
func (db *DB) EndToken(ctx context.Context, who auth.Who, id int64) error {
	return db.write(ctx, "end a token", func(t *tx) error {
		n, err := t.count(`update api_tokens set ended_by = ?, ended_at = ? where id = ? and account_id = ? and ended_at is null`,
			storableOf(who.Name), instant(t.db.now()), id, who.Account)
		if err == nil && n == 0 {
			err = fleet.NotFoundf("token %d: you have none of this number that works", id)
		}
		if err != nil {
			return err
		}
		return t.log(entry{act: actEnded, record: "token", id: id, by: who.Name, account: who.Account})
	})
}

// TokenOf returns whose token a secret is, and notes its use. One that ended,
// or never was, is fleet.ErrStranger.
func (db *DB) TokenOf(ctx context.Context, secret string) (auth.Who, error) {
	var who auth.Who
	var rights string
	var used *instant
	now := db.now()
	err := db.ask(ctx, "find a token", func(r *sqlx.Rows) error {
		return scanWho(r, &who, &who.Token, &rights, &used)
	}, `
		select a.id, a.name, a.email, g.role, g.fleet_id, g.depot_id, k.id, k.rights, k.used_at
		from api_tokens k
		join accounts a on a.id = k.account_id
		left join grants g on g.account_id = a.id and g.ended_at is null
		where k.sha256 = ? and k.ended_at is null and k.until > ? and a.stopped_at is null
		order by g.id`, auth.Hash(secret), instant(now))
	if err == nil && who.Token == 0 {
		err = fleet.Strangerf("The token is not known, or has ended: make a new one on your account's page.")
	}
	if err != nil {
		return auth.Who{}, err
	}
	who.Only = rightsOf(rights)
	if used == nil || now.Sub(time.Time(*used)) > usedEvery {
		_, err = db.note(ctx, "note a token's use", func(t *tx) error {
			_, err := t.exec(`update api_tokens set used_at = ? where id = ?`, instant(now), who.Token)
			return err
		})
	}
	return who, err
}
