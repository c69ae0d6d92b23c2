package main

import (
	"bytes"
	"net"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"brakewear/internal/mail"
	"brakewear/internal/mail/mailtest"
)

func TestPeople(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet,depot\nVan 7,Works,North\n")
	if _, _, err := command(t, "import", "--database", db, vehicles); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
		exit int
	}{
		{[]string{"people", "add", "Ann", "ann@island.example"}, "Ann is told of everything.", 0},
		{[]string{"people", "add", "Ben", "ben@island.example", "--depot", "works/north", "--role", "manager"}, "Ben is told of Works/North.", 0},
		{[]string{"people", "add", "Cem", "cem@island.example", "--fleet", "Works"}, "Cem is told of Works.", 0},
		{[]string{"people", "add", "Dora", "dora"}, "want an e-mail address", exitUsage},
		{[]string{"people", "add", "Dora", "dora@island.example", "--fleet", "Other"}, `fleet "Other": there is none`, exitUsage},
		{[]string{"people", "add", "Dora", "dora@island.example", "--depot", "North"}, "a slash", exitUsage},
		{[]string{"people", "add", "Ann", "ANN@island.example"}, "told already", exitFailed},
		{[]string{"people", "stop", "Cem@island.example"}, "Cem is told no longer.", 0},
		{[]string{"people", "stop", "cem@island.example"}, "nobody is told there", exitUsage},
		{[]string{"people"}, "Ben   ben@island.example  manager  Works/North  –", 0},
		{[]string{"run", "digest"}, "no mail server is set", exitUsage},
	} {
		out, _, err := command(t, append(c.args, "--database", db)...)
		exit := 0
		if err != nil {
			exit, out = exitCode(err), err.Error()
		}
		if exit != c.exit || !strings.Contains(out, c.want) {
			t.Errorf("%q: got %q, exit code %d; want %q, %d", c.args, out, exit, c.want, c.exit)
		}
	}
}

// The settings lead to the server, the password by the environment alone.
func TestDigestFromTheCommandLine(t *testing.T) {
	srv := mailtest.Start(t, mailtest.Options{Security: mail.Clear})
	db := filepath.Join(t.TempDir(), "own.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet,depot\nVan 7,Works,North\n")
	axles, readings := write(t, "axles.csv", axlesCSV), write(t, "readings.csv", readingsCSV)
	for _, args := range [][]string{
		{"import", "--database", db, vehicles, axles, readings},
		{"refit", "--database", db},
		{"people", "add", "--database", db, "Ann", "ann@island.example"},
	} {
		if _, _, err := command(t, args...); err != nil {
			t.Fatal(err)
		}
	}
	host, port, err := net.SplitHostPort(srv.Address())
	if err != nil {
		t.Fatal(err)
	}
	args := []string{"run", "--database", db, "--smtp-host", host, "--smtp-port", port, "--smtp-security", "none",
		"--smtp-from", "brakes@island.example", "--url", "https://brakes.example", "digest"}
	out, _, err := command(t, args...)
	if err != nil || !strings.Contains(out, "digest (UTC): Digests: 1 sent.") {
		t.Fatalf("got %q, %v", out, err)
	}
	// The readings are old by the clock of whoever runs this: the axle is due.
	if got := srv.Received(); len(got) != 1 || got[0].To != "ann@island.example" || !strings.Contains(got[0].Body, "https://brakes.example/vehicles/1") {
		t.Errorf("got %+v", got)
	}
	for name, c := range map[string]struct {
		args []string
		want string
	}{
		"URL with a path":       {[]string{"--url", "https://brakes.example/x"}, "without a path"},
		"no backups":            {[]string{"--backup-keep", "0"}, "at least 1"},
		"no sender":             {[]string{"--smtp-host", host}, "mail sender"},
		"password in the clear": {[]string{"--smtp-host", host, "--smtp-from", "a@b.example", "--smtp-security", "none", "--smtp-user", "ann"}, "in the clear"},
	} {
		_, _, err := command(t, append([]string{"run", "--database", db, "clean-up"}, c.args...)...)
		if err == nil || exitCode(err) != exitUsage || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		}
	}

	secured := mailtest.Start(t, mailtest.Options{User: "brakes", Password: "very secret"})
	var stdout, stderr bytes.Buffer
	getenv := func(name string) string {
		if name == smtpPassword {
			return "very secret"
		}
		return ""
	}
	err = run(t.Context(), []string{"run", "--database", db, "--smtp-host", "127.0.0.1", "--smtp-port", strconv.Itoa(secured.Port),
		"--smtp-from", "brakes@island.example", "--smtp-user", "brakes", "digest"}, getenv, &stdout, &stderr)
	if err != nil || !strings.Contains(stdout.String(), "1 seen to before") {
		t.Errorf("once a day: got %q, %v", stdout.String(), err)
	}
	if text := stdout.String() + stderr.String(); strings.Contains(text, "very secret") {
		t.Errorf("the password shows: %s", text)
	}
}
