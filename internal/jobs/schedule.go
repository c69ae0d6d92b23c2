package jobs

import (
	"fmt"
	"time"

	"github.com/robfig/cron/v3"

	"brakewear/internal/fleet"
)

// schedule is a job's times on a wall clock. They are worked out on a clock
// that is never changed, and each is then looked up in the time zone: a time
// that clocks skip in spring comes as late as they are put forward, one that
// they show twice in autumn comes once, the first time (fleet.Date.At). Left to
// itself cron would not run the one and run the other twice.
type schedule struct{ cron.Schedule }

func parse(spec string) (schedule, error) {
	s, err := cron.ParseStandard(spec)
	if err != nil {
		return schedule{}, fmt.Errorf("time %q: %w", spec, err)
	}
	return schedule{s}, nil
}

// clockChange is more than any clock is changed by, so that the search for
// times after one does not begin too late on its wall clock.
const clockChange = 25 * time.Hour

// between returns the last scheduled time after handled and up to now, zero
// when there is none, and the first after now.
func (s schedule) between(loc *time.Location, handled, now time.Time) (last, next time.Time) {
	t := handled.In(loc)
	wall := fleet.DateOf(t).Time().Add(time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute).Add(-clockChange)
	for {
		wall = s.Next(wall)
		if wall.IsZero() {
			return last, next // cron found none within five years
		}
		at := fleet.DateOf(wall).At(wall.Hour()*60+wall.Minute(), loc)
		switch {
		case !at.After(handled):
		case at.After(now):
			return last, at
		default:
			last = at
		}
	}
}
