package store_test

import (
	"encoding/binary"
	"testing"

	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Pages that do not fit into the pool's slots would be asked for one by one, and
// nothing else would tell.
func TestPagesComeFromThePool(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	if err := db.Ping(t.Context()); err != nil {
		t.Fatal(err)
	}
	tls := libc.NewTLS()
	defer tls.Close()
	now := libc.Xcalloc(tls, 2, 8)
	defer libc.Xfree(tls, now)
	status := func(of int32) int64 {
		if rc := sqlite3.Xsqlite3_status64(tls, of, now, now+8, 0); rc != sqlite3.SQLITE_OK {
			t.Fatalf("status %d: code %d", of, rc)
		}
		return int64(binary.NativeEndian.Uint64(libc.GoBytes(now, 8)))
	}
	if got := status(sqlite3.SQLITE_STATUS_PAGECACHE_USED); got == 0 {
		t.Errorf("got no page in the pool, %d bytes of pages beside it", status(sqlite3.SQLITE_STATUS_PAGECACHE_OVERFLOW))
	}
}
