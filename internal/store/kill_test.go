package store_test

import (
	"bufio"
	"os"
	"os/exec"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// killedURL is set for the process that TestFaultKilledWriting kills.
const killedURL = "STORE_TEST_KILLED_URL"

// halfway is what that process prints when it has written half its rows.
const halfway = "halfway"

func killedRows(vehicleID int64) []fleet.Reading {
	var rs []fleet.Reading
	for i := range fleet.Date(2000) {
		rs = append(rs, reading(vehicleID, day(1, 1)+i, 8))
	}
	return rs
}

// A process is killed by SIGKILL between two rows of an upload. Nothing of it
// shows, and sent again it is taken in whole.
func TestFaultKilledWriting(t *testing.T) {
	if url := os.Getenv(killedURL); url != "" {
		beKilled(t, url)
	}
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			rows := killedRows(mustVehicles(t, db, entry("Bus 1"))[0])

			cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestFaultKilledWriting$")
			cmd.Env = append(os.Environ(), killedURL+"="+url)
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			var said []string
			for s := bufio.NewScanner(out); s.Scan(); {
				said = append(said, s.Text())
				if s.Text() == halfway {
					break
				}
			}
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			if err := cmd.Wait(); err == nil || said[len(said)-1] != halfway {
				t.Fatalf("the process ended by itself: %v\n%s", err, strings.Join(said, "\n"))
			}
			if n := count(t, db, "select count(*) from thickness_readings"); n != 0 {
				t.Errorf("%d readings of half an upload stay", n)
			}
			mustReadings(t, db, rows...)
			if n := count(t, db, "select count(*) from thickness_readings"); n != len(rows) {
				t.Errorf("sent again: got %d readings, want %d", n, len(rows))
			}
		})
	}
}

// beKilled writes half an upload and waits for the end.
func beKilled(t *testing.T, url string) {
	db := storetest.MustOpen(t, url)
	mustTakeIn(t, db, func(w *store.Writer) error {
		rows := killedRows(1)
		if _, err := w.Readings(rows[:len(rows)/2]); err != nil {
			return err
		}
		os.Stdout.WriteString(halfway + "\n")
		select {}
	})
}
