package store_test

import (
	"sync"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// However much is asked for at once, one process opens only so many connections
// to a server, which has a hundred for all of them unless it is told otherwise
// (PostgreSQL 15 documentation, 20.3.1, max_connections).
func TestConnectionsAreBounded(t *testing.T) {
	const most, asked = 16, 40
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		if db.Dialect() != store.Postgres {
			// An embedded file has one writer, and the rest wait for it in turn.
			if n := db.WritePool().Stats().MaxOpenConnections; n != 1 {
				t.Errorf("writers: got %d, want 1", n)
			}
			if n := db.ReadPool().Stats().MaxOpenConnections; n < 2 || n > 64 {
				t.Errorf("readers: got %d, want a few", n)
			}
			return
		}
		ids := mustVehicles(t, db, entry("Bus 1"))
		hold, err := db.WritePool().Beginx()
		if err != nil {
			t.Fatal(err)
		}
		defer hold.Rollback()
		if _, err := hold.Exec(`lock table vehicles in access exclusive mode`); err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for i := range asked {
			wg.Go(func() {
				d := fleet.DateOf(db.Now()) + fleet.Date(i)
				if err := db.AddAbsence(t.Context(), auth.AllFleets(), fleet.Absence{VehicleID: ids[0], First: &d, Last: &d}); err != nil {
					t.Error(err)
				}
			})
		}
		open := func() (n int) {
			if _, err := hold.Exec(`select pg_stat_clear_snapshot()`); err != nil { // a transaction sees one state of the server
				t.Fatal(err)
			}
			if err := hold.Get(&n, `select count(*) from pg_stat_activity where datname = current_database() and backend_type = 'client backend'`); err != nil {
				t.Fatal(err)
			}
			return n
		}
		got := 0
		for end := time.Now().Add(30 * time.Second); got < most && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			got = open()
		}
		time.Sleep(500 * time.Millisecond) // for those that were too many
		got = open()
		if got != most {
			t.Errorf("%d at once: got %d connections, want %d", asked, got, most)
		}
		if err := hold.Rollback(); err != nil {
			t.Error(err)
		}
		wg.Wait()
		ups, err := db.Upkeeps(t.Context(), auth.AllFleets(), ids, 0)
		if err != nil || len(ups[ids[0]].Absences) != asked {
			t.Errorf("got %d, %v: want all %d to be done in the end", len(ups[ids[0]].Absences), err, asked)
		}
	})
}
