package store_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// awkward are n rows of what is easily changed on the way. Invented.
func awkward(n int) [][]any {
	texts := []string{"", `"`, `\`, `\N`, `\\x41`, "a\tb\r\nc", "null", "<&>", "\u2028é€𝄞", `{"a":[1]}`, "\x01", " "}
	numbers := []float64{0, math.Copysign(0, -1), .1 + .2, math.MaxFloat64, math.SmallestNonzeroFloat64, math.Inf(1), math.Inf(-1), -1e-7, 1 << 53}
	rows := make([][]any, n)
	for i := range rows {
		var by *fleet.Date
		if i%3 > 0 {
			d := day(1, 1) + fleet.Date(i)
			by = &d
		}
		bytes := []byte(strings.Repeat("\x00\xff\\", i%4))
		if i%5 == 0 {
			bytes = nil
		}
		var known any = bytes
		if i%7 == 0 {
			known = nil
		}
		rows[i] = []any{int64(i + 1), i % 4, by, i%2 == 0, store.Number(numbers[i%len(numbers)]), texts[i%len(texts)], known}
	}
	return rows
}

// Rows on a stage are the same without a table as with one, also where more or
// fewer take the place of others.
func TestFewRowsAreAsInATable(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	parts := [][][]any{
		awkward(60), awkward(store.FewRows + 1), {}, awkward(store.FewRows), awkward(store.FewRows + 40), awkward(1),
	}
	want, err := db.Staged(t.Context(), true, parts...)
	if err != nil {
		t.Fatal(err)
	}
	got, err := db.Staged(t.Context(), false, parts...)
	if err != nil {
		t.Fatal(err)
	}
	for i, part := range parts {
		if len(want[i]) != len(part) {
			t.Errorf("part %d: %d of %d rows in a table", i, len(want[i]), len(part))
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// What is no text is refused in the same words.
func TestFewRowsRefuseWhatIsNoText(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	for _, text := range []string{"a\x00b", "\xff"} {
		rows := awkward(3)
		rows[2][5] = text
		_, want := db.Staged(t.Context(), true, rows)
		_, got := db.Staged(t.Context(), false, rows)
		if want == nil || got == nil || got.Error() != want.Error() {
			t.Errorf("text %q: %v, want %v", text, got, want)
		}
	}
}
