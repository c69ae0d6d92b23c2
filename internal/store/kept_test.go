package store_test

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"brakewear/internal/store"
)

// What several ask for at once is read once a version, and if that fails by each.
func TestKeptIsReadOnce(t *testing.T) {
	broken := errors.New("broken")
	for _, x := range []struct {
		name     string
		versions []string
		fails    bool // the first reading
		want     int32
	}{
		{"one version", []string{"1", "1", "1"}, false, 1},
		{"two versions", []string{"1", "2", "1", "2"}, false, 2},
		{"the first fails", []string{"1", "1", "1"}, true, 3},
		{"no version", []string{"", "", ""}, false, 3},
	} {
		t.Run(x.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var k store.KeptCounts
				var reads, failed atomic.Int32
				stored := make(chan struct{})
				read := func() (int, error) {
					n := reads.Add(1)
					<-stored
					if x.fails && n == 1 {
						return 0, broken
					}
					return 7, nil
				}
				var all sync.WaitGroup
				for _, version := range x.versions {
					all.Go(func() {
						switch got, err := k.Of(t.Context(), version, read); {
						case err == broken:
							failed.Add(1)
						case err != nil || got != 7:
							t.Errorf("got %d, %v, want 7", got, err)
						}
					})
				}
				synctest.Wait() // all wait: for the reading, or for who reads
				close(stored)
				all.Wait()
				if got := reads.Load(); got != x.want {
					t.Errorf("read %d times, want %d", got, x.want)
				}
				if got, want := failed.Load() == 1, x.fails; got != want {
					t.Errorf("%d failed, want a failure: %v", failed.Load(), want)
				}
			})
		})
	}
}

// Who waits for another's reading ends with the request, and a reading that
// panics leaves nobody waiting.
func TestKeptWaitsForNobodyElse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var k store.KeptCounts
		stored := make(chan struct{})
		go func() {
			defer func() { recover() }()
			k.Of(t.Context(), "1", func() (int, error) {
				<-stored
				panic("a fault")
			})
		}()
		synctest.Wait()
		over, end := context.WithCancel(t.Context())
		end()
		if _, err := k.Of(over, "1", nil); !errors.Is(err, context.Canceled) {
			t.Errorf("a request that is over: got %v, want %v", err, context.Canceled)
		}
		got := make(chan int)
		go func() {
			n, _ := k.Of(t.Context(), "1", func() (int, error) { return 7, nil })
			got <- n
		}()
		synctest.Wait()
		close(stored)
		if n := <-got; n != 7 {
			t.Errorf("beside a reading that panics: got %d, want 7", n)
		}
	})
}

// Who still reads an old version does not take the place of what was read of the new.
func TestKeptStaysWithTheNew(t *testing.T) {
	for _, x := range []struct {
		name  string
		begin bool // to read the old one before the new was read
	}{{"begun before", true}, {"begun after", false}} {
		t.Run(x.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var k store.KeptCounts
				of := func(version string, n int, wait <-chan struct{}) {
					got, err := k.Of(t.Context(), version, func() (int, error) {
						if wait != nil {
							<-wait
						}
						return n, nil
					})
					if err != nil || got != n {
						t.Errorf("version %s: got %d, %v, want %d", version, got, err, n)
					}
				}
				of("0", 5, nil)
				stored := make(chan struct{})
				if x.begin {
					go of("1", 6, stored)
					synctest.Wait()
				} else {
					of("1", 6, nil)
				}
				of("2", 7, nil)
				close(stored)
				synctest.Wait()
				if !x.begin {
					of("1", 6, nil)
				}
				if got, err := k.Of(t.Context(), "2", func() (int, error) { return 0, errors.New("read once more") }); err != nil || got != 7 {
					t.Errorf("the new version: got %d, %v, want the 7 that were kept", got, err)
				}
			})
		})
	}
}
