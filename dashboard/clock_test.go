package dashboard

import (
	"net/http"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
)

// Times go by the clock that an account chose, and otherwise by that of most
// depots, by whose day it is decided what is due as well. The tests' clock stands
// at 09:00 UTC on 2 March, and is put on to 17:00: in Tokyo (UTC+9, without
// summer time: the IANA time zone database) the next day has begun.
func TestReaderClock(t *testing.T) {
	w := small(t)
	if rec := w.get("/due.csv"); rec.Code != http.StatusOK {
		t.Fatalf("got %d", rec.Code)
	}
	check(t, parse(t, w.get("/readings").Body.String()), []has{{"time", "2 Mar 2026, 09:00 UTC"}})
	seen := w.seenBy(t, "tokyo", units.Reader{DistanceIn: units.Kilometres, ThicknessIn: units.Millimetres, DaysAs: units.DayMonth, Zone: "Asia/Tokyo"})
	check(t, parse(t, seen.get("/readings").Body.String()), []has{{"time", "2 Mar 2026, 18:00 JST"}})
	check(t, parse(t, seen.get("/account").Body.String()), []has{{"input[name=time_zone][value=Asia/Tokyo]", "*"}, {"#h-time_zone", "Left blank: UTC, that of most depots"}, {".listed small", "JST"}})
	check(t, parse(t, seen.get("/changes").Body.String()), []has{{".head p", "by the clock of Asia/Tokyo"}, {"time", "JST"}})

	for _, id := range []int64{1, 2} {
		if err := w.svc.DB.SetTimeZone(t.Context(), auth.AllFleets(), id, "Asia/Tokyo"); err != nil {
			t.Fatal(err)
		}
	}
	now := w.svc.Now()
	w.svc.Now = func() time.Time { return now.Add(8 * time.Hour) }
	w.svc.Clock = new(pipeline.Clock)
	before := w.svc.Today()
	check(t, parse(t, w.get("/overview").Body.String()), []has{{".as-of", "3 Mar 2026"}})
	if got := w.svc.Today(); got != before+1 {
		t.Errorf("got %s, want the day after %s", got, before)
	}
	check(t, parse(t, w.get("/readings").Body.String()), []has{{"time", "2 Mar 2026, 18:00 JST"}})
}
