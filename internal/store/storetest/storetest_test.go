package storetest_test

import (
	"context"
	"errors"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pgserver"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Each test gets a database of its own, migrated and empty.
func TestEach(t *testing.T) {
	var ran []string
	for range 2 {
		storetest.Each(t, func(t *testing.T, db *store.DB) {
			ran = append(ran, db.Dialect())
			have, want, err := db.SchemaVersion(t.Context())
			if err != nil || have != want {
				t.Errorf("got schema version %d of %d, %v", have, want, err)
			}
			if n, _, _, err := db.Counts(t.Context(), auth.AllFleets()); n != 0 || err != nil {
				t.Errorf("got %d vehicles, %v; want none", n, err)
			}
			err = db.TakeIn(t.Context(), auth.AllFleets(), &fleet.Upload{}, func(w *store.Writer) error {
				_, err := w.Vehicles([]store.VehicleEntry{{Fleet: "North", Depot: "Quay", Vehicle: fleet.Vehicle{Number: "Bus 1"}}})
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	if len(ran) == 0 {
		t.Error("ran on nothing")
	}
}

// childVariable makes this test binary run one test as another process.
const childVariable = "STORETEST_CHILD"

// A process that is killed leaves no server and no folder behind.
func TestKilledProcessLeavesNothing(t *testing.T) {
	if os.Getenv(childVariable) != "" {
		os.Stdout.WriteString("url " + storetest.EmptyURL(t, store.Postgres) + "\n")
		select {}
	}
	if os.Getenv("TEST_DATABASE_URL") != "" {
		t.Skip("TEST_DATABASE_URL is set: no server is started")
	}
	storetest.EmptyURL(t, store.Postgres) // skips where there is none
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^"+t.Name()+"$")
	cmd.Env = append(os.Environ(), childVariable+"=1")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	text := make([]byte, 1000)
	n, err := out.Read(text)
	if err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(strings.TrimSpace(strings.TrimPrefix(string(text[:n]), "url ")))
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	cmd.Wait()
	dir := u.Query().Get("host")
	if !strings.HasPrefix(filepath.Base(dir), "brakewear-pg-") {
		t.Fatalf("got the folder %q", dir)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	for {
		if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
			return
		}
		select {
		case <-ctx.Done():
			t.Fatalf("%s is still there", dir)
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// Without a server the tests skip and say how to get one, or fail where one
// is required.
func TestNoServer(t *testing.T) {
	if os.Getenv(childVariable) != "" {
		pgserver.DebianBins = t.TempDir()
		storetest.EmptyURL(t, store.Postgres)
		return
	}
	for _, c := range []struct {
		required string
		want     []string
	}{
		{"", []string{"--- SKIP", "make test", "TEST_DATABASE_URL"}},
		{"1", []string{"--- FAIL", "no PostgreSQL"}},
	} {
		cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.v", "-test.run=^"+t.Name()+"$")
		cmd.Env = []string{childVariable + "=1", "BRAKEWEAR_REQUIRE_POSTGRES=" + c.required, "PATH="}
		out, _ := cmd.CombinedOutput()
		for _, want := range c.want {
			if !strings.Contains(string(out), want) {
				t.Errorf("required %q: no %q in\n%s", c.required, want, out)
			}
		}
	}
}
