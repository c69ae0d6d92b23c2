package demo

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A full disk is told of once, not for each of the files.
func TestWriteCSVToAFullDisk(t *testing.T) {
	if _, err := os.Stat("/dev/full"); err != nil {
		t.Skip("there is no /dev/full here: ", err)
	}
	dir := t.TempDir()
	for _, name := range []string{vehiclesFile, readingsFile, fitmentsFile} {
		if err := os.Symlink("/dev/full", filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	err := WriteCSV(dir, Options{Vehicles: 3, Seed: 1, Until: 20500, Years: 2})
	if err == nil || strings.Count(err.Error(), "no space left") != 1 {
		t.Errorf("got %v, want one line", err)
	}
}
