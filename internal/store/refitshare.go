package store

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
)

// Share is a range of vehicles of a refit that a process works on in one step.
// It holds a lease on it. Whoever works on after its lease was lost does so for
// nothing: what it would store is refused.
type Share struct {
	RefitID         int64
	Step            int
	Number          int
	FirstID, LastID int64 // vehicles
	Vehicles        int
	Tries           int   // including this one
	Through         int64 // forecasts are stored of vehicles up to this one
	hold
}

// hold is a process's lease on a piece of work, which others may take once it
// is over. It goes by the clocks of the processes: where they differ, a piece
// may be taken too early and is done twice, but stored once.
type hold struct {
	holder string
	long   time.Duration
}

func newHold(long time.Duration) hold { return hold{rand.Text(), long} }

// until is when a hold that begins now ends.
func (h hold) until(db *DB) instant { return instant(db.now().Add(h.long)) }

// free admits what nobody holds. Its arguments are those of open.
const free = `(until is null or until < ? or until > ?)`

// open are the arguments of free for who wants to take a hold. One that ends
// several times its length ahead was taken by a clock that is wrong.
func (h hold) open(db *DB) []any {
	now := db.now()
	return []any{instant(now), instant(now.Add(3 * h.long))}
}

// TakeShare takes a share that is still to be done in a step, the first one
// that nobody holds, for so long. It is nil when there is none.
func (db *DB) TakeShare(ctx context.Context, refitID int64, step int, worker string, long time.Duration) (*Share, error) {
	for {
		s, left, err := db.takeShare(ctx, refitID, step, worker, newHold(long))
		if s != nil || err != nil || left == 0 {
			return s, err
		}
		// Another process took the one chosen: there are others.
	}
}

func (db *DB) takeShare(ctx context.Context, refitID int64, step int, worker string, h hold) (s *Share, left int, err error) {
	err = db.tend(ctx, "take a share of a refit", func(t *tx) error {
		s = nil
		got := Share{RefitID: refitID, Step: step, hold: h}
		args := []any{h.holder, h.until(db), storableOf(worker), refitID, step}
		args = append(args, h.open(db)...)
		args = append(args, refitID, step)
		args = append(args, h.open(db)...)
		// On PostgreSQL the choice is made before the row is waited for, and
		// only the outer conditions are looked at again.
		err := t.each(func(r *sqlx.Rows) error {
			s = &got
			return r.Scan(&s.Number, &s.FirstID, &s.LastID, &s.Vehicles, &s.Tries, &s.Through)
		}, `
			update refit_shares set holder = ?, until = ?, worker = ?, tries = tries + 1
			where refit_id = ? and done = ? and `+free+` and number = (
				select min(number)
				from refit_shares
				where refit_id = ? and done = ? and `+free+`)
			returning number, first_id, last_id, vehicles, tries, through`, args...)
		if err != nil || s != nil {
			return err
		}
		return t.one([]any{&left}, `
			select count(*)
			from refit_shares
			where refit_id = ? and done = ? and `+free, append([]any{refitID, step}, h.open(db)...)...)
	})
	return s, left, err
}

// mine sets columns of a share that is still s's, of a refit that goes on, or
// fails with ErrLeaseLost.
func (t *tx) mine(s *Share, set string, args ...any) error {
	n, err := t.count(`
		update refit_shares set `+set+`
		where refit_id = ? and number = ? and done = ? and holder = ?
			and exists (select 1 from refits where id = ? and state = ?)`,
		append(args, s.RefitID, s.Number, s.Step, s.holder, s.RefitID, RefitWorking)...)
	if err == nil && n == 0 {
		err = ErrLeaseLost
	}
	return err
}

// RenewShare begins the lease on a share anew.
func (db *DB) RenewShare(ctx context.Context, s *Share) error {
	return db.tend(ctx, "renew the hold on a share", func(t *tx) error {
		return t.mine(s, `until = ?`, s.until(db))
	})
}

// DropShare gives a share back that was not done.
func (db *DB) DropShare(ctx context.Context, s *Share) error {
	return db.tend(ctx, "give a share back", func(t *tx) error {
		return t.mine(s, `holder = null, until = null`)
	})
}

// FinishShare keeps what a share gave in its step. It is the next one's then.
func (db *DB) FinishShare(ctx context.Context, s *Share, heard []byte) error {
	return db.tend(ctx, "finish a share", func(t *tx) error {
		return t.mine(s, `done = done + 1, holder = null, until = null, tries = 0, heard = ?`, heard)
	})
}

// SaveShareForecasts is SaveForecasts for the vehicles of a share that come
// next, up to a last one: all of it, or nothing when the share is no longer s's. So many
// vehicles and axles are forecast with it, of which others may have stored some.
func (db *DB) SaveShareForecasts(ctx context.Context, sc auth.Scope, s *Share, st *Standing, fs []AxleForecast, vehicles, axles int, through int64) error {
	return db.tend(ctx, "keep forecasts", func(t *tx) error {
		// First, so that nobody can take the share over before all is stored.
		err := t.mine(s, `through = ?, forecast = forecast + ?, axles = axles + ?, until = ?`,
			through, vehicles, axles, s.until(db))
		if err != nil || len(fs) == 0 {
			return err
		}
		return t.saveForecasts(sc, st, fs)
	})
}

// Join is the hold on joining what all shares gave in a step.
type Join struct {
	RefitID int64
	Step    int
	Tries   int // including this one
	hold
}

// TakeJoin takes the joining of a step for so long, once all shares are done
// with it. It is nil while they are not, and when another process is at it.
func (db *DB) TakeJoin(ctx context.Context, refitID int64, step int, long time.Duration) (j *Join, err error) {
	err = db.tend(ctx, "take the joining of shares", func(t *tx) error {
		j = nil
		got := Join{RefitID: refitID, Step: step, hold: newHold(long)}
		args := []any{got.holder, got.until(db), refitID, step, RefitWorking}
		args = append(append(args, got.open(db)...), refitID, step)
		return t.each(func(r *sqlx.Rows) error {
			j = &got
			return r.Scan(&j.Tries)
		}, `
			update refits set holder = ?, until = ?, tries = tries + 1
			where id = ? and step = ? and state = ? and `+free+` and not exists (
				select 1
				from refit_shares
				where refit_id = ? and done <= ?)
			returning tries`, args...)
	})
	return j, err
}

// joining sets columns of a refit whose joining is still j's, or fails with
// ErrLeaseLost.
func (t *tx) joining(j *Join, set string, args ...any) error {
	n, err := t.count(`
		update refits set `+set+`
		where id = ? and step = ? and state = ? and holder = ?`, append(args, j.RefitID, j.Step, RefitWorking, j.holder)...)
	if err == nil && n == 0 {
		err = ErrLeaseLost
	}
	return err
}

// RenewJoin begins the lease on a joining anew.
func (db *DB) RenewJoin(ctx context.Context, j *Join) error {
	return db.tend(ctx, "renew the hold on a joining", func(t *tx) error {
		return t.joining(j, `until = ?`, j.until(db))
	})
}

// EachHeard calls fn with what each share gave in the step that is being joined,
// in the order of shares, one at a time; a share without vehicles that count
// gave nil.
func (db *DB) EachHeard(ctx context.Context, j *Join, fn func(heard []byte) error) error {
	for number := 0; ; number++ {
		var heard []byte
		found := false
		err := db.read(ctx, "read what a share gave", func(t *tx) error {
			return t.each(func(r *sqlx.Rows) error {
				found = true
				return r.Scan(&heard)
			}, `select heard from refit_shares where refit_id = ? and number = ?`, j.RefitID, number)
		})
		if err != nil || !found {
			return err
		}
		if err := fn(heard); err != nil {
			return err
		}
	}
}

// NextStep ends a step in which the model learned: knows is what the next one
// works by. Once nothing more is to be learned, p is kept as what the model
// learned last; it is nil before. A refit that only learns is done then.
func (db *DB) NextStep(ctx context.Context, j *Join, knows json.RawMessage, p *Parameters) error {
	if p != nil {
		if err := p.valid(); err != nil {
			return err
		}
	}
	return db.tend(ctx, "end a step of a refit", func(t *tx) error {
		err := t.joining(j, `step = step + 1, knows = ?, learning = ?, holder = null, until = null, tries = 0`, string(knows), p == nil)
		if err != nil {
			return err
		}
		if _, err := t.exec(`update refit_shares set heard = null where refit_id = ? and heard is not null`, j.RefitID); err != nil {
			return err
		}
		if p == nil {
			return nil
		}
		if err := t.saveParameters(p); err != nil {
			return err
		}
		_, err = t.exec(`update refits set state = ?, ended_at = ? where id = ? and learn_only`, RefitDone, instant(db.now()), j.RefitID)
		return err
	})
}

// EndRefit ends a refit whose forecasts are all stored.
func (db *DB) EndRefit(ctx context.Context, j *Join) error {
	return db.tend(ctx, "end a refit", func(t *tx) error {
		return t.joining(j, `state = ?, ended_at = ?, holder = null, until = null`, RefitDone, instant(db.now()))
	})
}
