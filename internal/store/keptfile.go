package store

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// FileState is how far a kept file is.
type FileState string

const (
	FileChecking   FileState = "checking"   // to be checked
	FileChecked    FileState = "checked"    // waits for a person
	FileTaking     FileState = "taking"     // to be taken in
	FileTaken      FileState = "taken"      // taken in; the forecasts follow
	FileDone       FileState = "done"       // and followed
	FileUnreadable FileState = "unreadable" // not a file that can be read
	FileFailed     FileState = "failed"     // something went wrong on our side
)

// Working says whether something is to be done that needs nobody.
func (s FileState) Working() bool { return s == FileChecking || s == FileTaking || s == FileTaken }

// KeptFile is a file handed in and not yet done with.
type KeptFile struct {
	ID        int64
	SHA256    string // of its bytes, hex
	Name      string
	Kind      string // as asked for; blank = found by its header
	DateOrder string // as asked for
	By        string
	Scope     auth.Scope // what its sender may change
	Bytes     int64
	At        time.Time
	Expires   time.Time
	State     FileState
	ReadBytes int64 // by the present work
	ReadRows  int
	Report    json.RawMessage // what the check found; nil before
	Fault     string
	UploadID  int64 // 0 before it is taken in
}

const (
	// partBytes is the size of the parts that a file is kept in.
	partBytes = 1 << 20
	// maxKeptBytes bounds what all kept files take, so that a forgetful or
	// hostile sender does not fill the disk.
	maxKeptBytes = 4 << 30
)

// keptScope is a scope as it is kept.
type keptScope struct {
	All    bool    `json:"all,omitempty"`
	Fleets []int64 `json:"fleets,omitempty"`
	Depots []int64 `json:"depots,omitempty"`
	// Plan is where its bearer may plan, where that is not all of it.
	Plan *keptScope `json:"plan,omitempty"`
}

func keptScopeOf(sc auth.Scope) keptScope {
	k := keptScope{All: sc.All(), Fleets: sc.Fleets(), Depots: sc.Depots()}
	if sc.PlansLess() {
		plan := keptScopeOf(sc.Planning())
		k.Plan = &plan
	}
	return k
}

func (k keptScope) scope() auth.Scope {
	sc := auth.ScopeOf(k.Fleets, k.Depots)
	if k.All {
		sc = auth.AllFleets()
	}
	if k.Plan != nil {
		sc = sc.WithPlanning(k.Plan.scope())
	}
	return sc
}

// seenBy adds that the file is one that the caller sent, or that he sees all. Taken
// in, it is with the sender's rights: who has not all of them leaves others' alone.
// Names are not one person's alone: whoever bears the sender's name and reaches
// other fleets is not the sender. Where one may plan tells no two apart, for it is
// asked only where something is handed in.
func (w *where) seenBy(sc auth.Scope, by string) {
	if sc.All() && !sc.PlansLess() {
		return
	}
	text, err := scopeText(sc.Measuring())
	if err != nil {
		panic(err) // numbers can always be written
	}
	w.add("k.sent_by = ?", storableOf(by))
	w.add("(k.scope = ? or k.scope like ?)", text, strings.TrimSuffix(text, "}")+`,"plan":%`)
}

// KeepFile keeps a file so long, in f's state, and sets f's id and times. The
// same bytes from the same sender, asked for alike, are kept
// once: when they are being worked on, that is what comes back in f.
func (db *DB) KeepFile(ctx context.Context, f *KeptFile, long time.Duration, body io.Reader) error {
	sc, err := scopeText(f.Scope)
	if err != nil {
		return err
	}
	return db.write(ctx, "keep "+f.Name, func(t *tx) error {
		var w where
		w.add("k.sha256 = ?", f.SHA256)
		w.add("k.sent_by = ?", storableOf(f.By))
		w.add("k.kind = ?", f.Kind)
		w.add("k.date_order = ?", f.DateOrder)
		there, err := t.keptFile(w)
		switch {
		case err == nil && there.State.Working():
			*f = there
			t.unchanged()
			return nil
		case err == nil:
			if _, err := t.exec(`delete from kept_files where id = ?`, there.ID); err != nil {
				return err
			}
		case !errors.Is(err, fleet.ErrNotFound):
			return err
		}
		var kept int64
		if err := t.one([]any{&kept}, `select CAST(coalesce(sum(bytes), 0) AS bigint) from kept_files`); err != nil {
			return err
		}
		if kept+f.Bytes > maxKeptBytes {
			return fleet.Conflictf("%s: too many files wait to be taken in: take in or drop some of them, then hand it in again", f.Name)
		}
		f.At = db.now()
		f.Expires = f.At.Add(long)
		err = t.one([]any{&f.ID}, `
			insert into kept_files (
				sha256, name, kind, date_order, sent_by, scope, bytes, sent_at, expires_at,
				state, read_bytes, read_rows, report, fault)
			values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0, 0, '', '')
			returning id`,
			f.SHA256, storableOf(f.Name), f.Kind, f.DateOrder, storableOf(f.By), sc, f.Bytes, instant(f.At), instant(f.Expires),
			string(f.State))
		if err != nil {
			return err
		}
		if err := t.log(entry{act: "handed in", record: "file", id: f.ID, by: f.By, detail: f.Name}); err != nil {
			return err
		}
		return t.keepParts(f, body)
	})
}

func (t *tx) keepParts(f *KeptFile, body io.Reader) error {
	part := make([]byte, partBytes)
	for seq := 0; ; seq++ {
		n, err := io.ReadFull(body, part)
		if n > 0 {
			_, err := t.exec(`insert into kept_file_parts (file_id, seq, bytes) values (?, ?, ?)`, f.ID, seq, part[:n])
			if err != nil {
				return err
			}
		}
		switch {
		case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
			return nil
		case err != nil:
			return err
		}
	}
}

// keptFile reads the file k that w admits.
func (t *tx) keptFile(w where) (f KeptFile, err error) {
	fs, err := t.keptFiles(w, 1)
	return only(fs, err, "file: there is none, none that you may see, or it was kept too long ago: hand it in again")
}

func (t *tx) keptFiles(w where, limit int) (fs []KeptFile, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var f KeptFile
		var scope, report string
		var upload *int64
		err := r.Scan(
			&f.ID,
			&f.SHA256,
			&f.Name,
			&f.Kind,
			&f.DateOrder,
			&f.By,
			&scope,
			&f.Bytes,
			(*instant)(&f.At),
			(*instant)(&f.Expires),
			&f.State,
			&f.ReadBytes,
			&f.ReadRows,
			&report,
			&f.Fault,
			&upload)
		if err != nil {
			return err
		}
		if f.Scope, err = scopeOf(scope); err != nil {
			return err
		}
		if report != "" {
			f.Report = json.RawMessage(report)
		}
		if upload != nil {
			f.UploadID = *upload
		}
		fs = append(fs, f)
		return nil
	}, `
		select
			k.id,
			k.sha256,
			k.name,
			k.kind,
			k.date_order,
			k.sent_by,
			k.scope,
			k.bytes,
			k.sent_at,
			k.expires_at,
			k.state,
			k.read_bytes,
			k.read_rows,
			k.report,
			k.fault,
			k.upload_id
		from kept_files k`+w.String()+`
		order by k.id desc
		limit ?`, append(w.args, limit)...)
	return fs, err
}

// KeptFile returns one kept file: its sender's, or any to who sees all.
func (db *DB) KeptFile(ctx context.Context, sc auth.Scope, by string, id int64) (f KeptFile, err error) {
	err = db.read(ctx, "read a kept file", func(t *tx) error {
		var w where
		w.seenBy(sc, by)
		w.add("k.id = ?", id)
		w.add("k.expires_at > ?", instant(db.now()))
		f, err = t.keptFile(w)
		return err
	})
	return f, err
}

// maxKeptShown bounds the files of a list.
const maxKeptShown = 50

// KeptFiles returns the files that are not done with, newest first, without
// their reports.
func (db *DB) KeptFiles(ctx context.Context, sc auth.Scope, by string) (fs []KeptFile, err error) {
	err = db.read(ctx, "list kept files", func(t *tx) error {
		var w where
		w.seenBy(sc, by)
		w.add("k.state <> ?", string(FileDone))
		w.add("k.expires_at > ?", instant(db.now()))
		fs, err = t.keptFiles(w, maxKeptShown)
		for i := range fs {
			fs[i].Report = nil
		}
		return err
	})
	return fs, err
}

// WorkingFiles returns the files on which something is to be done, oldest
// first. It is for the process, which does everybody's work.
func (db *DB) WorkingFiles(ctx context.Context) (ids []int64, err error) {
	err = db.read(ctx, "list kept files", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var id int64
			err := r.Scan(&id)
			ids = append(ids, id)
			return err
		}, `select id from kept_files where state in (?, ?, ?) order by id`,
			string(FileChecking), string(FileTaking), string(FileTaken))
	})
	return ids, err
}

// CopyKept writes the bytes of a kept file to out.
func (db *DB) CopyKept(ctx context.Context, id int64, out io.Writer) error {
	for seq := 0; ; seq++ {
		var part []byte
		err := db.read(ctx, "read a kept file", func(t *tx) error {
			return t.one([]any{&part}, `select bytes from kept_file_parts where file_id = ? and seq = ?`, id, seq)
		})
		if errors.Is(err, errNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		if _, err := out.Write(part); err != nil {
			return err
		}
	}
}

// TakeFile says that a checked file is to be taken in. One that is on its way
// or done already stays so; one that cannot be read is fleet.ErrConflict.
func (db *DB) TakeFile(ctx context.Context, sc auth.Scope, by string, id int64) (f KeptFile, err error) {
	err = db.write(ctx, "take a kept file in", func(t *tx) error {
		var w where
		w.seenBy(sc, by)
		w.add("k.id = ?", id)
		w.add("k.expires_at > ?", instant(db.now()))
		if f, err = t.keptFile(w); err != nil {
			return err
		}
		switch f.State {
		case FileChecked, FileFailed:
			f.State = FileTaking
			_, err := t.exec(`update kept_files set state = ?, read_bytes = 0, read_rows = 0, fault = '' where id = ?`, string(f.State), id)
			if err != nil {
				return err
			}
			return t.log(entry{act: "to be taken in", record: "file", id: id, by: by, detail: f.Name})
		case FileTaking, FileTaken, FileDone:
			t.unchanged()
			return nil
		case FileChecking:
			return fleet.Conflictf("%s is still being checked: wait for what the check finds", f.Name)
		}
		return fleet.Conflictf("%s cannot be taken in: %s", f.Name, f.Fault)
	})
	return f, err
}

// DropFile forgets a kept file. One that is on its way is fleet.ErrConflict.
func (db *DB) DropFile(ctx context.Context, sc auth.Scope, by string, id int64) error {
	return db.write(ctx, "drop a kept file", func(t *tx) error {
		var w where
		w.seenBy(sc, by)
		w.add("k.id = ?", id)
		f, err := t.keptFile(w)
		if err != nil {
			return err
		}
		if f.State == FileTaking || f.State == FileTaken {
			return fleet.Conflictf("%s is being taken in: it cannot be dropped any more", f.Name)
		}
		if _, err = t.exec(`delete from kept_files where id = ?`, id); err != nil {
			return err
		}
		return t.log(entry{act: "dropped", record: "file", id: id, by: by, detail: f.Name})
	})
}

// SaveKept stores the state, progress, report, fault and upload of a kept
// file. What is done with, needs no bytes any more.
func (db *DB) SaveKept(ctx context.Context, f *KeptFile) error {
	return db.tend(ctx, "keep a file's state", func(t *tx) error {
		_, err := t.exec(`
			update kept_files
			set state = ?, read_bytes = ?, read_rows = ?, report = ?, fault = ?, upload_id = ?
			where id = ?`, string(f.State), f.ReadBytes, f.ReadRows, storableOf(string(f.Report)), storableOf(f.Fault), unlessZero(f.UploadID), f.ID)
		if err != nil {
			return err
		}
		if f.State == FileDone || f.State == FileUnreadable {
			_, err = t.exec(`delete from kept_file_parts where file_id = ?`, f.ID)
		}
		return err
	})
}

// NoteProgress tells other processes how far the work on a kept file is. In an
// SQLite file, whose one writer that work holds, there is nobody to tell.
func (db *DB) NoteProgress(ctx context.Context, f *KeptFile) error {
	if db.dialect == SQLite {
		return nil
	}
	return db.tend(ctx, "note a file's progress", func(t *tx) error {
		_, err := t.exec(`update kept_files set read_bytes = ?, read_rows = ? where id = ?`, f.ReadBytes, f.ReadRows, f.ID)
		return err
	})
}

// FileTaken notes, with the rows of the upload, that they are those of a kept
// file: whatever happens after, it is known to be taken in.
func (w *Writer) FileTaken(id int64) (err error) {
	defer w.end("note a kept file", &err)
	_, err = w.t.exec(`update kept_files set state = ?, upload_id = ? where id = ?`, string(FileTaken), w.upload, id)
	return err
}

// ExpireFiles forgets the files that were kept long enough, but for those that
// are being worked on.
func (db *DB) ExpireFiles(ctx context.Context) (n int, err error) {
	err = db.tend(ctx, "forget kept files", func(t *tx) error {
		n, err = t.count(`delete from kept_files where expires_at <= ? and state not in (?, ?)`,
			instant(db.now()), string(FileTaking), string(FileTaken))
		return err
	})
	return n, err
}

// TouchedBy returns the vehicles that an upload has rows of. It looks among those of
// the depots that the upload speaks of: no index says which rows an upload brought,
// which all that is taken in would pay for. A vehicle that was moved to another depot
// since is none of them; what moved it had it forecast anew with all its rows.
func (db *DB) TouchedBy(ctx context.Context, sc auth.Scope, upload int64) (ids []int64, err error) {
	err = db.find(ctx, "list an upload's vehicles", func(t *tx) error {
		var w where
		w.add("p.upload_id = ?", upload)
		w.scope(sc, "v")
		w.add(`(exists (select 1 from thickness_readings r where r.vehicle_id = v.id and r.upload_id = ?)
			or exists (select 1 from odometer_readings r where r.vehicle_id = v.id and r.upload_id = ?)
			or exists (select 1 from cluster_swaps r where r.vehicle_id = v.id and r.upload_id = ?)
			or exists (select 1 from fitments r where r.vehicle_id = v.id and r.upload_id = ?))`, upload, upload, upload, upload)
		return t.each(func(r *sqlx.Rows) error {
			var id int64
			err := r.Scan(&id)
			ids = append(ids, id)
			return err
		}, `
			select v.id
			from upload_places p
			join vehicles v on v.fleet_id = p.fleet_id and v.depot_id = p.depot_id`+w.String()+`
			order by v.id`, w.args...)
	})
	return ids, err
}
