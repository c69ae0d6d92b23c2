package fleet

import "time"

// At returns the instant at which clocks in loc show so many minutes after
// midnight on day d. Where they are put back and show a time twice, it is the
// first; where they are put forward past a time, it is as late after midnight
// as on any other day, so 02:30 becomes 03:30 (RFC 5545, 3.3.5).
func (d Date) At(minutes int, loc *time.Location) time.Time {
	wall := d.Time().Add(time.Duration(minutes) * time.Minute)
	// Clocks change at most once within a day either way: the time is read
	// with what they were ahead of UTC before, which also serves a gap, unless
	// they show it with what they are ahead after.
	before := wall.Add(-ahead(wall.Add(-24*time.Hour), loc))
	if !shows(before, wall, loc) {
		if after := wall.Add(-ahead(wall.Add(24*time.Hour), loc)); shows(after, wall, loc) {
			return after.In(loc)
		}
	}
	return before.In(loc)
}

// ahead is how far clocks in loc are ahead of UTC at t.
func ahead(t time.Time, loc *time.Location) time.Duration {
	_, seconds := t.In(loc).Zone()
	return time.Duration(seconds) * time.Second
}

// shows says whether clocks in loc show at t what wall shows in UTC.
func shows(t, wall time.Time, loc *time.Location) bool {
	return t.Add(ahead(t, loc)).Equal(wall)
}
