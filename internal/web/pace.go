package web

import (
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Pace is how much may be sent in a minute, at once or bit by bit. 0 is no
// bound.
type Pace struct {
	Files   int // files, by one account
	Changes int // everything else that is sent, by one account
}

// Defaults of a Pace (common practice, no source): a file a second, more than
// a person picks, and what a program sends that reports vehicle by vehicle.
const (
	FilesPerMinute   = 60
	ChangesPerMinute = 600
)

// perAddress is how many accounts at full pace one address may be: a whole
// workshop, with its phones and programs, may share one.
const perAddress = 10

// takesFile names the routes that are told of a whole file, beside Routes.
var takesFile = map[string]bool{
	"POST /readings":       true,
	"POST /api/v1/uploads": true,
	"POST /api/v1/files":   true,
	"POST /api/v1/checks":  true,
}

// of returns the bound that a rule is under, and what is counted.
func (p Pace) of(r Rule) (perMinute int, what string) {
	switch {
	case r.Method == http.MethodGet || r.Method == http.MethodHead:
		return 0, ""
	case takesFile[r.Method+" "+r.Path]:
		return p.Files, "files"
	}
	return p.Changes, "changes"
}

// Keep makes who sends more than p wait: each account, its programs apart from
// its people, and each address. It goes behind Guard, and holds for one
// process.
func (p Pace) Keep(now func() time.Time) gin.HandlerFunc {
	var due dues
	return Handle(func(c *gin.Context) error {
		rule, ok := RuleOf(c.Request.Method, c.FullPath())
		perMinute, what := p.of(rule)
		if !ok || perMinute == 0 {
			return nil
		}
		interval := time.Minute / time.Duration(perMinute)
		var wait time.Duration
		if who := SignedIn(c); rule.Right != auth.Public {
			key := fmt.Sprintf("%s by %d", what, who.Account)
			if who.Session == 0 {
				key += " by token"
			}
			wait = due.add(now(), key, interval, time.Minute)
		}
		if wait == 0 {
			// Last, so that what an account is refused is not held against others.
			wait = due.add(now(), what+" from "+Origin(c), interval/perAddress, time.Minute)
		}
		if wait == 0 {
			return nil
		}
		return &fleet.WaitError{For: wait, Why: fmt.Sprintf("Too many %s were sent within a minute. Nothing of this one was taken: send it again in %d s.", what, int(wait.Seconds())+1)}
	})
}

// maxDues bounds what is remembered at a time, some 100 bytes each.
const maxDues = 20_000

// dues holds, by key, until when what came has been paid for: each thing
// counts for an interval, and a span may be owed (the virtual scheduling
// algorithm of ITU-T I.371; from memory). The zero value is ready.
type dues struct {
	mu sync.Mutex
	// What came of late, and before that: when the first is full the second is
	// forgotten, so that memory stays bounded.
	late, before map[string]time.Time
}

// add counts one more under key, and returns 0, or how long to wait when that
// would be more than the span holds.
func (d *dues) add(now time.Time, key string, interval, span time.Duration) time.Duration {
	d.mu.Lock()
	defer d.mu.Unlock()
	until, ok := d.late[key]
	if !ok {
		until = d.before[key]
	}
	if until.Before(now) {
		until = now
	}
	until = until.Add(interval)
	if wait := until.Sub(now) - span; wait > 0 {
		return wait
	}
	if !ok && len(d.late) >= maxDues/2 {
		d.late, d.before = nil, d.late
	}
	if d.late == nil {
		d.late = map[string]time.Time{}
	}
	d.late[key] = until
	return 0
}
