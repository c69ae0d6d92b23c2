package pipeline_test

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func handIn(t *testing.T, s *pipeline.Service, name, text string, direct bool) store.KeptFile {
	t.Helper()
	k, err := s.HandIn(t.Context(), all, "Ada", pipeline.File{Name: name, Body: strings.NewReader(text)}, direct)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestHandIn(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		for _, f := range []struct{ name, text string }{{"vehicles.csv", vehiclesCSV}, {"axles.csv", axlesCSV}} {
			if k := handIn(t, s, f.name, f.text, true); k.State != store.FileDone || k.UploadID == 0 {
				t.Fatalf("taken in directly: %+v", k)
			}
		}
		k := handIn(t, s, "readings.csv", readingsCSV, false)
		c, ok, err := pipeline.CheckedOf(&k)
		if k.State != store.FileChecked || !ok || err != nil || c.Upload.Accepted != 5 || len(c.First) != 5 || *c.First[0].MM != 15.5 {
			t.Fatalf("handed in: %+v, %+v, %v", k, c, err)
		}
		if _, _, n, err := db.Counts(t.Context(), all); err != nil || n != 0 {
			t.Errorf("%d readings are there before somebody took them in, %v", n, err)
		}
		if _, err := s.TakeKept(t.Context(), auth.ScopeOf([]int64{99}, nil), "Bob", k.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another takes it in: %v, want ErrNotFound", err)
		}
		var upload int64
		for range 2 { // an impatient click
			got, err := s.TakeKept(t.Context(), all, "Ada", k.ID)
			if err != nil || got.State != store.FileDone {
				t.Fatalf("taken in: %+v, %v", got, err)
			}
			if upload != 0 && got.UploadID != upload {
				t.Errorf("a second click made upload %d beside %d", got.UploadID, upload)
			}
			upload = got.UploadID
		}
		due, err := db.DueSoon(t.Context(), all, store.DueQuery{Limit: 10})
		if err != nil || len(due.Rows) != 3 {
			t.Errorf("%d axles forecast, %v; want the 3 that the file was about", len(due.Rows), err)
		}
		again := handIn(t, s, "copy.csv", readingsCSV, false)
		if c, _, _ := pipeline.CheckedOf(&again); c.Before == nil || c.Before.ID != upload || c.Upload.Accepted != 0 || c.Upload.Repeated != 5 {
			t.Errorf("handed in again: %+v, want it known as upload %d", c, upload)
		}
		if got, err := s.TakeKept(t.Context(), all, "Ada", again.ID); err != nil || got.State != store.FileDone || got.UploadID != upload {
			t.Errorf("and taken in again: %+v, %v; want upload %d", got, err, upload)
		}
		bad := handIn(t, s, "menu.csv", "soup,price\nleek,4\n", false)
		if bad.State != store.FileUnreadable || !strings.Contains(bad.Fault, "not the columns of") {
			t.Errorf("not a file of ours: %+v", bad)
		}
		if _, err := s.TakeKept(t.Context(), all, "Ada", bad.ID); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("taken in all the same: %v, want ErrConflict", err)
		}
	})
}

// waitFor waits until a kept file is done with.
func waitFor(t *testing.T, s *pipeline.Service, id int64, want store.FileState) store.KeptFile {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(5 * time.Millisecond) {
		k, err := s.Kept(t.Context(), all, "Ada", id)
		if err != nil {
			t.Fatal(err)
		}
		if k.State == want {
			return k
		}
		if !k.State.Working() || time.Now().After(deadline) {
			t.Fatalf("got %+v, want it %s", k, want)
		}
	}
}

// A process ends before it worked on the files handed in to it. The next one
// finishes them, once.
func TestFaultDeskTakesUp(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		keep := func(state store.FileState, text string) store.KeptFile {
			k := store.KeptFile{SHA256: fmt.Sprint(len(text)), Name: "readings.csv", By: "Ada", Scope: all, Bytes: int64(len(text)), State: state}
			if err := db.KeepFile(t.Context(), &k, time.Hour, strings.NewReader(text)); err != nil {
				t.Fatal(err)
			}
			return k
		}
		asked := keep(store.FileTaking, readingsCSV)
		// One that was taken in, but for its forecasts.
		more := "vehicle,date,odometer_km,axle,part,side,face,value_mm\nVan 2,2026-02-20,41000,1,pad,right,outer,8.0\n"
		taken := keep(store.FileTaken, more)
		up := mustImport(t, s, "more.csv", more, 1, 0, 0)
		taken.UploadID = up.ID
		if err := db.SaveKept(t.Context(), &taken); err != nil {
			t.Fatal(err)
		}
		d := pipeline.OpenDesk(t.Context(), s, slog.New(slog.DiscardHandler))
		defer d.Close()
		waitFor(t, s, asked.ID, store.FileDone)
		waitFor(t, s, taken.ID, store.FileDone)
		if _, _, n, err := db.Counts(t.Context(), all); err != nil || n != 6 {
			t.Errorf("%d readings, %v; want 6", n, err)
		}
		due, err := db.DueSoon(t.Context(), all, store.DueQuery{Limit: 10})
		if err != nil || len(due.Rows) != 3 {
			t.Errorf("%d axles forecast, %v; want 3", len(due.Rows), err)
		}
		k := handIn(t, s, "another.csv", more+"Van 2,2026-02-20,41000,1,pad,left,outer,8.1\n", false)
		waitFor(t, s, k.ID, store.FileChecked)
	})
}

// A process is told to end in the midst of a large file. Nothing of it shows,
// and the next process takes it in whole.
func TestFaultDeskStopped(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		const vans, days = 60, 1000
		vehicles := "vehicle,category\n"
		var b strings.Builder
		b.WriteString("vehicle,date,odometer_km\n")
		first := fleet.NewDate(2020, 1, 1)
		for v := range vans {
			vehicles += fmt.Sprintf("Van %d,N1\n", v)
			for i := range days {
				fmt.Fprintf(&b, "Van %d,%s,%d\n", v, first+fleet.Date(i), 50*i)
			}
		}
		mustImport(t, s, "vehicles.csv", vehicles, vans, 0, 0)
		d := pipeline.OpenDesk(t.Context(), s, slog.New(slog.DiscardHandler))
		result := make(chan store.KeptFile)
		go func() {
			k, err := s.HandIn(t.Context(), all, "Ada", pipeline.File{Name: "odometer.csv", Body: strings.NewReader(b.String())}, true)
			if err != nil {
				t.Error(err)
			}
			result <- k
		}()
		for deadline := time.Now().Add(time.Minute); ; time.Sleep(time.Millisecond) {
			fs, err := db.KeptFiles(t.Context(), all, "")
			if err != nil {
				t.Fatal(err)
			}
			if len(fs) == 1 {
				if k, err := s.Kept(t.Context(), all, "Ada", fs[0].ID); err == nil && k.ReadRows > 0 {
					break
				}
			}
			if time.Now().After(deadline) {
				t.Fatal("it does not begin")
			}
		}
		d.Close()
		<-result
		fs, err := db.KeptFiles(t.Context(), all, "")
		if err != nil || len(fs) != 1 || fs[0].State != store.FileTaking {
			t.Fatalf("stopped: %+v, %v; want it still to be taken in", fs, err)
		}
		if ups, err := db.Uploads(t.Context(), all, 10, 0); err != nil || len(ups) != 1 {
			t.Errorf("%d uploads, %v; want the vehicles' alone", len(ups), err)
		}
		d = pipeline.OpenDesk(t.Context(), s, slog.New(slog.DiscardHandler))
		defer d.Close()
		waitFor(t, s, fs[0].ID, store.FileDone)
		got := 0
		err = db.EachHistory(t.Context(), all, nil, func(h *store.History) error {
			got += len(h.Odometers)
			return nil
		})
		if err != nil || got != vans*days {
			t.Errorf("%d odometer readings, %v; want %d", got, err, vans*days)
		}
	})
}
