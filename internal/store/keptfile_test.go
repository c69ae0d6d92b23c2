package store_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestKeptFiles(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		now := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		ctx := t.Context()
		mine := auth.ScopeOf([]int64{7}, []int64{8, 9}).WithPlanning(auth.ScopeOf(nil, []int64{9}))
		body := bytes.Repeat([]byte("a,b\x00\xff\n"), 1<<19) // three parts and a bit
		keep := func(state store.FileState) store.KeptFile {
			t.Helper()
			f := store.KeptFile{
				SHA256: "ab", Name: "march.csv", Kind: "readings", DateOrder: "dmy", By: "Ada", Scope: mine,
				Bytes: int64(len(body)), State: state,
			}
			if err := db.KeepFile(ctx, &f, time.Hour, bytes.NewReader(body)); err != nil {
				t.Fatal(err)
			}
			return f
		}
		f := keep(store.FileChecking)
		got, err := db.KeptFile(ctx, mine, "Ada", f.ID)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(f, got, cmp.AllowUnexported(auth.Scope{})); d != "" {
			t.Errorf("what was kept came back otherwise:\n%s", d)
		}
		var out bytes.Buffer
		if err := db.CopyKept(ctx, f.ID, &out); err != nil || !bytes.Equal(out.Bytes(), body) {
			t.Errorf("%d bytes came back, %v; want the %d that were kept", out.Len(), err, len(body))
		}
		if again := keep(store.FileTaking); again.ID != f.ID || again.State != store.FileChecking {
			t.Errorf("sent again while it is checked: %+v, want the same file", again)
		}
		if ids, err := db.WorkingFiles(ctx); err != nil || len(ids) != 1 || ids[0] != f.ID {
			t.Errorf("to be worked on: %v, %v", ids, err)
		}
		if _, err := db.TakeFile(ctx, mine, "Ada", f.ID); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("taken in before the check is over: %v, want ErrConflict", err)
		}
		f.State, f.Report, f.ReadRows = store.FileChecked, json.RawMessage(`{"accepted":1}`), 12
		if err := db.SaveKept(ctx, &f); err != nil {
			t.Fatal(err)
		}

		t.Run("its sender", func(t *testing.T) {
			for what, sc := range map[string]auth.Scope{
				"who looks, of whom nobody asks where he plans": mine.Measuring(),
				"who plans elsewhere by now":                    mine.Measuring().WithPlanning(auth.ScopeOf([]int64{7}, nil)),
			} {
				if _, err := db.KeptFile(ctx, sc, "Ada", f.ID); err != nil {
					t.Errorf("%s: got %v, want the file", what, err)
				}
				if fs, err := db.KeptFiles(ctx, sc, "Ada"); err != nil || len(fs) != 1 {
					t.Errorf("%s lists %v, %v; want the file", what, fs, err)
				}
			}
		})
		t.Run("who measures everywhere and plans nowhere", func(t *testing.T) {
			sc := all.WithPlanning(auth.Scope{})
			if _, err := db.TakeFile(ctx, sc, "Bob", f.ID); !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("takes in what came with the right to plan: %v, want ErrNotFound", err)
			}
		})
		t.Run("another sender", func(t *testing.T) {
			if _, err := db.KeptFile(ctx, mine, "Bob", f.ID); !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("reads it: %v, want ErrNotFound", err)
			}
			if _, err := db.TakeFile(ctx, mine, "Bob", f.ID); !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("takes it: %v, want ErrNotFound", err)
			}
			if err := db.DropFile(ctx, mine, "Bob", f.ID); !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("drops it: %v, want ErrNotFound", err)
			}
			if fs, err := db.KeptFiles(ctx, mine, "Bob"); err != nil || len(fs) != 0 {
				t.Errorf("lists %v, %v", fs, err)
			}
			if _, err := db.KeptFile(ctx, auth.ScopeOf([]int64{6}, nil), "Ada", f.ID); !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("of the same name, on another fleet, reads it: %v, want ErrNotFound", err)
			}
			if fs, err := db.KeptFiles(ctx, all, "Bob"); err != nil || len(fs) != 1 || fs[0].Report != nil {
				t.Errorf("one who sees all lists %v, %v; want the file, without its report", fs, err)
			}
		})
		for _, want := range []store.FileState{store.FileTaking, store.FileTaking} { // twice: an impatient click
			if got, err := db.TakeFile(ctx, mine, "Ada", f.ID); err != nil || got.State != want || string(got.Report) != string(f.Report) {
				t.Errorf("take in: %+v, %v", got, err)
			}
		}
		if err := db.DropFile(ctx, mine, "Ada", f.ID); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("dropped on its way: %v, want ErrConflict", err)
		}
		now = now.Add(2 * time.Hour)
		if n, err := db.ExpireFiles(ctx); err != nil || n != 0 {
			t.Errorf("%d forgotten on their way, %v", n, err)
		}
		up := fleet.Upload{Kind: "readings", Name: "march.csv", By: "Ada"}
		if err := db.TakeIn(ctx, all, &up, func(w *store.Writer) error { return w.FileTaken(f.ID) }); err != nil {
			t.Fatal(err)
		}
		now = now.Add(-2 * time.Hour)
		if got, err = db.KeptFile(ctx, mine, "Ada", f.ID); err != nil || got.State != store.FileTaken || got.UploadID != up.ID {
			t.Errorf("taken in: %+v, %v", got, err)
		}
		got.State = store.FileDone
		if err := db.SaveKept(ctx, &got); err != nil {
			t.Fatal(err)
		}
		if n := count(t, db, "select count(*) from kept_file_parts"); n != 0 {
			t.Errorf("%d parts are kept of a file that is done with", n)
		}
		if fs, err := db.KeptFiles(ctx, all, ""); err != nil || len(fs) != 0 {
			t.Errorf("lists %v, %v; want none that is done with", fs, err)
		}
		if second := keep(store.FileChecking); second.ID == f.ID || second.State != store.FileChecking {
			t.Errorf("handed in again: %+v, want it checked anew", second)
		}
		now = now.Add(2 * time.Hour)
		if n, err := db.ExpireFiles(ctx); err != nil || n != 1 {
			t.Errorf("%d forgotten, %v; want 1", n, err)
		}
		if n := count(t, db, "select count(*) from kept_file_parts"); n != 0 {
			t.Errorf("%d parts outlive their file", n)
		}
	})
}

func TestKeptFilesAreBounded(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		f := store.KeptFile{SHA256: "ab", Name: "huge.csv", State: store.FileChecking, Bytes: 5 << 30}
		if err := db.KeepFile(t.Context(), &f, time.Hour, bytes.NewReader(nil)); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("5 GB: got %v, want ErrConflict", err)
		}
	})
}

func TestTouchedBy(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		vs := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"), entry("Bus 4"), entry("Bus 5"))
		up := mustTakeIn(t, db, func(w *store.Writer) error {
			_, err1 := w.Readings([]fleet.Reading{reading(vs[0], day(3, 1), 8)})
			_, err2 := w.Odometers([]fleet.Odometer{{VehicleID: vs[1], Date: day(3, 1), Km: 1}})
			_, err3 := w.Fitments([]fleet.Fitment{{VehicleID: vs[3], Position: pad(1, "", ""), Date: day(2, 1), MM: 20}})
			return errors.Join(err1, err2, err3)
		})
		mustReadings(t, db, reading(vs[4], day(3, 1), 8))
		got, err := db.TouchedBy(t.Context(), all, up.ID)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff([]int64{vs[0], vs[1], vs[3]}, got); d != "" {
			t.Error(d)
		}
		if got, err := db.TouchedBy(t.Context(), auth.ScopeOf([]int64{99}, nil), up.ID); err != nil || len(got) != 0 {
			t.Errorf("another scope: got %v, %v; want none", got, err)
		}
	})
}
