package pipeline_test

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Work that no request stands above panics: the reading of a file, the forecasts
// behind it. The process goes on, the log has where, and what was stored is said
// to be stored.
func TestFaultPanic(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		// At whichever time that the file is gone through it happens.
		told, whole := 0, false
		const again = 3000 // rows, so that not all is read before a row is taken in
		last := readingsCSV[1+strings.LastIndexByte(strings.TrimSpace(readingsCSV), '\n'):]
		file := []byte(readingsCSV + strings.Repeat(last, again))
		for times := range 7 {
			func() {
				defer func() { recover() }() // as for a request
				f := pipeline.File{Name: "readings.csv", Body: &fallingFile{Reader: bytes.NewReader(file), after: times}}
				up, err := s.Import(t.Context(), all, "Ada", f)
				if whole = err == nil; !whole {
					told++
					if !strings.HasPrefix(err.Error(), "panic: as should never be") {
						t.Errorf("gone through %d times: got %v, want the panic", times, err)
					}
				} else if up.Accepted+up.Repeated != 5+again {
					t.Errorf("gone through %d times: got %+v, want the file whole or an error", times, up)
				}
			}()
		}
		if told == 0 || !whole {
			t.Errorf("%d times a panic was told as an error, want one at least; the last went well: %v", told, whole)
		}
		var log bytes.Buffer
		d := pipeline.OpenDesk(t.Context(), s, slog.New(slog.NewTextHandler(&log, nil)))
		defer d.Close()
		s.Forecasted = func(int) { panic("as should never be") }
		more := "vehicle,date,odometer_km,axle,part,side,face,value_mm\nVan 2,2026-02-20,41000,1,pad,right,outer,8.0\n"
		// Among many vehicles one's forecast may be of the same transaction as its rows.
		mustImport(t, s, "others.csv", "vehicle,fleet\nVan 3,Ferry Lines\nVan 4,Ferry Lines\nVan 5,Ferry Lines\n", 3, 0, 0)
		if _, err := s.Train(t.Context(), s.Today()); err != nil {
			t.Fatal(err)
		}
		up, _, err := s.TakeIn(t.Context(), all, "Ada", pipeline.File{Name: "more.csv", Body: strings.NewReader(more)}, s.Today())
		if err == nil || !strings.Contains(err.Error(), "as should never be") || up.Accepted != 1 {
			t.Errorf("got %+v, %v; want the row stored and the panic told", up, err)
		}
		k := handIn(t, s, "another.csv", more+"Van 2,2026-02-20,41000,1,pad,left,outer,8.1\n", true)
		if k = waitFor(t, s, k.ID, store.FileDone); k.UploadID == 0 || k.Fault != "" {
			t.Errorf("got %+v, want the file taken in", k)
		}
		d.Close()
		if !strings.Contains(log.String(), "as should never be") {
			t.Errorf("the log has nothing of it: %s", log.String())
		}
	})
}

// What panics once a kept file's rows are stored does not have them told to be lost.
func TestFaultPanicOnceTaken(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		db.Taken = func(*fleet.Upload, error) { panic("as should never be") }
		var log bytes.Buffer
		d := pipeline.OpenDesk(t.Context(), s, slog.New(slog.NewTextHandler(&log, nil)))
		defer d.Close()
		k := handIn(t, s, "readings.csv", readingsCSV, true)
		if k = waitFor(t, s, k.ID, store.FileDone); k.UploadID == 0 || k.Fault != "" {
			t.Errorf("got %+v, want the file taken in", k)
		}
		d.Close()
		if !strings.Contains(log.String(), "as should never be") {
			t.Errorf("the log has nothing of it: %s", log.String())
		}
	})
}

// fallingFile panics when its second half is read after it was gone back to its
// beginning so many times.
type fallingFile struct {
	*bytes.Reader
	after int
}

func (f *fallingFile) Seek(offset int64, whence int) (int64, error) {
	if offset == 0 {
		f.after--
	}
	return f.Reader.Seek(offset, whence)
}

func (f *fallingFile) Read(p []byte) (int, error) {
	if f.after < 0 && int64(f.Len()) <= f.Size()/2 {
		panic("as should never be")
	}
	return f.Reader.Read(p)
}
