package store

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// What is here needs no scope: it is what sign-in makes scopes of.

// Session is one browser that somebody signed in with.
type Session struct {
	ID        int64
	StartedAt time.Time
	SeenAt    time.Time
	Browser   string // as it calls itself
}

// Limits of a session (common practice, no source).
const (
	sessionIdle = 12 * time.Hour      // a shift, so that nobody signs in twice a day
	sessionLife = 14 * 24 * time.Hour // however busy
	// seenEvery is how old the note of when a session was last seen may be:
	// not every request writes.
	seenEvery = 5 * time.Minute
	// seenLate is how old it may be before one is written at once: another process, and
	// this one begun anew, know of a session only what is written down.
	seenLate = time.Hour
	// noteTime is how long a request may be held up to write down that it was
	// made: nobody misses it who waits for a page.
	noteTime = 250 * time.Millisecond
	// maxSessions of one account; the oldest goes.
	maxSessions = 20
	// maxBrowser bounds what is kept of a browser's name, in bytes.
	maxBrowser = 200
)

// PasswordOf returns the account of an e-mail address, and the password as it
// is kept: blank, and 0, when there is none.
func (db *DB) PasswordOf(ctx context.Context, email string) (account int64, hash string, err error) {
	err = db.read(ctx, "find an account", func(t *tx) error {
		err := t.one([]any{&account, &hash}, `select id, password from accounts where email_key = ? and stopped_at is null`, key(storableOf(email)))
		if errors.Is(err, errNoRows) {
			err = nil
		}
		return err
	})
	return account, hash, err
}

// StartSession starts a session of the account under a secret.
func (db *DB) StartSession(ctx context.Context, account int64, secret, browser string) error {
	return db.write(ctx, "start a session", func(t *tx) error { return t.startSession(account, secret, browser) })
}

func (t *tx) startSession(account int64, secret, browser string) error {
	now := t.db.now()
	if len(browser) > maxBrowser {
		browser = browser[:maxBrowser]
	}
	if _, err := t.exec(`update accounts set signed_in_at = ? where id = ?`, instant(now), account); err != nil {
		return err
	}
	_, err := t.exec(`
		insert into sessions (sha256, account_id, started_at, seen_at, browser)
		values (?, ?, ?, ?, ?)`, auth.Hash(secret), account, instant(now), instant(now), storableOf(browser))
	if err != nil {
		return err
	}
	// Those that ended by time, and more than anybody needs.
	if _, err := t.exec(`delete from sessions where seen_at < ? or started_at < ?`,
		instant(now.Add(-sessionIdle-seenLate)), instant(now.Add(-sessionLife))); err != nil {
		return err
	}
	_, err = t.exec(`
		delete from sessions
		where account_id = ? and id not in (select id from sessions where account_id = ? order by id desc limit ?)`,
		account, account, maxSessions)
	if err != nil {
		return err
	}
	return t.log(entry{act: "signed in", record: "account", id: account, account: account})
}

// SessionOf returns whose session a secret is, and of a server the state in which
// that is so. One that ended, or never was, is fleet.ErrStranger.
func (db *DB) SessionOf(ctx context.Context, secret string) (auth.Who, error) {
	who, seen := auth.Who{}, instant{}
	now := db.now()
	state := "''"
	if db.dialect == Postgres && db.within == nil { // what is seen within another transaction, nobody else may
		state = snapshotSQL
	}
	err := db.ask(ctx, "find a session", func(r *sqlx.Rows) error {
		return scanWho(r, &who, &who.State, &who.Session, &seen, &who.Reader.DistanceIn, &who.Reader.ThicknessIn, &who.Reader.DaysAs, &who.Reader.Zone)
	}, `
		select a.id, a.name, a.email, g.role, g.fleet_id, g.depot_id, `+state+`, s.id, s.seen_at, a.distance, a.thickness, a.days, a.time_zone
		from sessions s
		join accounts a on a.id = s.account_id
		left join grants g on g.account_id = a.id and g.ended_at is null
		where s.sha256 = ? and s.seen_at > ? and s.started_at > ? and a.stopped_at is null
		order by g.id`,
		auth.Hash(secret), instant(now.Add(-sessionIdle-seenLate)), instant(now.Add(-sessionLife)))
	if err == nil && (who.Account == 0 || db.seen.ended(who.Session, time.Time(seen), now)) {
		err = fleet.Strangerf("You are not signed in, or have been away too long: sign in.")
	}
	if err != nil {
		return auth.Who{}, err
	}
	if away := now.Sub(time.Time(seen)); away > seenEvery {
		err = db.noteSeen(ctx, who.Session, now, away > seenLate)
	}
	return who, err
}

// seenNotes are the sessions seen of late, and when. They are written down together:
// after each write all that is kept of lists is read anew, for everybody.
type seenNotes struct {
	mu   sync.Mutex
	last time.Time // when some were last to be written
	of   map[int64]seenNote
}

// seenNote stays when it is written: who has read the session before may look later.
type seenNote struct {
	at      time.Time
	written bool
}

// add notes that a session was seen, and returns all that are to be written down, if
// it is time to: one note after the other, or at once.
func (n *seenNotes) add(session int64, now time.Time, atOnce bool) map[int64]time.Time {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.of == nil {
		n.of = map[int64]seenNote{}
	}
	n.of[session] = seenNote{at: now}
	if since := now.Sub(n.last); !atOnce && 0 <= since && since < seenEvery {
		return nil
	}
	n.last = now
	all := map[int64]time.Time{}
	for id, x := range n.of {
		switch {
		case !x.at.After(now.Add(-sessionIdle)):
			delete(n.of, id) // nobody comes back to it
		case !x.written:
			all[id] = x.at
		}
	}
	return all
}

// wrote says that some were written down. One that was seen again meanwhile was not.
func (n *seenNotes) wrote(all map[int64]time.Time) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for id, at := range all {
		if n.of[id].at.Equal(at) {
			n.of[id] = seenNote{at, true}
		}
	}
}

// ended says whether a session was last seen too long ago, be that written down or
// only noted.
func (n *seenNotes) ended(session int64, written, now time.Time) bool {
	n.mu.Lock()
	defer n.mu.Unlock()
	seen := written
	if at := n.of[session].at; at.After(seen) {
		seen = at
	}
	return !seen.After(now.Add(-sessionIdle))
}

// noteSeen writes down when sessions were seen. What cannot be written now is written
// with the next.
func (db *DB) noteSeen(ctx context.Context, session int64, now time.Time, atOnce bool) error {
	all := db.seen.add(session, now, atOnce)
	if len(all) == 0 {
		return nil
	}
	written, err := db.note(ctx, "note sessions", func(t *tx) error {
		for _, id := range slices.Sorted(maps.Keys(all)) { // in order: two would wait for each other
			if _, err := t.exec(`update sessions set seen_at = ? where id = ? and seen_at < ?`, instant(all[id]), id, instant(all[id])); err != nil {
				return err
			}
		}
		return nil
	})
	if written {
		db.seen.wrote(all)
	}
	return err
}

// note writes down that somebody was here. A database that only reads, or is
// taking in a large file, still shows pages: then nothing is written, and the
// next request tries again.
func (db *DB) note(ctx context.Context, what string, write func(t *tx) error) (written bool, err error) {
	short, cancel := context.WithTimeout(ctx, noteTime)
	defer cancel()
	err = db.tend(short, what, write)
	if errors.Is(err, fleet.ErrUnavailable) || err != nil && short.Err() != nil && ctx.Err() == nil {
		return false, nil
	}
	return err == nil, err
}

// scanWho reads an account with one of its grants into who, and what follows
// them in the row into more.
func scanWho(r *sqlx.Rows, who *auth.Who, more ...any) error {
	var role *string
	var fleetID, depotID *int64
	err := r.Scan(append([]any{&who.Account, &who.Name, &who.Email, &role, &fleetID, &depotID}, more...)...)
	if err != nil || role == nil {
		return err
	}
	g := auth.Grant{Role: auth.Role(*role)}
	if fleetID != nil {
		g.FleetID = *fleetID
	}
	if depotID != nil {
		g.DepotID = *depotID
	}
	who.Grants = append(who.Grants, g)
	return nil
}

// Sessions returns the sessions of who, the latest first.
func (db *DB) Sessions(ctx context.Context, who auth.Who) (ss []Session, err error) {
	now := db.now()
	err = db.read(ctx, "list sessions", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var s Session
			err := r.Scan(&s.ID, (*instant)(&s.StartedAt), (*instant)(&s.SeenAt), &s.Browser)
			if !db.seen.ended(s.ID, s.SeenAt, now) {
				ss = append(ss, s)
			}
			return err
		}, `
			select id, started_at, seen_at, browser
			from sessions
			where account_id = ? and seen_at > ? and started_at > ?
			order by seen_at desc, id desc`, who.Account, instant(now.Add(-sessionIdle-seenLate)), instant(now.Add(-sessionLife)))
	})
	return ss, err
}

// EndSession ends the session that who is here by.
func (db *DB) EndSession(ctx context.Context, who auth.Who) error {
	return db.write(ctx, "end a session", func(t *tx) error {
		_, err := t.exec(`delete from sessions where id = ? and account_id = ?`, who.Session, who.Account)
		if err != nil {
			return err
		}
		return t.log(entry{act: "signed out", record: "account", id: who.Account, by: who.Name, account: who.Account})
	})
}

// EndOtherSessions ends all sessions of who but the present one.
func (db *DB) EndOtherSessions(ctx context.Context, who auth.Who) error {
	return db.write(ctx, "end sessions", func(t *tx) error {
		_, err := t.exec(`delete from sessions where account_id = ? and id <> ?`, who.Account, who.Session)
		if err != nil {
			return err
		}
		return t.log(entry{act: "signed out elsewhere", record: "account", id: who.Account, by: who.Name, account: who.Account})
	})
}

// EndSessionsOf ends all sessions of an account all of whose places sc sees: a
// phone was lost.
func (db *DB) EndSessionsOf(ctx context.Context, sc auth.Scope, by string, account int64) error {
	return db.write(ctx, "end an account's sessions", func(t *tx) error {
		if _, err := t.ownAccount(sc, account); err != nil {
			return err
		}
		for _, table := range []string{"sessions", "sign_ins_begun"} {
			if _, err := t.exec(`delete from `+table+` where account_id = ?`, account); err != nil {
				return err
			}
		}
		return t.log(entry{act: "signed out everywhere", record: "account", id: account, by: by})
	})
}

// ChangePassword sets who's password to hash, and ends the other sessions and
// all links of the account.
func (db *DB) ChangePassword(ctx context.Context, who auth.Who, hash string) error {
	return db.write(ctx, "change a password", func(t *tx) error {
		if _, err := t.exec(`update accounts set password = ? where id = ?`, hash, who.Account); err != nil {
			return err
		}
		if err := t.log(entry{act: "password changed", record: "account", id: who.Account, by: who.Name, account: who.Account}); err != nil {
			return err
		}
		return t.forgetEntry(who.Account, who.Session)
	})
}

// RenewSession puts who's session under another secret, so that a copy of the old one
// is worth nothing.
func (db *DB) RenewSession(ctx context.Context, who auth.Who, secret string) error {
	return db.tend(ctx, "renew a session", func(t *tx) error {
		_, err := t.exec(`update sessions set sha256 = ? where id = ?`, auth.Hash(secret), who.Session)
		return err
	})
}

// forgetEntry ends the links of an account, the sign-ins it has begun, and its
// sessions but one.
func (t *tx) forgetEntry(account, but int64) error {
	for _, table := range []string{"links", "sign_ins_begun"} {
		if _, err := t.exec(`delete from `+table+` where account_id = ?`, account); err != nil {
			return err
		}
	}
	_, err := t.exec(`delete from sessions where account_id = ? and id <> ?`, account, but)
	return err
}

// LinkLife is how long a link to choose a password works.
const LinkLife = 24 * time.Hour

// maxLinks of one account at a time; the oldest goes.
const maxLinks = 3

// AddLink keeps a secret under which the account's password can be chosen,
// once, within LinkLife. Every place of the account must be one that sc sees.
func (db *DB) AddLink(ctx context.Context, sc auth.Scope, by string, account int64, secret string) error {
	return db.write(ctx, "make a link", func(t *tx) error {
		if _, err := t.ownAccount(sc, account); err != nil {
			return err
		}
		now := t.db.now()
		_, err := t.exec(`insert into links (sha256, account_id, made_by, made_at, until, whole) values (?, ?, ?, ?, ?, ?)`,
			auth.Hash(secret), account, storableOf(by), instant(now), instant(now.Add(LinkLife)), sc.All())
		if err != nil {
			return err
		}
		_, err = t.exec(`
			delete from links
			where until < ? or account_id = ? and sha256 <> ? and sha256 not in (
				select sha256 from links where account_id = ? and sha256 <> ? order by made_at desc limit ?)`,
			instant(now), account, auth.Hash(secret), account, auth.Hash(secret), maxLinks-1) // this one stays, if others are of the same moment
		if err != nil {
			return err
		}
		return t.log(entry{act: "link made", record: "account", id: account, by: by})
	})
}

var errNoLink = fleet.NotFoundf("this link leads nowhere: it was used, or is older than a day; ask for a new one")

// LinkOf returns the name and e-mail address of the account whose password a
// secret lets choose.
func (db *DB) LinkOf(ctx context.Context, secret string) (name, email string, err error) {
	err = db.read(ctx, "find a link", func(t *tx) error {
		err := t.one([]any{&name, &email}, `
			select a.name, a.email
			from links l
			join accounts a on a.id = l.account_id
			where l.sha256 = ? and l.until > ? and a.stopped_at is null`, auth.Hash(secret), instant(t.db.now()))
		if errors.Is(err, errNoRows) {
			err = errNoLink
		}
		return err
	})
	return name, email, err
}

// UseLink sets the password of a link's account to hash, and ends the link,
// and all sessions of the account. It returns the account.
func (db *DB) UseLink(ctx context.Context, secret, hash string) (account int64, err error) {
	err = db.write(ctx, "use a link", func(t *tx) error {
		var whole bool
		err := t.one([]any{&account, &whole}, `delete from links where sha256 = ? and until > ? returning account_id, whole`, auth.Hash(secret), instant(t.db.now()))
		if errors.Is(err, errNoRows) {
			return errNoLink
		}
		if err != nil {
			return err
		}
		// Who chose it is not known: its owner, or who made the link. A change by
		// who knows it leaves that as it is.
		n, err := t.count(`update accounts set password = ?, narrow = ? where id = ? and stopped_at is null`, hash, !whole, account)
		if err == nil && n == 0 {
			err = errNoLink
		}
		if err != nil {
			return err
		}
		if err := t.log(entry{act: "password chosen by a link", record: "account", id: account, account: account}); err != nil {
			return err
		}
		return t.forgetEntry(account, 0)
	})
	return account, err
}

// NoteFailure notes a try under each of the subjects.
func (db *DB) NoteFailure(ctx context.Context, subjects ...string) error {
	return db.tend(ctx, "note a try", func(t *tx) error { return t.noteFailure(subjects) })
}

func (t *tx) noteFailure(subjects []string) error {
	now := t.db.now()
	for _, s := range subjects {
		if _, err := t.exec(`insert into sign_in_failures (subject, at) values (?, ?)`, storableOf(s), instant(now)); err != nil {
			return err
		}
	}
	_, err := t.exec(`delete from sign_in_failures where at < ?`, instant(now.Add(-24*time.Hour)))
	return err
}

// failuresLogged bounds what the log of changes, which keeps all, is told of
// wrong passwords within an hour: far more than a workshop's own, far less than
// machines in many places can send.
const failuresLogged = 500

// NoteWrongPassword notes a try under each of the subjects, and tells the log
// of changes: of which account it was, or 0. What was typed it does not tell, for
// people type passwords into the wrong field.
func (db *DB) NoteWrongPassword(ctx context.Context, account int64, subjects ...string) error {
	return db.write(ctx, "note a wrong password", func(t *tx) error {
		if err := t.noteFailure(subjects); err != nil {
			return err
		}
		var n int
		err := t.one([]any{&n}, `select count(*) from audit_log where at > ? and act = ?`, instant(t.db.now().Add(-time.Hour)), actSignInFailed)
		if err != nil {
			return err
		}
		if n >= failuresLogged {
			t.unchanged()
			return nil
		}
		return t.log(entry{act: actSignInFailed, record: "account", id: account})
	})
}

// Failures returns how many there were under subject since a time, and when
// the first of them was.
func (db *DB) Failures(ctx context.Context, subject string, since time.Time) (n int, first time.Time, err error) {
	err = db.read(ctx, "count wrong passwords", func(t *tx) error {
		var at *instant
		err := t.one([]any{&n, &at}, `select count(*), min(at) from sign_in_failures where subject = ? and at > ? and at <= ?`,
			storableOf(subject), instant(since), instant(db.now())) // none of a clock that was ahead
		if at != nil {
			first = time.Time(*at)
		}
		return err
	})
	return n, first, err
}

// SignedInFrom returns the addresses from which the account of an e-mail address
// signed in since a time.
func (db *DB) SignedInFrom(ctx context.Context, email string, since time.Time) (from []string, err error) {
	err = db.read(ctx, "find where somebody signed in", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var client string
			err := r.Scan(&client)
			from = append(from, client)
			return err
		}, `
			select distinct l.origin
			from accounts a
			join audit_log l on l.record = 'account' and l.record_id = a.id
			where a.email_key = ? and l.act = 'signed in' and l.via = ? and l.at > ?`,
			key(storableOf(email)), string(auth.ViaPage), instant(since))
	})
	return from, err
}

// ForgetFailures forgets those under the subjects.
func (db *DB) ForgetFailures(ctx context.Context, subjects ...string) error {
	return db.tend(ctx, "forget wrong passwords", func(t *tx) error {
		for _, s := range subjects {
			if _, err := t.exec(`delete from sign_in_failures where subject = ?`, storableOf(s)); err != nil {
				return err
			}
		}
		return nil
	})
}
