package pipeline_test

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What is written is in the due-soon list before anybody asks for it.
func TestDueKeptWarm(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		s.SetWarmEvery(5 * time.Millisecond)
		watched, asked := storetest.Watch(t.Context())
		reads := func() (n int) {
			for _, q := range asked.Queries() {
				if strings.Contains(q, "from axle_forecasts") {
					n++
				}
			}
			return n
		}
		until := func(ok func() bool) {
			t.Helper()
			for end := time.Now().Add(time.Minute); !ok(); time.Sleep(5 * time.Millisecond) {
				if time.Now().After(end) {
					t.Fatal("not within a minute")
				}
			}
		}
		now := s.Now
		var looks atomic.Int32
		s.Now = func() time.Time { looks.Add(1); return now() }
		end := keepWarm(watched, s, slog.DiscardHandler)
		defer end()
		until(func() bool { return looks.Load() > 2 }) // a day takes two: the first reading is through
		was := reads()
		mustImport(t, s, "vehicles.csv", "vehicle,fleet,depot\nBus 1,North,Quay\n", 1, 0, 0)
		until(func() bool { return reads() > was })
	})
}

// A failure, and a panic, are told of once and end nothing.
func TestDueNotKeptWarm(t *testing.T) {
	s := newService(storetest.Open(t, store.SQLite))
	s.SetWarmEvery(time.Millisecond)
	now := s.Now
	var mu sync.Mutex
	looked := 0
	enough := make(chan bool)
	s.Now = func() time.Time {
		mu.Lock()
		defer mu.Unlock()
		switch looked++; {
		case looked == 40:
			close(enough)
		case looked < 20:
			panic("as should never be")
		case looked == 20:
			if err := s.DB.Close(); err != nil {
				t.Error(err)
			}
		}
		return now()
	}
	var said strings.Builder
	end := keepWarm(t.Context(), s, slog.NewTextHandler(&said, nil))
	<-enough
	end()
	if got := strings.Count(said.String(), "was not read ahead"); got != 2 || !strings.Contains(said.String(), "as should never be") {
		t.Errorf("told of %d failures, want the panic and that the database is closed: %s", got, &said)
	}
}

// keepWarm keeps the due-soon list of s warm until end.
func keepWarm(ctx context.Context, s *pipeline.Service, log slog.Handler) (end func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.KeepDueWarm(ctx, slog.New(log))
	}()
	return func() { cancel(); <-done }
}
