package store_test

import (
	"context"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"brakewear/internal/pgserver"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// PostgreSQL is backed up with pg_dump while it is written to, and restored, as
// the guide says. What comes back is the database at one moment, whole, with
// every row of every upload that it has, and goes on from there.
func TestFaultPgDump(t *testing.T) {
	t.Attr("database", store.Postgres)
	from, to := storetest.URL(t, store.Postgres), storetest.EmptyURL(t, store.Postgres)
	db := storetest.MustOpen(t, from)
	bus := mustVehicles(t, db, entry("Bus 1"))[0]
	before := count(t, db, "select count(*) from uploads")
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() {
		if _, err := writeOn(ctx, db, bus, day(1, 1)); err != nil {
			t.Errorf("writing beside pg_dump: %v", err)
		}
	})
	for count(t, db, "select count(*) from uploads") < before+3 {
	}
	file := filepath.Join(t.TempDir(), "brakewear.dump")
	tool := func(name string, args ...string) {
		t.Helper()
		if out, err := exec.Command(pgTool(t, name), args...).CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
	}
	tool("pg_dump", "--format=custom", "--file="+file, from)
	stop()
	wg.Wait()
	tool("pg_restore", "--exit-on-error", "--no-owner", "--single-transaction", "--dbname="+to, file)

	back := storetest.MustOpen(t, to)
	if err := back.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	uploads := count(t, back, "select count(*) from uploads") - before
	if n := count(t, back, "select count(*) from thickness_readings"); n != uploads*aFew || uploads < 3 {
		t.Errorf("%d readings of %d uploads, want %d", n, uploads, uploads*aFew)
	}
	if broken, _, err := back.Check(t.Context()); err != nil || len(broken) > 0 {
		t.Errorf("restored: %+v, %v", broken, err)
	}
	mustReadings(t, back, reading(bus, day(1, 1)-1, 8))
	t.Attr("uploads-in-the-copy", strconv.Itoa(uploads))
	t.Attr("uploads-at-its-end", strconv.Itoa(count(t, db, "select count(*) from uploads")-before))
}

// pgTool finds a client program beside the server's.
func pgTool(t *testing.T, name string) string {
	t.Helper()
	if path, err := exec.LookPath(name); err == nil {
		return path
	}
	found, err := filepath.Glob(filepath.Join(pgserver.DebianBins, name))
	if err != nil || len(found) == 0 {
		t.Skipf("%s is not installed", name)
	}
	return found[len(found)-1]
}
