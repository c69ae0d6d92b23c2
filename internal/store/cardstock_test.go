package store_test

import (
	"slices"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A card's part whose fitment was corrected twice before job cards followed that is the
// fitment that stands, after the migration; the others stay theirs.
func TestCardPartsMigrated(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			db := storetest.MustOpen(t, storetest.EmptyURL(t, dialect))
			if err := db.MigrateTo(t.Context(), 49); err != nil {
				t.Fatal(err)
			}
			v := visited(t, db)
			first := mustHistory(t, db, v).Fitments[0]
			opened, err := db.OpenCard(t.Context(), all, "N. N.", fleet.Card{VehicleID: v, Day: first.Date, Work: []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}}})
			if err != nil {
				t.Fatal(err)
			}
			last := first.ID
			for _, mm := range []float64{11, 11.5} {
				last = mustCorrect(t, db, fleet.Record{Kind: fleet.FitmentRecord, ID: last}, fleet.Change{MM: &mm})[0].StandsID
			}
			for _, id := range []int64{first.ID, last} {
				mustExec(t, db, `
					insert into job_card_parts (card_id, axle, part, side, number, batch, mm, measured, fitment_id, fitted_by, fitted_at)
					values (?, 1, 'pad', '', '', '', 12, ?, ?, 'N. N.', ?)`, opened.ID, false, id, store.Instant(db.Now()))
			}
			if err := db.Migrate(t.Context()); err != nil {
				t.Fatal(err)
			}
			card, err := db.Card(t.Context(), all, opened.ID)
			if err != nil {
				t.Fatal(err)
			}
			var got []int64
			for _, p := range card.Parts {
				got = append(got, p.FitmentID)
			}
			if want := []int64{last, last}; !slices.Equal(got, want) {
				t.Errorf("got fitments %d, want %d", got, want)
			}
		})
	}
}
