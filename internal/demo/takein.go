package demo

import (
	"bytes"
	"context"
	"fmt"
	"iter"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// TakeIn imports the vehicles' records the way a workshop would, as files, and
// picks a rule set for the island, so that its brake tests are judged. It is
// meant for fleets that fit into memory.
func TakeIn(ctx context.Context, svc *pipeline.Service, vehicles iter.Seq[*Vehicle]) error {
	// In the order in which one hangs on another.
	files := []struct {
		kind         ingest.Kind
		name, header string
		body         bytes.Buffer
		table        *table
	}{
		{kind: ingest.Vehicles, name: vehiclesFile, header: vehiclesHeader},
		{kind: ingest.Axles, name: axlesFile, header: axlesHeader},
		{kind: ingest.Odometer, name: odometerFile, header: odometerHeader},
		{kind: ingest.Fitments, name: fitmentsFile, header: fitmentsHeader},
		{kind: ingest.Readings, name: readingsFile, header: readingsHeader},
		{kind: ingest.BrakeTests, name: brakeTestsFile, header: brakeTestsHeader},
	}
	for i := range files {
		f := &files[i]
		f.table = newTable(f.name, &f.body, f.header)
	}
	rec := records{
		vehicles: files[0].table, axles: files[1].table, odometer: files[2].table,
		fitments: files[3].table, readings: files[4].table,
	}
	island := false
	for v := range vehicles {
		rec.write(v)
		writeTests(files[5].table, v, svc.Today())
		island = island || v.Fleet == islandFleet
	}
	for i := range files {
		f := &files[i]
		if err := f.table.close(); err != nil {
			return err
		}
		if f.kind == ingest.BrakeTests && !island {
			continue
		}
		up, err := svc.Import(ctx, auth.AllFleets(), "demo", pipeline.File{
			Name: f.name, Kind: f.kind, Body: bytes.NewReader(f.body.Bytes()),
		})
		if err != nil {
			return fmt.Errorf("take in %s: %w", f.name, err)
		}
		for _, p := range up.Problems {
			if p.Refused {
				return fmt.Errorf("take in %s: line %d, %s %q: %s", f.name, p.Line, p.Column, p.Read, p.Message)
			}
		}
	}
	if island {
		if err := pickIslandRules(ctx, svc); err != nil {
			return err
		}
		return setUpIsland(ctx, svc)
	}
	return nil
}

// pickIslandRules gives the island's fleet a rule set. An island nobody has
// heard of has no law of its own.
func pickIslandRules(ctx context.Context, svc *pipeline.Service) error {
	fs, err := svc.DB.Fleets(ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	for _, f := range fs {
		if f.Name != islandFleet {
			continue
		}
		c := store.RuleChoice{FleetID: f.ID, RuleSet: "eu", Reason: fleet.Reason{Why: "for the demo", By: "demo"}}
		if err := svc.DB.PickRules(ctx, auth.AllFleets(), c); err != nil {
			return err
		}
	}
	return nil
}
