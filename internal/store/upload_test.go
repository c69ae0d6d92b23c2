package store_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestUploads(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		at := time.Date(2025, 3, 1, 8, 30, 0, 123456789, time.FixedZone("", 3600))
		db.Now = func() time.Time { at = at.Add(time.Minute); return at }
		sent := fleet.Upload{Kind: "readings", Name: "march.csv", SHA256: strings.Repeat("a", 64), By: "N. N."}
		problems := []fleet.Problem{
			{Line: 3, Column: "value_mm", Read: "12,x", Message: "want a number", Refused: true},
			{Message: "no odometer given"},
			{Line: 9, Read: "\xff\x00", Message: "not text"},
		}
		err := db.TakeIn(t.Context(), all, &sent, func(w *store.Writer) error {
			if sent.ID == 0 || sent.At.IsZero() {
				t.Error("fill does not know the upload's id and time")
			}
			sent.Accepted, sent.Refused, sent.Repeated, sent.Doubtful = 7, 1, 2, 3
			sent.Problems = problems
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		got, err := db.Upload(t.Context(), all, sent.ID)
		if err != nil {
			t.Fatal(err)
		}
		want := sent
		want.At = time.Date(2025, 3, 1, 7, 31, 0, 123456000, time.UTC)
		want.Problems = append(problems[:2:2], fleet.Problem{Line: 9, Read: "\uFFFD\uFFFD", Message: "not text"})
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
		if _, err := db.Upload(t.Context(), all, sent.ID+1); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("of an upload that is not there: got %v, want not found", err)
		}

		for range 4 {
			mustTakeIn(t, db, func(*store.Writer) error { return nil })
		}
		ids := func(limit int, before int64) (ids []int64) {
			ups, err := db.Uploads(t.Context(), all, limit, before)
			if err != nil {
				t.Fatal(err)
			}
			for _, up := range ups {
				ids = append(ids, up.ID)
			}
			return ids
		}
		for _, c := range []struct {
			limit  int
			before int64
			want   []int64
		}{
			{2, 0, []int64{5, 4}},
			{2, 4, []int64{3, 2}},
			{2, 2, []int64{1}},
			{2, 1, nil},
			{0, 0, []int64{5, 4, 3, 2, 1}},
		} {
			if d := cmp.Diff(c.want, ids(c.limit, c.before)); d != "" {
				t.Errorf("%d before %d: %s", c.limit, c.before, d)
			}
		}
	})
}

func TestUploadByHash(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		take := func(hash string, refused int) int64 {
			up := fleet.Upload{Kind: "readings", SHA256: hash, Refused: refused}
			if err := db.TakeIn(t.Context(), all, &up, func(*store.Writer) error { return nil }); err != nil {
				t.Fatal(err)
			}
			return up.ID
		}
		take("a", 1) // its refused row may be taken now
		first := take("a", 0)
		take("a", 0)
		take("b", 1)
		for _, c := range []struct {
			kind, hash string
			want       int64 // 0: not found
		}{
			{"readings", "a", first},
			{"odometer", "a", 0},
			{"readings", "b", 0},
			{"readings", "c", 0},
		} {
			got, err := db.UploadByHash(t.Context(), all, c.kind, c.hash)
			if c.want == 0 && !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("%s %s: got %v, %v; want not found", c.kind, c.hash, got.ID, err)
			}
			if c.want != 0 && (err != nil || got.ID != c.want) {
				t.Errorf("%s %s: got %d, %v; want %d", c.kind, c.hash, got.ID, err, c.want)
			}
		}
	})
}
