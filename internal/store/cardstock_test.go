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

// What a card used leaves the shelf once: with the booking where that was marked done by
// itself, else with the card.
func TestCardTakesWhatItsBookingDidNot(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := visited(t, db)
		first := mustHistory(t, db, v).Fitments[0]
		home := mustHistory(t, db, v).Vehicle
		part, err := db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: home.FleetID, Number: "P-300", Item: fleet.ItemPads, PerAxle: 1})
		if err != nil {
			t.Fatal(err)
		}
		for ended, want := range map[fleet.BookingState]int{fleet.Missed: 2, fleet.Withdrawn: 2, fleet.Done: 3} {
			b := mustBook(t, db, job(v, home.DepotID, monday))
			card, err := db.OpenCard(t.Context(), all, "N. N.", fleet.Card{VehicleID: v, BookingID: b.ID, Day: monday, Work: b.Work})
			if err != nil {
				t.Fatal(err)
			}
			mustExec(t, db, `
				insert into job_card_parts (card_id, axle, part, side, number, batch, mm, measured, fitment_id, fitted_by, fitted_at)
				values (?, 1, 'pad', '', 'P-300', '', 12, ?, ?, 'N. N.', ?)`, card.ID, false, first.ID, store.Instant(db.Now()))
			err = db.SetStock(t.Context(), all, part, home.DepotID, 3)
			if err == nil {
				_, err = db.EndBooking(t.Context(), all, "N. N.", b.ID, ended, "")
			}
			if err == nil {
				_, err = db.CloseCard(t.Context(), all, "N. N.", card.ID, fleet.CardNotPassed, "")
			}
			if err != nil {
				t.Fatal(err)
			}
			p, err := db.StockPart(t.Context(), all, part)
			if err != nil {
				t.Fatal(err)
			}
			if got := p.Stock[0].Quantity; got != want {
				t.Errorf("booking %s: got %d on the shelf, want %d", ended, got, want)
			}
		}
	})
}
