package store

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// TakeIn stores one upload in one transaction: fill gets a Writer for the
// rows, and either all that it wrote is kept, with up and up's problems, or
// nothing. TakeIn sets up.ID and up.At before fill runs, and stores the
// counts and problems that fill leaves in up. fill may read from the DB, which
// shows it the state before, unless the upload is a part of a transaction (see Trial
// and Together).
func (db *DB) TakeIn(ctx context.Context, sc auth.Scope, up *fleet.Upload, fill func(w *Writer) error) error {
	release, err := db.uploadSlot(ctx)
	if err != nil {
		return err
	}
	defer release()
	var own error // of fill
	err = db.writeBy(ctx, byKeys(), "take in "+up.Name, func(t *tx) error {
		up.At = db.now()
		if err := t.addUpload(up); err != nil {
			return err
		}
		if err := t.addRequestKey(up); err != nil {
			return err
		}
		w := &Writer{
			t:      t,
			sc:     sc,
			upload: up.ID,
			fleets: map[string]int64{},
			depots: map[depotKey]int64{},
			placed: map[[2]int64]bool{},

			fleetOf: map[int64]int64{},
			seen:    map[int64][2]int64{},
		}
		if own = fill(w); own != nil {
			return own
		}
		if w.failed != nil {
			return w.failed
		}
		err := t.later(`update uploads set accepted = ?, refused = ?, repeated = ?, doubtful = ? where id = ?`,
			up.Accepted, up.Refused, up.Repeated, up.Doubtful, up.ID)
		if err != nil {
			return err
		}
		if err := w.claim(); err != nil {
			return err
		}
		if err := w.logUpload(up); err != nil {
			return err
		}
		return t.addProblems(up)
	})
	if own != nil {
		err = own
	}
	if db.Taken != nil && db.within == nil {
		db.Taken(up, err)
	}
	return err
}

// logUpload tells the log of changes of up: one row for each fleet it speaks
// of, so that whoever looks after one reads of it and of no other.
func (w *Writer) logUpload(up *fleet.Upload) error {
	e := entry{act: "taken in", record: "upload", id: up.ID, by: up.By, detail: cmp.Or(up.Name, up.Kind)}
	depots := map[int64]int64{} // by fleet; 0 = several
	for p := range w.placed {
		fleetID, depotID := p[0], p[1]
		if _, several := depots[fleetID]; several {
			depotID = 0
		}
		depots[fleetID] = depotID
	}
	if len(depots) == 0 {
		return w.t.log(e)
	}
	for _, fleetID := range slices.Sorted(maps.Keys(depots)) {
		e.fleet, e.depot = fleetID, depots[fleetID]
		if err := w.t.log(e); err != nil {
			return err
		}
	}
	return nil
}

// addUpload adds the row of an upload, to be counted later, and sets its id unless it
// has one of AboutFile.
//
// The same bytes sent twice at once, such as by an impatient second click, wait for
// each other: the second finds the rows of the first and repeats them. SQLite has one
// writer anyway.
func (t *tx) addUpload(up *fleet.Upload) error {
	const columns = "kind, name, sha256, sent_by, sent_at, accepted, refused, repeated, doubtful"
	args := []any{up.Kind, storableOf(up.Name), up.SHA256, storableOf(up.By), instant(up.At)}
	if t.db.dialect != Postgres || up.SHA256 == "" {
		return t.one([]any{&up.ID}, `
			insert into uploads (`+columns+`)
			values (?, ?, ?, ?, ?, 0, 0, 0, 0)
			returning id`, args...)
	}
	from := `
		CAST(? AS text), CAST(? AS text), CAST(? AS text), CAST(? AS text), CAST(? AS timestamptz), 0, 0, 0, 0
		from (select pg_advisory_xact_lock(hashtextextended(CAST(? AS text), 0))) alone`
	args = append(args, up.Kind+" "+up.SHA256)
	if up.ID != 0 {
		return t.later(`
			insert into uploads (id, `+columns+`) overriding system value
			select CAST(? AS bigint),`+from, append([]any{up.ID}, args...)...)
	}
	return t.one([]any{&up.ID}, `
		insert into uploads (`+columns+`)
		select`+from+`
		returning id`, args...)
}

// claim gives an upload that speaks of no vehicle, because every row was
// refused, to the scope of its sender, who would not see it otherwise.
func (w *Writer) claim() error {
	if w.sc.All() || len(w.placed) > 0 {
		return nil
	}
	var seen where
	seen.places(w.sc, "d.fleet_id", "d.id")
	return w.t.each(func(r *sqlx.Rows) error {
		var p [2]int64
		err := r.Scan(&p[0], &p[1])
		w.placed[p] = true
		return err
	}, `
		insert into upload_places (upload_id, fleet_id, depot_id)
		select CAST(? AS bigint), d.fleet_id, d.id
		from depots d`+seen.String()+`
		returning fleet_id, depot_id`, append([]any{w.upload}, seen.args...)...)
}

var problemColumns = []string{"upload_id", "seq", "line", "col", "found", "message", "refused", "doubtful"}

func (t *tx) addProblems(up *fleet.Upload) error {
	if len(up.Problems) == 0 {
		return nil
	}
	if len(up.Problems) >= manyRows {
		if err := t.planOnce(); err != nil {
			return err
		}
	}
	return t.add("upload_problems", problemColumns, func(yield func([]any) bool) {
		for i, p := range up.Problems {
			if !yield([]any{up.ID, i + 1, p.Line, storableOf(p.Column), storableOf(p.Read), storableOf(p.Message), p.Refused, p.Doubtful}) {
				return
			}
		}
	})
}

// uploadColumns in the order of scanUpload.
const uploadColumns = `
	u.id,
	u.kind,
	u.name,
	u.sha256,
	u.sent_by,
	u.sent_at,
	u.accepted,
	u.refused,
	u.repeated,
	u.doubtful`

func scanUpload(up *fleet.Upload) []any {
	return []any{
		&up.ID,
		&up.Kind,
		&up.Name,
		&up.SHA256,
		&up.By,
		(*instant)(&up.At),
		&up.Accepted,
		&up.Refused,
		&up.Repeated,
		&up.Doubtful,
	}
}

// uploadsSeen returns the condition that all the places an upload speaks of
// are in sc: its problems quote rows of any of them.
func uploadsSeen(sc auth.Scope) *where {
	w := &where{}
	if sc.All() {
		return w
	}
	var inside where
	inside.places(sc, "p.fleet_id", "p.depot_id")
	w.add("exists (select 1 from upload_places p where p.upload_id = u.id)")
	w.add("not exists (select 1 from upload_places p where p.upload_id = u.id and not "+inside.conds[0]+")", inside.args...)
	return w
}

// UploadByHash returns the first upload of these bytes of which no row was
// refused; fleet.ErrNotFound when there is none. An upload with refused rows
// does not count, for what they lacked may be there by now.
func (db *DB) UploadByHash(ctx context.Context, sc auth.Scope, kind, sha256 string) (up fleet.Upload, err error) {
	err = db.find(ctx, "find an upload", func(t *tx) error {
		query, args := uploadByHash(sc, kind, sha256)
		err := t.one(scanUpload(&up), query, args...)
		if errors.Is(err, errNoRows) {
			return fleet.NotFoundf("no upload of these bytes")
		}
		return err
	})
	return up, err
}

func uploadByHash(sc auth.Scope, kind, sha256 string) (query string, args []any) {
	w := uploadsSeen(sc)
	w.add("u.sha256 = ?", sha256)
	w.add("u.kind = ?", kind)
	w.add("u.refused = 0")
	return `select ` + uploadColumns + ` from uploads u` + w.String() + ` order by u.id limit 1`, w.args
}

// roundUploads is how many uploads one query names: a vehicle with many years of
// records may have come with more than a statement has parameters.
const roundUploads = 1000

// HiddenUploads returns those of the uploads that sc does not see; nil is none.
func (db *DB) HiddenUploads(ctx context.Context, sc auth.Scope, ids []int64) (hidden map[int64]bool, err error) {
	if sc.All() || len(ids) == 0 {
		return nil, nil
	}
	hidden = map[int64]bool{}
	for _, id := range ids {
		hidden[id] = true
	}
	err = db.read(ctx, "find uploads", func(t *tx) error {
		for some := range slices.Chunk(ids, roundUploads) {
			w := uploadsSeen(sc)
			w.among("u.id", some)
			err := t.each(func(r *sqlx.Rows) error {
				var id int64
				err := r.Scan(&id)
				delete(hidden, id)
				return err
			}, `select u.id from uploads u`+w.String(), w.args...)
			if err != nil {
				return err
			}
		}
		return nil
	})
	return hidden, err
}

// Uploads returns up to limit uploads, newest first, without their problems:
// those older than the upload before, or the newest when before is 0.
func (db *DB) Uploads(ctx context.Context, sc auth.Scope, limit int, before int64) (ups []fleet.Upload, err error) {
	err = db.read(ctx, "list uploads", func(t *tx) error {
		w := uploadsSeen(sc)
		if before != 0 {
			w.add("u.id < ?", before)
		}
		return t.each(func(r *sqlx.Rows) error {
			var up fleet.Upload
			err := r.Scan(scanUpload(&up)...)
			ups = append(ups, up)
			return err
		}, `select `+uploadColumns+` from uploads u`+w.String()+` order by u.id desc limit ?`, append(w.args, limitOf(limit))...)
	})
	return ups, err
}

// Upload returns one upload with its problems.
func (db *DB) Upload(ctx context.Context, sc auth.Scope, id int64) (up fleet.Upload, err error) {
	err = db.read(ctx, "read an upload", func(t *tx) error {
		w := uploadsSeen(sc)
		w.add("u.id = ?", id)
		err := t.one(scanUpload(&up), `select `+uploadColumns+` from uploads u`+w.String(), w.args...)
		if errors.Is(err, errNoRows) {
			return fleet.NotFoundf("upload %d: there is none, or none that you may see", id)
		}
		if err != nil {
			return err
		}
		return t.each(func(r *sqlx.Rows) error {
			var p fleet.Problem
			err := r.Scan(&p.Line, &p.Column, &p.Read, &p.Message, &p.Refused, &p.Doubtful)
			up.Problems = append(up.Problems, p)
			return err
		}, `select line, col, found, message, refused, doubtful from upload_problems where upload_id = ? order by seq`, id)
	})
	return up, err
}

// limitOf returns the length of a page that was asked for.
func limitOf(limit int) int {
	if limit <= 0 {
		return DefaultLimit
	}
	return min(limit, MaxLimit)
}
