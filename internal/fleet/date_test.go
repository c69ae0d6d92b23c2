package fleet

import (
	"testing"
	"time"
)

func TestDateScan(t *testing.T) {
	want := NewDate(2026, time.March, 4)
	for _, src := range []any{
		"2026-03-04",
		[]byte("2026-03-04"),
		"2026-03-04T00:00:00Z", // how lib/pq hands over a DATE scanned into text
		time.Date(2026, 3, 4, 0, 0, 0, 0, time.FixedZone("", 7200)),
	} {
		var got Date
		if err := got.Scan(src); err != nil {
			t.Errorf("Scan(%v): %v", src, err)
		}
		if got != want {
			t.Errorf("Scan(%v): got %v, want %v", src, got, want)
		}
	}
	var d Date
	for _, src := range []any{"4.3.2026", "0000-01-01", 7, nil} {
		if err := d.Scan(src); err == nil {
			t.Errorf("Scan(%v): got no error", src)
		}
	}
}

func TestDateRoundTrip(t *testing.T) {
	for _, s := range []string{"1969-12-31", "1970-01-01", "2000-02-29", "2026-11-25", "2100-03-01"} {
		d, err := ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		if got := d.String(); got != s {
			t.Errorf("got %s, want %s", got, s)
		}
	}
}
