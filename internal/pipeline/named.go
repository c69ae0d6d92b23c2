package pipeline

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// ImportVehiclesNamedIn takes in the vehicles that an axles file names, for
// somebody who has no vehicles file: nothing but their number is known.
func (s *Service) ImportVehiclesNamedIn(ctx context.Context, sc fleet.Scope, by, axlesFile string) error {
	f, err := os.Open(axlesFile)
	if err != nil {
		return fleet.Invalidf("%v", err)
	}
	defer f.Close()
	name := filepath.Base(axlesFile)
	r, err := ingest.NewReader(f, name, ingest.Options{Kind: ingest.Axles, Today: s.today()})
	if err != nil {
		return err
	}
	var entries []store.VehicleEntry
	seen := map[string]bool{}
	rows := make([]ingest.Row, batchRows)
	for {
		n, err := r.Read(rows)
		for _, row := range rows[:n] {
			if !seen[row.Vehicle] {
				seen[row.Vehicle] = true
				entries = append(entries, store.VehicleEntry{
					Fleet:   unnamedFleet,
					Depot:   unnamedDepot,
					Vehicle: fleet.Vehicle{Number: row.Vehicle},
				})
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
	}
	up := fleet.Upload{Kind: string(ingest.Vehicles), Name: name, SHA256: r.SHA256(), By: by}
	return s.DB.TakeIn(ctx, sc, &up, func(w *store.Writer) error {
		c, err := w.Vehicles(entries)
		up.Accepted = c.Added
		return err
	})
}
