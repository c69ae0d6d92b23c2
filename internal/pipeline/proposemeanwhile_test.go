package pipeline

import (
	"testing"
	"time"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A proposal is of when the bookings were read, not of when it was kept: what people
// do while it is worked out is held against it.
func TestProposeMeanwhile(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)
		was := db.Now()
		var read time.Time // the first time that is asked for
		db.Now = func() time.Time {
			was = was.Add(time.Second)
			if read.IsZero() {
				read = was
			}
			return was
		}
		if p := s.propose(); !p.At.Equal(read) || was.Equal(read) {
			t.Errorf("got a proposal of %s, want of %s", p.At, read)
		}
	})
}
