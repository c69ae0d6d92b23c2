package pipeline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// DefaultBackups is how many nightly backups are kept: a week's.
const DefaultBackups = 7

// Nightly backups are named by the second, in UTC, so that they sort.
const (
	backupPrefix = "brakewear-"
	backupTime   = "20060102T150405Z"
	backupSuffix = ".db"
)

// backupDir is where nightly backups go: beside the database unless set.
func (s *Service) backupDir() string {
	if s.BackupDir != "" {
		return s.BackupDir
	}
	return s.DB.File() + ".backups"
}

// BackUp makes a backup of the embedded database in the folder for them, and
// removes the oldest there beyond those to be kept. Nothing is removed unless
// the new one is whole.
func (s *Service) BackUp(ctx context.Context) (store.Backup, error) {
	dir := s.backupDir()
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return store.Backup{}, fleet.Invalidf("folder for backups: %v", err)
	}
	name := backupPrefix + s.now().UTC().Format(backupTime) + backupSuffix
	b, err := s.DB.Backup(ctx, filepath.Join(dir, name))
	if err != nil {
		return b, err
	}
	old, halves, err := backups(dir)
	if err != nil {
		return b, err
	}
	keep := s.BackupKeep
	if keep <= 0 {
		keep = DefaultBackups
	}
	for _, path := range append(halves, old[:max(0, len(old)-keep)]...) {
		err = errors.Join(err, os.Remove(path))
	}
	if err != nil {
		return b, fmt.Errorf("remove old backups: %w", err)
	}
	return b, nil
}

// backups returns the nightly backups in a folder, oldest first, and what a
// program that was ended in the midst of one left behind. Other files are none
// of ours.
func backups(dir string) (whole, halves []string, err error) {
	all, err := os.ReadDir(dir) // by name
	if err != nil {
		return nil, nil, fmt.Errorf("list backups: %w", err)
	}
	for _, f := range all {
		name, half := strings.CutSuffix(f.Name(), store.Partial)
		stamp := strings.TrimSuffix(strings.TrimPrefix(name, backupPrefix), backupSuffix)
		if _, err := time.Parse(backupTime, stamp); err != nil || name != backupPrefix+stamp+backupSuffix {
			continue
		}
		if path := filepath.Join(dir, f.Name()); half {
			halves = append(halves, path)
		} else {
			whole = append(whole, path)
		}
	}
	return whole, halves, nil
}

func backupJob(s *Service) Job {
	return Job{
		Name:  "backup",
		What:  "Copies the embedded database to a file, checks the copy, and removes the oldest.",
		Spec:  "0 1 * * *",
		Limit: 3 * time.Hour,
		Run: func(ctx context.Context, _ string) (string, error) {
			b, err := s.BackUp(ctx)
			if err != nil {
				return "", err
			}
			// The backup is there, whether that can be told or not.
			if err := s.DB.TellTaken(ctx, "backed up", "to "+filepath.Base(b.Path)); err != nil && !errors.Is(err, fleet.ErrUnavailable) {
				return "", err
			}
			return fmt.Sprintf("Wrote %s: %d rows, %d kB.", filepath.Base(b.Path), b.Total(), (b.Bytes+1023)/1024), nil
		},
	}
}
