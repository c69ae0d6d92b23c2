package pipeline

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Fleets fail each in its own way: the others are planned, unless it is the database
// that fails, of which the run itself is to tell.
func TestProposeEach(t *testing.T) {
	var fs []fleet.Fleet
	for i := range 8 {
		fs = append(fs, fleet.Fleet{ID: int64(i), Name: fmt.Sprint(i)})
	}
	seven := "Not planned: plan fleet 0: the log says why; plan fleet 1: the log says why; plan fleet 2: the log says why; " +
		"plan fleet 3: the log says why; plan fleet 4: the log says why; and 2 more."
	for _, c := range []struct {
		name  string
		fails func(i int64) error
		want  string // end of what is said
		calls int
	}{
		{"a panic", func(i int64) error {
			if i == 2 {
				panic("as should never be")
			}
			return nil
		}, "Planned 7 fleets: 0 axles placed, 0 without a place. Not planned: plan fleet 2: the log says why.", 8},
		{"a conflict", failsAt(3, fmt.Errorf("plan fleet 3: %w", fleet.Conflictf("it was changed meanwhile"))), "Not planned: plan fleet 3: it was changed meanwhile.", 8},
		{"gone meanwhile", failsAt(3, fleet.NotFoundf("fleet 3: there is none")), "Not planned: fleet 3: there is none.", 8},
		{"all but one", func(i int64) error {
			if i == 7 {
				return nil
			}
			return errors.New("secret of the log")
		}, seven, 8},
		{"full", failsAt(2, fleet.ErrFull), "", 3},
		{"read only", failsAt(2, fleet.ErrReadOnly), "", 3},
		{"damaged", failsAt(2, fleet.ErrDamaged), "", 3},
		{"away", failsAt(2, fleet.ErrUnavailable), "", 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			calls := 0
			did, err := proposeEach(t.Context(), fs, func(f fleet.Fleet) ([]store.Proposal, error) {
				calls++
				if err := c.fails(f.ID); err != nil {
					return nil, err
				}
				return make([]store.Proposal, 1), nil
			})
			if err == nil || calls != c.calls || !strings.HasSuffix(did, c.want) || c.want == "" && did != "" {
				t.Errorf("got %q, %v after %d fleets; want %q after %d", did, err, calls, c.want, c.calls)
			}
		})
	}
}

func failsAt(at int64, err error) func(int64) error {
	return func(i int64) error {
		if i == at {
			return err
		}
		return nil
	}
}
