package pipeline

import (
	"context"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/openid"
	"brakewear/internal/store"
)

// DefaultRisk is the accepted chance that an axle is already past its limit
// on its book-by date, until a workshop sets its own.
const DefaultRisk = 0.05

// Service is the verbs over one database.
type Service struct {
	DB      *store.DB
	Risk    float64 // accepted risk of a book-by date; 0 = DefaultRisk
	Model   string  // model to forecast with; "" = DefaultModel
	Workers int     // forecasts at once; 0 = one per processor
	// Forecasted is told of every few hundred vehicles that a refit is done
	// with, or one day of a replay, by several at a time; nil = nobody.
	Forecasted func(vehicles int)
	// Desk does what may outlast a request; nil = the request waits for all of
	// it. See OpenDesk.
	Desk *Desk
	Now  func() time.Time // nil = time.Now
	// Clock keeps by whose clock it is which day; nil = the machine's.
	Clock *Clock
	// Overviews keeps overviews while nothing is written; nil = each is worked
	// out anew.
	Overviews *Overviews
	// Remembered keeps the model and forecasts that were looked at; nil = each
	// is worked out anew.
	Remembered *Remembered

	Second     SecondRule       // "" = SecondOptional
	Keys       auth.Keys        // of the secrets of second factors
	OpenID     *openid.Provider // people may sign in with; nil = none is set
	Mail       *mail.Server     // nil = none is set
	URL        string           // address that people reach the pages at, without a path; "" = no links in what is sent
	BackupDir  string           // folder of nightly backups; "" = beside the embedded database
	BackupKeep int              // nightly backups kept; 0 = DefaultBackups

	holds     bool       // vehicles from before they are read; see takeAtOnce
	foresight *foresight // see takeAhead

	// In tests, shorter than what share.go and warm.go say.
	shareVehicles int
	shareLease    time.Duration
	shelf         int // rows
	warmEvery     time.Duration
}

// lookup calls fn with a Service that finds what it asks for by keys, in one state
// of the database. It is for one goroutine, and for reading.
func (s *Service) lookup(ctx context.Context, what string, fn func(s *Service) error) error {
	return s.DB.Lookup(ctx, what, func(state *store.DB) error {
		within := *s
		within.DB = state
		return fn(&within)
	})
}

// AcceptedRisk is the accepted chance behind book-by dates.
func (s *Service) AcceptedRisk() float64 {
	if s.Risk == 0 {
		return DefaultRisk
	}
	return s.Risk
}

// Today is the civil day forecasts are made for, and by which it is decided what
// is due: that of most depots once their clock is known, as nights go by it.
func (s *Service) Today() fleet.Date { return s.dayOf(s.now()) }

// dayOf is the civil day of an instant on the clock that Today goes by.
func (s *Service) dayOf(t time.Time) fleet.Date {
	if home := s.home(); home != nil {
		return fleet.DateOf(t.In(home))
	}
	return fleet.DateOf(t.In(s.now().Location()))
}

func (s *Service) now() time.Time {
	if s.Now == nil {
		return time.Now()
	}
	return s.Now()
}
