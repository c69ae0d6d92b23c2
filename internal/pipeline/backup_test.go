package pipeline_test

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The newest stay; what is not a nightly backup is left alone.
func TestBackUpKeepsTheNewest(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a [folder]*")
	now := time.Date(2026, 3, 1, 1, 0, 0, 0, time.UTC)
	s := &pipeline.Service{DB: storetest.Open(t, store.SQLite), BackupDir: dir, BackupKeep: 3, Now: func() time.Time { return now }}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"brakewear-before-move.db", "brakewear-20200101T000000Z.db.txt", "notes.txt", "brakewear-20200101T000000Z.db.partial"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for range 5 {
		if _, err := s.BackUp(t.Context()); err != nil {
			t.Fatal(err)
		}
		now = now.Add(24 * time.Hour)
	}
	var got []string
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		got = append(got, f.Name())
	}
	want := []string{
		"brakewear-20200101T000000Z.db.txt",
		"brakewear-20260303T010000Z.db", "brakewear-20260304T010000Z.db", "brakewear-20260305T010000Z.db",
		"brakewear-before-move.db", "notes.txt",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if b, err := store.CheckBackup(t.Context(), filepath.Join(dir, want[3])); err != nil || b.Schema == 0 {
		t.Errorf("got %+v, %v", b, err)
	}
}
