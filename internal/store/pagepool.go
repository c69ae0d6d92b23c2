package store

import (
	"encoding/binary"
	"sync"

	"modernc.org/libc"
	"modernc.org/libc/sys/types"
	sqlite3 "modernc.org/sqlite/lib"
)

const (
	// writerCacheKB is how much of an SQLite file the connection that writes keeps
	// in memory: what an import changes in the indexes before it has to put some
	// of it away.
	writerCacheKB = 32 << 10
	// readerCacheKB is the same of each connection that reads.
	readerCacheKB = 8 << 10
	// pagePoolKB is what all of them have together: the writer's, and what readers
	// need beside it. Who wants more takes the page that was used longest ago, of
	// whichever connection.
	pagePoolKB = 56 << 10
	// sqlitePage is the size of a file's page where none is asked for,
	// https://sqlite.org/pragma.html#pragma_page_size.
	sqlitePage = 4096
)

// pagePool hands SQLite the memory for pages in one piece, before the first file is
// opened: https://sqlite.org/c3ref/c_config_covering_index_scan.html,
// SQLITE_CONFIG_PAGECACHE. Asked for one by one, a page of 4096 bytes takes 8192 with
// what SQLite keeps beside it, for the allocator rounds up to a power of two; and
// each connection fills a cache of its own.
//
// What is of another size, or finds the pool empty, is asked for as before. So it
// is where this is refused because somebody opened a file already.
var pagePool = sync.OnceFunc(func() {
	tls := libc.NewTLS()
	defer tls.Close()
	configure := func(what int32, args ...any) bool {
		list := libc.NewVaList(args...)
		defer libc.Xfree(tls, list)
		return sqlite3.Xsqlite3_config(tls, what, list) == sqlite3.SQLITE_OK
	}
	answer := libc.Xcalloc(tls, 1, 8)
	defer libc.Xfree(tls, answer)
	if !configure(sqlite3.SQLITE_CONFIG_PCACHE_HDRSZ, answer) {
		return
	}
	slot := sqlitePage + int(binary.NativeEndian.Uint32(libc.GoBytes(answer, 4)))
	slot = (slot + 7) &^ 7 // else SQLite rounds down
	n := pagePoolKB << 10 / slot
	if pool := libc.Xmalloc(tls, types.Size_t(n*slot)); pool != 0 { // for as long as the process lives
		configure(sqlite3.SQLITE_CONFIG_PAGECACHE, pool, int32(slot), int32(n))
	}
})
