package store_test

import (
	"errors"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestRequestKey(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		all, ctx := auth.AllFleets(), t.Context()
		none := func(*store.Writer) error { return nil }
		if _, err := db.UploadByKey(ctx, all, "feed", "k1"); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("of no request: got error %v, want ErrNotFound", err)
		}
		up := fleet.Upload{Kind: "odometer", SHA256: "ab", By: "feed", Key: "k1", Problems: []fleet.Problem{{Line: 1, Message: "blank", Refused: true}}}
		if err := db.TakeIn(ctx, all, &up, none); err != nil {
			t.Fatal(err)
		}
		got, err := db.UploadByKey(ctx, all, "feed", "k1")
		if err != nil {
			t.Fatal(err)
		}
		if got.ID != up.ID || got.Key != "k1" || len(got.Problems) != 1 {
			t.Errorf("got %+v, want upload %d with its problem", got, up.ID)
		}
		if _, err := db.UploadByKey(ctx, auth.ScopeOf([]int64{99}, nil), "feed", "k1"); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("of another scope: got error %v, want ErrNotFound", err)
		}
		again := fleet.Upload{Kind: "odometer", SHA256: "cd", By: "feed", Key: "k1"}
		if err := db.TakeIn(ctx, all, &again, none); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("the key again: got error %v, want ErrConflict", err)
		}
		ups, err := db.Uploads(ctx, all, 0, 0)
		if err != nil || len(ups) != 1 {
			t.Errorf("got %d uploads, %v; want the first alone", len(ups), err)
		}
		other := fleet.Upload{Kind: "odometer", SHA256: "cd", By: "another feed", Key: "k1"}
		if err := db.TakeIn(ctx, all, &other, none); err != nil {
			t.Errorf("the key of another sender: %v", err)
		}
	})
}
