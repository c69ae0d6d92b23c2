package store

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// How far a refit is.
const (
	RefitWorking = "working"
	RefitDone    = "done"
	RefitFailed  = "failed"
	// RefitSuperseded: another was asked for after more had been taken in, and
	// is under way instead.
	RefitSuperseded = "superseded"
)

// Refit is the forecast of all vehicles anew, in steps that any number of
// processes work on by shares. Steps in which the model learns come first, the
// forecasts last. A step is over when all shares are done with it and one
// process has joined what they gave.
type Refit struct {
	ID        int64
	Model     string
	AsOf      fleet.Date
	Risk      float64
	Scope     auth.Scope // whose forecasts are made; all are learned from
	LearnOnly bool       // no forecasts are made
	Uploads   int        // that there were when it began
	Step      int
	Learning  bool
	Knows     json.RawMessage // what the steps before gave; once learned, the model's values
	State     string
	Message   string // why it failed
}

const (
	// refitTime is how long a refit may take; what is older was left by
	// processes that all ended.
	refitTime = 24 * time.Hour
	// refitKept is how long one that ended is kept.
	refitKept = 30 * 24 * time.Hour
)

// ErrLeaseLost is what comes of work on a share that another process has taken
// over since: nothing of it is stored.
var ErrLeaseLost = errors.New("another process has taken the work over")

// JoinRefit finds the refit under way that is like r, or begins it: it cuts the
// vehicles there are into shares of so many, the last one shorter. It sets r to
// what is under way. One that began before r.Uploads were taken in, or all there
// are when that is 0, is superseded: it may be through with vehicles of which
// more is known now.
func (db *DB) JoinRefit(ctx context.Context, r *Refit, shareVehicles int) error {
	scope, err := scopeText(r.Scope.Measuring()) // no forecast asks who plans
	if err != nil {
		return err
	}
	return db.tend(ctx, "begin a refit", func(t *tx) error {
		now := db.now()
		_, err := t.exec(`
			update refits set state = ?, ended_at = ?, message = ?
			where state = ? and begun_at < ?`,
			RefitFailed, instant(now), "It was left unfinished.", RefitWorking, instant(now.Add(-refitTime)))
		if err != nil {
			return err
		}
		if _, err := t.exec(`delete from refits where ended_at < ?`, instant(now.Add(-refitKept))); err != nil {
			return err
		}
		uploads := r.Uploads
		var there int
		if err := t.one([]any{&there}, `select count(*) from uploads`); err != nil {
			return err
		}
		if uploads == 0 {
			uploads = there
		}
		_, err = t.exec(`
			update refits set state = ?, ended_at = ?
			where model = ? and as_of = ? and risk = ? and scope = ? and learn_only = ? and state = 'working' and uploads < ?`,
			RefitSuperseded, instant(now), r.Model, r.AsOf, r.Risk, scope, r.LearnOnly, uploads)
		if err != nil {
			return err
		}
		began, err := t.count(`
			insert into refits (model, as_of, risk, scope, learn_only, uploads, step, learning, knows, state, message, begun_at, tries)
			values (?, ?, ?, ?, ?, ?, 0, true, ?, ?, '', ?, 0)
			on conflict do nothing`,
			r.Model, r.AsOf, r.Risk, scope, r.LearnOnly, there, string(r.Knows), RefitWorking, instant(now))
		if err != nil {
			return err
		}
		err = t.one([]any{&r.ID}, `
			select id
			from refits
			where model = ? and as_of = ? and risk = ? and scope = ? and learn_only = ? and state = 'working' -- as the index has it`,
			r.Model, r.AsOf, r.Risk, scope, r.LearnOnly)
		if err != nil {
			return err
		}
		if began > 0 && auth.OriginOf(ctx).Via == auth.ViaCommand { // the others are jobs, or follow an upload
			if err := t.log(entry{act: "begun", record: "refit", id: r.ID, detail: r.Model + ", as of " + r.AsOf.String()}); err != nil {
				return err
			}
		}
		if began > 0 {
			_, err := t.exec(`
				insert into refit_shares (refit_id, number, first_id, last_id, vehicles, done, worker, tries, through, forecast, axles)
				select CAST(? AS bigint), number, min(id), max(id), count(*), 0, '', 0, 0, 0, 0
				from (
					select id, (row_number() over (order by id) - 1) / CAST(? AS bigint) as number
					from vehicles) v
				group by number`, r.ID, shareVehicles)
			if err != nil {
				return err
			}
		}
		*r, err = t.refit(r.ID)
		return err
	})
}

// Refit returns how far a refit is.
func (db *DB) Refit(ctx context.Context, id int64) (r Refit, err error) {
	err = db.read(ctx, "read a refit", func(t *tx) error {
		r, err = t.refit(id)
		return err
	})
	return r, err
}

func (t *tx) refit(id int64) (Refit, error) {
	rs, err := t.refits(where{[]string{"id = ?"}, []any{id}})
	return only(rs, err, "refit %d: there is none", id)
}

// OpenRefits returns the refits under way, oldest first.
func (db *DB) OpenRefits(ctx context.Context) (rs []Refit, err error) {
	err = db.read(ctx, "read refits", func(t *tx) error {
		rs, err = t.refits(where{[]string{"state = 'working'", "begun_at >= ?"}, []any{instant(db.now().Add(-refitTime))}})
		return err
	})
	return rs, err
}

func (t *tx) refits(w where) (rs []Refit, err error) {
	err = t.each(func(row *sqlx.Rows) error {
		var r Refit
		var scope string
		err := row.Scan(&r.ID, &r.Model, &r.AsOf, &r.Risk, &scope, &r.LearnOnly, &r.Uploads, &r.Step, &r.Learning, (*[]byte)(&r.Knows), &r.State, &r.Message)
		if err != nil {
			return err
		}
		r.Scope, err = scopeOf(scope)
		rs = append(rs, r)
		return err
	}, `
		select id, model, as_of, risk, scope, learn_only, uploads, step, learning, knows, state, message
		from refits`+w.String()+`
		order by id`, w.args...)
	return rs, err
}

// FailRefit ends a refit that cannot go on.
func (db *DB) FailRefit(ctx context.Context, id int64, why string) error {
	return db.tend(ctx, "end a refit", func(t *tx) error {
		_, err := t.exec(`
			update refits set state = ?, ended_at = ?, message = ?
			where id = ? and state = ?`, RefitFailed, instant(db.now()), storableOf(why), id, RefitWorking)
		return err
	})
}

// RefitProgress is how far a refit under way is.
type RefitProgress struct {
	ID         int64
	AsOf       fleet.Date
	Begun      time.Time
	Step       int
	Learning   bool
	Shares     int
	SharesDone int // in the present step
	Vehicles   int
	Forecast   int // vehicles
	Axles      int
	Workers    int // processes that hold a share now
}

// RefitProgress returns how far the refits under way are, and Refit's own by
// its id once it has ended.
func (db *DB) RefitProgress(ctx context.Context, id int64) (ps []RefitProgress, err error) {
	err = db.read(ctx, "read how far refits are", func(t *tx) error {
		w := where{[]string{"(r.state = 'working' and r.begun_at >= ?)"}, []any{instant(db.now()), instant(db.now().Add(-refitTime))}}
		if id != 0 {
			w = where{[]string{"r.id = ?"}, []any{instant(db.now()), id}}
		}
		return t.each(func(r *sqlx.Rows) error {
			var p RefitProgress
			err := r.Scan(&p.ID, &p.AsOf, (*instant)(&p.Begun), &p.Step, &p.Learning,
				&p.Shares, &p.SharesDone, &p.Vehicles, &p.Forecast, &p.Axles, &p.Workers)
			ps = append(ps, p)
			return err
		}, `
			select
				r.id,
				r.as_of,
				r.begun_at,
				r.step,
				r.learning,
				count(s.number),
				count(case when s.done > r.step then 1 end),
				coalesce(sum(s.vehicles), 0),
				coalesce(sum(s.forecast), 0),
				coalesce(sum(s.axles), 0),
				count(distinct case when s.until > ? then s.worker end)
			from refits r
			left join refit_shares s on s.refit_id = r.id`+w.String()+`
			group by r.id
			order by r.id`, w.args...)
	})
	return ps, err
}

// scopeText is a scope as it is kept.
func scopeText(sc auth.Scope) (string, error) {
	b, err := json.Marshal(keptScopeOf(sc))
	return string(b), err
}

func scopeOf(text string) (auth.Scope, error) {
	var k keptScope
	if err := json.Unmarshal([]byte(text), &k); err != nil {
		return auth.Scope{}, err
	}
	return k.scope(), nil
}
