package store_test

import (
	"math"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestCopyLine: PostgreSQL 15 documentation, COPY, "Text Format": \N is null, and a
// backslash goes before a backslash, newline (n), carriage return (r) and tab (t).
func TestCopyLine(t *testing.T) {
	got, err := store.CopyLine(
		nil, "", `\N`, "a\tb\nc\rd\\", "Š 7", 7, int64(-1), 0.1, 1e21, true, fleet.Pad,
		fleet.NewDate(2026, 2, 1), time.Date(2026, 2, 1, 3, 4, 5, 6000, time.UTC), []byte{0x01, 0xfe})
	want := `\N` + "\t\t" + `\\N` + "\t" + `a\tb\nc\rd\\` + "\tŠ 7\t7\t-1\t0.1\t1e+21\ttrue\tpad\t2026-02-01\t2026-02-01T03:04:05.000006Z\t" + `\\x01fe` + "\n"
	if err != nil || got != want {
		t.Errorf("got  %q, %v\nwant %q", got, err, want)
	}
	if _, err := store.CopyLine(struct{}{}); err == nil {
		t.Error("a struct is taken for a value")
	}
}

// TestReadingTexts: what people write comes back as they wrote it, of both
// databases, and so do numbers.
func TestReadingTexts(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"))
		var rs []fleet.Reading
		for i, text := range []string{`\N`, `\.`, "a\tb", "two\nlines\r\n", `back\slash\`, "", `\x41`, "Š 7"} {
			r := fleet.Reading{
				VehicleID: ids[0], Date: day(1, 1) + fleet.Date(i), OdometerKm: ptr(1e5 + 1.0/3), Position: pad(1, fleet.Left, fleet.Inner),
				MM: math.Nextafter(12, 13), Given: text, Unit: "mm", Gauge: text, Technician: text, Note: text, Line: i + 2,
			}
			rs = append(rs, r)
		}
		mustTakeIn(t, db, func(w *store.Writer) error {
			_, err := w.Readings(rs)
			return err
		})
		h, err := db.History(t.Context(), all, ids[0])
		if err != nil || len(h.Readings) != len(rs) {
			t.Fatalf("got %d readings, %v", len(h.Readings), err)
		}
		for i, got := range h.Readings {
			want := rs[i]
			if got.Given != want.Given || got.Note != want.Note || got.Gauge != want.Gauge || got.Technician != want.Technician ||
				got.MM != want.MM || *got.OdometerKm != *want.OdometerKm || got.Line != want.Line {
				t.Errorf("got %+v\nwant %+v", got, want)
			}
		}
	})
}
