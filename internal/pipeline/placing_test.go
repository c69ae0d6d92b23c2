package pipeline_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"testing"

	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestImportGivenUp: a file of more batches than are read ahead whose sender goes
// after the first leaves nothing behind, and waits for nobody. The readings are
// invented.
func TestImportGivenUp(t *testing.T) {
	var b bytes.Buffer
	b.WriteString(readingsHead)
	for i := range 120_000 {
		fmt.Fprintf(&b, "Cart 0,2025-%02d-%02d,,1,pad,left,inner,%.2f\n", 1+i/28%12, 1+i%28, 5+float64(i%1000)/100)
	}
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", "vehicle,category\nCart 0,N1\n", 1, 0, 0)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		batches := 0
		_, err := s.Import(ctx, all, "test", pipeline.File{
			Name: "readings.csv", Body: bytes.NewReader(b.Bytes()),
			Progress: func(pipeline.Progress) {
				batches++
				cancel()
			},
		})
		if !errors.Is(err, context.Canceled) || batches != 1 {
			t.Errorf("got %v after %d batches, want canceled after 1", err, batches)
		}
		ups, err := db.Uploads(t.Context(), all, 10, 0)
		if err != nil {
			t.Fatal(err)
		}
		if len(ups) != 1 {
			t.Errorf("%d uploads are kept, want that of the vehicle alone", len(ups))
		}
	})
}
