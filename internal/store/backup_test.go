package store_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// aFew is how many readings each upload of the writer below has.
const aFew = 7

// writeOn takes uploads of aFew readings in, one after another, until ctx ends,
// and returns how many.
func writeOn(ctx context.Context, db *store.DB, vehicleID int64, first fleet.Date) (n int, err error) {
	for ; ctx.Err() == nil; n++ {
		up := fleet.Upload{Kind: "test", Name: "test.csv", By: "N. N.", Accepted: aFew}
		err := db.TakeIn(context.WithoutCancel(ctx), all, &up, func(w *store.Writer) error {
			var rs []fleet.Reading
			for i := range fleet.Date(aFew) {
				rs = append(rs, reading(vehicleID, first+fleet.Date(aFew*n)+i, 8))
			}
			_, err := w.Readings(rs)
			return err
		})
		if err != nil {
			return n, err
		}
	}
	return n, nil
}

// Two processes write while backups are made. Each backup is the database at one
// moment, whole: it has all readings of each upload that it has, and no others.
func TestFaultBackupWhileWritten(t *testing.T) {
	url := storetest.URL(t, store.SQLite)
	db := storetest.MustOpen(t, url)
	ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
	before := count(t, db, "select count(*) from uploads")
	mustReadings(t, db, killedRows(ids[0])...) // so that copying takes a while
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	var uploads atomic.Int64
	for i, id := range ids {
		other := storetest.MustOpen(t, url)
		wg.Go(func() {
			n, err := writeOn(ctx, other, id, day(1, 1)+fleet.Date(3000*i)+3000)
			if err != nil {
				t.Errorf("writing beside a backup: %v", err)
			}
			uploads.Add(int64(n))
		})
	}
	dir := t.TempDir()
	sizes := map[int]bool{}
	for i := range 6 {
		b, err := db.Backup(t.Context(), filepath.Join(dir, string(rune('a'+i))+".db"))
		if err != nil {
			t.Fatal(err)
		}
		if b.Bytes == 0 || b.Rows["vehicles"] != 2 || b.Total() < 2000 {
			t.Errorf("got %+v", b)
		}
		ups := b.Rows["uploads"] - before - 1
		if want := ups*aFew + len(killedRows(1)); b.Rows["thickness_readings"] != want {
			t.Errorf("backup %d: %d readings of %d uploads, want %d", i, b.Rows["thickness_readings"], ups, want)
		}
		sizes[ups] = true
	}
	stop()
	wg.Wait()
	if len(sizes) < 3 || uploads.Load() < 10 {
		t.Errorf("hardly anything was written meanwhile (%d uploads); the test shows nothing", uploads.Load())
	}
	t.Attr("database", store.SQLite)
	t.Attr("uploads-meanwhile", strconv.FormatInt(uploads.Load(), 10))
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(left) != 6 {
		t.Errorf("left behind: %q, %v", left, err)
	}
}

func TestBackupRefused(t *testing.T) {
	t.Run(store.Postgres, func(t *testing.T) {
		_, err := storetest.Open(t, store.Postgres).Backup(t.Context(), filepath.Join(t.TempDir(), "a.db"))
		if !isInvalid(err) || !strings.Contains(err.Error(), "pg_dump") {
			t.Errorf("got %v, want what to do instead", err)
		}
	})
	db := storetest.Open(t, store.SQLite)
	there := filepath.Join(t.TempDir(), "there")
	if err := os.WriteFile(there, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Backup(t.Context(), there); !errors.Is(err, fleet.ErrConflict) {
		t.Errorf("over a file: got %v, want a conflict", err)
	}
	if b, err := os.ReadFile(there); string(b) != "mine" {
		t.Errorf("the file there is now %q, %v", b, err)
	}
	none := filepath.Join(t.TempDir(), "none")
	if _, err := db.Backup(t.Context(), filepath.Join(none, "a.db")); !isInvalid(err) || !strings.Contains(err.Error(), "there is no folder "+none+": make it") {
		t.Errorf("into no folder: got %v, want what to do", err)
	}
	if _, err := db.Backup(t.Context(), filepath.Join(there, "no", "folder.db")); err == nil {
		t.Error("into a file as if it were a folder: got no error")
	}
	if _, err := store.CheckBackup(t.Context(), none); !isInvalid(err) || !strings.Contains(err.Error(), "there is no such file") {
		t.Errorf("no backup: got %v", err)
	}
	mustExec(t, db, "insert into goose_db_version (version_id, is_applied) values (99999, 1)")
	newer := filepath.Join(t.TempDir(), "newer.db")
	if _, err := db.Backup(t.Context(), newer); !errors.Is(err, fleet.ErrConflict) || !strings.HasPrefix(err.Error(), "the database has schema version 99999") {
		t.Errorf("of a newer program's: got %v, want that said of the database", err)
	}
	if _, _, err := db.Check(t.Context()); !errors.Is(err, fleet.ErrConflict) || !strings.HasSuffix(err.Error(), "use a newer program") {
		t.Errorf("check of a newer program's: got %v", err)
	}
}

// backedUp returns the path of a database that is closed, and of a backup of
// it with one vehicle less.
func backedUp(t *testing.T) (database, backup string) {
	t.Helper()
	database = storetest.URL(t, store.SQLite)
	backup = filepath.Join(t.TempDir(), "backup.db")
	db, err := store.Open(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	mustVehicles(t, db, entry("Bus 1"))
	if _, err := db.Backup(t.Context(), backup); err != nil {
		t.Fatal(err)
	}
	mustVehicles(t, db, entry("Bus 2"))
	return database, backup
}

func TestRestore(t *testing.T) {
	database, backup := backedUp(t)
	if _, _, err := store.Restore(t.Context(), backup, database, false); !errors.Is(err, fleet.ErrConflict) {
		t.Errorf("over a database, unasked: got %v, want a conflict", err)
	}
	db, err := store.Open(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = store.Restore(t.Context(), backup, database, true)
	if !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), "in use") {
		t.Errorf("over one in use: got %v, want a conflict", err)
	}
	if n := count(t, db, "select count(*) from vehicles"); n != 2 {
		t.Errorf("the database in use has %d vehicles now", n)
	}
	mustVehicles(t, db, entry("Bus 3"))
	db.Close()

	b, old, err := store.Restore(t.Context(), backup, database, true)
	if err != nil {
		t.Fatal(err)
	}
	if b.Rows["vehicles"] != 1 || b.Path != database {
		t.Errorf("got %+v", b)
	}
	for path, want := range map[string]int{database: 1, old: 3} {
		db := storetest.MustOpen(t, path)
		if n := count(t, db, "select count(*) from vehicles"); n != want {
			t.Errorf("%s: got %d vehicles, want %d", path, n, want)
		}
	}
	fresh := filepath.Join(t.TempDir(), "fresh.db")
	if _, old, err := store.Restore(t.Context(), backup, fresh, false); err != nil || old != "" {
		t.Errorf("where there is none: got %q, %v", old, err)
	}
	if err := storetest.MustOpen(t, fresh).Migrate(t.Context()); err != nil {
		t.Error(err)
	}
}

// Root makes and restores databases of a service that runs as somebody else, who is to
// open them.
func TestRootLeavesDatabaseToService(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("takes root, who alone can give a file away")
	}
	_, backup := backedUp(t)
	const service = 65532 // as the example of a container has it
	dir := t.TempDir()
	if err := os.Chown(dir, service, service); err != nil {
		t.Fatal(err)
	}
	database := filepath.Join(dir, "fleet.db")
	owner := func(when string) {
		t.Helper()
		at, err := os.Stat(database)
		if err != nil {
			t.Fatal(err)
		}
		if s := at.Sys().(*syscall.Stat_t); s.Uid != service || s.Gid != service {
			t.Errorf("%s: got owner %d:%d, want %d", when, s.Uid, s.Gid, service)
		}
	}
	db, err := store.Open(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	db.Close()
	owner("made")
	// A link that lies where the copy is to be written leads root nowhere.
	others := filepath.Join(t.TempDir(), "others")
	if err := os.WriteFile(others, []byte("root's"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(others, database+store.Partial); err != nil {
		t.Fatal(err)
	}
	if _, _, err := store.Restore(t.Context(), backup, database, true); err != nil {
		t.Fatal(err)
	}
	owner("restored")
	st, err := os.Stat(others)
	if err != nil {
		t.Fatal(err)
	}
	if kept, err := os.ReadFile(others); err != nil || string(kept) != "root's" || st.Sys().(*syscall.Stat_t).Uid != 0 {
		t.Errorf("what the link led to: got %d bytes of user %d, %v; want it as it was", len(kept), st.Sys().(*syscall.Stat_t).Uid, err)
	}
}

// A backup is damaged, cut off, newer or none. It is refused before anything is
// touched.
func TestFaultRestoreOfDamaged(t *testing.T) {
	t.Attr("database", store.SQLite)
	database, backup := backedUp(t)
	whole, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	damaged := bytes.Clone(whole)
	for i := 8192; i < len(damaged); i += 4096 {
		copy(damaged[i:], bytes.Repeat([]byte{0xA5}, 64))
	}
	write := func(name string, b []byte) string {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	newer := write("newer", whole)
	db := storetest.MustOpen(t, newer)
	mustExec(t, db, "insert into goose_db_version (version_id, is_applied) values (99999, true)")
	other := filepath.Join(t.TempDir(), "other")
	mustExec(t, storetest.MustOpen(t, other), "create table goats (name text)")
	for _, c := range []struct{ name, path, want string }{
		{"not there", filepath.Join(t.TempDir(), "none"), "no such file"},
		{"text", write("text", []byte(strings.Repeat("no database. ", 1000))), "no database"},
		{"empty", write("empty", nil), "no database of this program"},
		{"of another program", other, "no database of this program"},
		{"damaged", write("damaged", damaged), "damaged"},
		{"cut off", write("short", whole[:len(whole)-3*4096]), "damaged"},
		{"of a newer program", newer, "use a newer program"},
		{"the database itself", database, "the database itself"},
	} {
		_, _, err := store.Restore(t.Context(), c.path, database, true)
		if !isInvalid(err) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", c.name, err, c.want)
		}
	}
	if n := count(t, storetest.MustOpen(t, database), "select count(*) from vehicles"); n != 2 {
		t.Errorf("the database has %d vehicles now, want its 2", n)
	}
	left, err := filepath.Glob(database + ".*")
	if err != nil || len(left) != 0 {
		t.Errorf("left behind: %q, %v", left, err)
	}
}

// What keeps people out lies in the file, so that it is its owner's alone: also
// what SQLite lays beside it, and backups.
func TestFilesAreTheirOwners(t *testing.T) {
	file := filepath.Join(t.TempDir(), "fleet.db")
	db := storetest.MustOpen(t, file)
	if err := db.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	copied := file + ".copy"
	if _, err := db.Backup(t.Context(), copied); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{file, file + "-wal", file + "-shm", copied} {
		st, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		if got := st.Mode().Perm(); got != 0o600 {
			t.Errorf("%s: got mode %o, want 600", filepath.Base(name), got)
		}
	}
}
