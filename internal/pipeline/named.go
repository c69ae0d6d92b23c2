package pipeline

import (
	"context"
	"os"
	"path/filepath"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// ImportVehiclesNamedIn takes in the vehicles that an axles file names, for
// somebody who has no vehicles file: nothing but their number is known.
func (s *Service) ImportVehiclesNamedIn(ctx context.Context, sc auth.Scope, by, axlesFile string) error {
	f, err := os.Open(axlesFile)
	if err != nil {
		return fleet.Invalidf("%v", err)
	}
	defer f.Close()
	name := filepath.Base(axlesFile)
	r, err := ingest.NewReader(f, name, ingest.Options{Kind: ingest.Axles, Today: s.Today()})
	if err != nil {
		return err
	}
	defer r.Close()
	var entries []store.VehicleEntry
	seen := map[string]bool{}
	err = eachBatch(r, func(rows []ingest.Row) error {
		for _, row := range rows {
			if !seen[row.Vehicle] {
				seen[row.Vehicle] = true
				entries = append(entries, store.VehicleEntry{
					Fleet:   unnamedFleet,
					Depot:   unnamedDepot,
					Vehicle: fleet.Vehicle{Number: row.Vehicle},
				})
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	up := fleet.Upload{Kind: string(ingest.Vehicles), Name: name, SHA256: r.SHA256(), By: by}
	return s.DB.TakeIn(ctx, sc, &up, func(w *store.Writer) error {
		c, err := w.Vehicles(entries)
		up.Accepted = c.Added
		return err
	})
}
