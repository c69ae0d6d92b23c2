package store

import (
	"context"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// What became of a digest.
const (
	DigestSending   = "sending"   // begun; where it stays so, the process ended meanwhile
	DigestSent      = "sent"      // the mail server took it
	DigestNothing   = "nothing"   // there was nothing to tell
	DigestFailed    = "failed"    // certainly not taken; may be tried again that day
	DigestRefused   = "refused"   // not taken, and trying again that day is of no use
	DigestUncertain = "uncertain" // perhaps taken
)

// Digest is what a person was told on one day.
type Digest struct {
	RecipientID int64
	Day         fleet.Date // on the clock of the person's depots
	Since       *time.Time // it tells of what came after; nil: the person's first
	Until       time.Time
	State       string
	Tries       int
	ChangedAt   time.Time
	Message     string // why it failed
}

// ClaimDigest takes the right to send a person's digest of a day, before
// anything is sent: nobody gets two on a day, whatever happens to the process
// that sends. It is false where another has it, or had it and was not certain
// to have failed, or failed tries times. What the digest tells of begins where
// the last one ended that was taken for certain, so that what a lost one would
// have told comes with the next.
func (db *DB) ClaimDigest(ctx context.Context, recipientID int64, day fleet.Date, tries int) (d Digest, claimed bool, err error) {
	err = db.tend(ctx, "claim a digest", func(t *tx) error {
		d = Digest{RecipientID: recipientID, Day: day, Until: t.db.now(), State: DigestSending}
		err := t.one([]any{maybeInstant{&d.Since}}, `
			select max(until)
			from digests
			where recipient_id = ? and (state = ? or state = ?)`, recipientID, DigestSent, DigestNothing)
		if err != nil {
			return err
		}
		now := instant(d.Until)
		err = t.one([]any{&d.Tries}, `
			insert into digests (recipient_id, day, since, until, state, tries, changed_at, message)
			values (?, ?, ?, ?, ?, 1, ?, '')
			on conflict (recipient_id, day) do update set
				until = excluded.until, state = excluded.state, tries = digests.tries + 1, changed_at = excluded.changed_at
			where digests.state = ? and digests.tries < ?
			returning tries`,
			recipientID, day, maybeInstant{&d.Since}, now, DigestSending, now, DigestFailed, tries)
		claimed = err == nil
		if errors.Is(err, errNoRows) {
			return nil
		}
		return err
	})
	return d, claimed, err
}

// ToldAxle is an axle that a person was told of as due.
type ToldAxle struct {
	VehicleID int64
	Axle      int
	BookBy    *fleet.Date
}

// EndDigest keeps what became of a digest that was claimed. told is what the
// person knows of now, where the digest was sent or there was nothing to tell.
func (db *DB) EndDigest(ctx context.Context, d Digest, state, message string, told []ToldAxle) error {
	return db.tend(ctx, "keep what became of a digest", func(t *tx) error {
		n, err := t.count(`
			update digests set state = ?, message = ?, changed_at = ?
			where recipient_id = ? and day = ? and state = ?`,
			state, storableOf(message), instant(t.db.now()), d.RecipientID, d.Day, DigestSending)
		if err != nil {
			return err
		}
		if n == 0 {
			return fleet.Conflictf("digest of %s: it has an end already", d.Day)
		}
		if state != DigestSent && state != DigestNothing {
			return nil
		}
		if _, err := t.exec(`delete from digest_axles where recipient_id = ?`, d.RecipientID); err != nil {
			return err
		}
		err = t.fill(stagedTold, func(yield func([]any) bool) {
			for _, a := range told {
				if !yield([]any{a.VehicleID, a.Axle, a.BookBy}) {
					return
				}
			}
		})
		if err != nil {
			return err
		}
		_, err = t.exec(`
			insert into digest_axles (recipient_id, fleet_id, vehicle_id, axle, book_by)
			select CAST(? AS bigint), v.fleet_id, s.vehicle_id, s.axle, s.book_by
			from staged_told s
			join vehicles v on v.id = s.vehicle_id
			where true
			order by s.vehicle_id, s.axle`, d.RecipientID)
		return err
	})
}

var stagedTold = stage{
	name:    "staged_told",
	from:    "digest_axles",
	columns: []string{"vehicle_id", "axle", "book_by"},
}

// Told returns the axles that a person was last told of as due.
func (db *DB) Told(ctx context.Context, recipientID int64) (map[AxleKey]ToldAxle, error) {
	told := map[AxleKey]ToldAxle{}
	err := db.read(ctx, "read what a person was told", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var a ToldAxle
			err := r.Scan(&a.VehicleID, &a.Axle, &a.BookBy)
			told[AxleKey{VehicleID: a.VehicleID, Axle: a.Axle}] = a
			return err
		}, `select vehicle_id, axle, book_by from digest_axles where recipient_id = ?`, recipientID)
	})
	return told, err
}

// lastDigests adds the latest digest to each of rs, who are at at by their ids.
func (t *tx) lastDigests(rs []Recipient, at map[int64]int, w where) error {
	return t.each(func(r *sqlx.Rows) error {
		var d Digest
		err := r.Scan(&d.RecipientID, &d.Day, maybeInstant{&d.Since}, (*instant)(&d.Until), &d.State, &d.Tries, (*instant)(&d.ChangedAt), &d.Message)
		if i, ok := at[d.RecipientID]; ok {
			rs[i].Last = &d
		}
		return err
	}, `
		select g.recipient_id, g.day, g.since, g.until, g.state, g.tries, g.changed_at, g.message
		from recipients r
		cross join digests g`+w.String()+` and g.recipient_id = r.id and g.day = (select max(x.day) from digests x where x.recipient_id = r.id)`, w.args...)
}
