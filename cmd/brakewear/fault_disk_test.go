package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// answerOf is what a request got.
type answerOf struct {
	status     int
	retryAfter string
	body       string
}

func askOnce(t *testing.T, token, method, address, kind, body string) answerOf {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	req.Header.Set("Content-Type", kind)
	res, err := (&http.Client{Timeout: time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answerOf{res.StatusCode, res.Header.Get("Retry-After"), string(b)}
}

// many is an upload of invented readings that fill some pages, each upload its
// own.
func many(upload, rows int) string {
	var b strings.Builder
	b.WriteString("vehicle,date,odometer_km,axle,part,side,face,value_mm,note\n")
	day := fleet.NewDate(2015, 1, 1)
	for i := range rows {
		fmt.Fprintf(&b, "Van 1,%s,%d,1,pad,left,inner,%.1f,%s\n", day+fleet.Date(i), 20000+10*i, 11-float64(upload)/10, strings.Repeat("word ", 40))
	}
	return b.String()
}

// diskWorld serves an invented van from a small disk.
func diskWorld(t *testing.T, dialect string) (storetest.Disk, *served, string) {
	t.Helper()
	megabytes := 24
	if dialect == store.Postgres {
		megabytes = 48 // an empty database is some 10 MB
	}
	d := storetest.Small(t, dialect, megabytes)
	vehicles, axles := write(t, "v.csv", "vehicle,category\nVan 1,N1\n"), write(t, "a.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nVan 1,1,disc,12,2\n")
	if out, said, err := command(t, "import", "--database", d.URL, vehicles, axles); err != nil {
		t.Fatalf("%v\n%s%s", err, out, said)
	}
	token := tokens(t, d.URL, 1)[0]
	s := startServing(t, d.URL)
	t.Cleanup(func() { s.Process.Kill(); <-s.ended })
	return d, s, token
}

// signInWith is a form with which nobody gets in, for the sign-in counts it.
var signInWith = url.Values{"email": {"client0@example.org"}, "password": {"no such words at all"}}.Encode()

const (
	formType = "application/x-www-form-urlencoded"
	csvType  = "text/csv"
)

// The database's disk is full. Uploads and signing in are answered 507 with what
// to do, reading goes on, nothing acknowledged is lost, and when there is space
// again all works without a restart.
func TestFaultDiskFull(t *testing.T) {
	onBoth(t, func(t *testing.T, dialect string) {
		d, s, token := diskWorld(t, dialect)
		uploads := s.address + "/api/v1/uploads?kind=readings"
		rows := func() int { return countIn(t, d.URL, `select count(*) as n from thickness_readings`) }
		const each = 1500
		if a := askOnce(t, token, http.MethodPost, uploads, csvType, many(0, each)); a.status != http.StatusCreated {
			t.Fatalf("while there is space: got %+v", a)
		}
		free := d.Fill(t)
		defer free()
		full, taken := answerOf{}, 1
		for i := 1; i < 20 && full.status == 0; i++ { // some may yet find room in files that are there
			a := askOnce(t, token, http.MethodPost, uploads, csvType, many(i, each))
			if a.status == http.StatusCreated {
				taken++
				continue
			}
			full = a
		}
		if full.status != http.StatusInsufficientStorage || full.retryAfter == "" || !strings.Contains(full.body, "No space is left") {
			t.Errorf("an upload: got %+v, want 507", full)
		}
		for range 3 { // it stays so, and nothing is left behind that grows
			if a := askOnce(t, token, http.MethodPost, uploads, csvType, many(taken, each)); a.status != http.StatusInsufficientStorage {
				t.Errorf("another upload: got %+v, want 507", a)
			}
		}
		// A failed try to sign in is a small row, which a page may have room for.
		page := askOnce(t, "", http.MethodPost, s.address+"/sign-in", formType, signInWith)
		if page.status != http.StatusInsufficientStorage && page.status != http.StatusUnprocessableEntity && page.status != http.StatusUnauthorized {
			t.Errorf("signing in: got %d %s", page.status, page.body)
		}
		if page.status == http.StatusInsufficientStorage && !strings.Contains(page.body, "No space") {
			t.Errorf("signing in: got %s", page.body)
		}
		for _, path := range []string{"/api/v1/vehicles", "/api/v1/due", "/sign-in"} {
			if a := askOnce(t, token, http.MethodGet, s.address+path, "", ""); a.status != http.StatusOK {
				t.Errorf("reading %s: got %+v", path, a)
			}
		}
		if n := rows(); n != taken*each {
			t.Errorf("%d readings, and %d were acknowledged", n, taken*each)
		}
		mustHold(t, d.URL, "full")
		free()
		if a := askOnce(t, token, http.MethodPost, uploads, csvType, many(taken, each)); a.status != http.StatusCreated {
			t.Errorf("when there is space again: got %+v", a)
		}
		if n := rows(); n != (taken+1)*each {
			t.Errorf("when there is space again: %d readings, want %d", n, (taken+1)*each)
		}
		if a := askOnce(t, "", http.MethodPost, s.address+"/sign-in", formType, signInWith); a.status == http.StatusInsufficientStorage || a.status >= 500 {
			t.Errorf("signing in, when there is space again: got %+v", a)
		}
		mustHold(t, d.URL, "when there is space again")
		t.Attr("acknowledged", strconv.Itoa((taken+1)*each)+" readings")
		t.Attr("answer", strconv.Itoa(full.status))
		t.Attr("answer-to-signing-in", strconv.Itoa(page.status))
	})
}

// The database's disk can only be read. Uploads are answered 503 with what to
// do, reading pages go on, and when it can be written to again all works.
func TestFaultDiskReadOnly(t *testing.T) {
	t.Attr("database", store.SQLite)
	d, s, token := diskWorld(t, store.SQLite)
	if a := askOnce(t, token, http.MethodPost, s.address+"/api/v1/uploads?kind=readings", csvType, many(0, 10)); a.status != http.StatusCreated {
		t.Fatalf("while it can be written to: got %+v", a)
	}
	s.kill(t) // nothing can be remounted while it is written to
	again := d.ReadOnly(t)
	ended := false
	defer func() {
		if !ended {
			again()
		}
	}()
	s = startServing(t, d.URL)
	for _, path := range []string{"/api/v1/vehicles", "/api/v1/due", "/sign-in"} {
		if a := askOnce(t, token, http.MethodGet, s.address+path, "", ""); a.status != http.StatusOK {
			t.Errorf("reading %s: got %+v", path, a)
		}
	}
	a := askOnce(t, token, http.MethodPost, s.address+"/api/v1/uploads?kind=readings", csvType, many(1, 10))
	if a.status != http.StatusServiceUnavailable || a.retryAfter == "" || !strings.Contains(a.body, "only be read") {
		t.Errorf("an upload: got %+v, want 503", a)
	}
	t.Attr("answer", strconv.Itoa(a.status))
	s.kill(t)
	again()
	ended = true
	s = startServing(t, d.URL)
	if a := askOnce(t, token, http.MethodPost, s.address+"/api/v1/uploads?kind=readings", csvType, many(1, 10)); a.status != http.StatusCreated {
		t.Errorf("written to again: got %+v", a)
	}
	s.kill(t)
	mustHold(t, d.URL, "written to again")
	// After a clean end there is no journal left that it could be read by.
	defer d.ReadOnly(t)()
	_, said, err := command(t, "findings", "--database", d.URL)
	if !errors.Is(err, fleet.ErrReadOnly) || !strings.Contains(fmt.Sprint(said, err), "nothing can be written to its folder") {
		t.Errorf("opened after a clean end: got %v %s", err, said)
	}
}

// Bytes in the middle of the database's file are overwritten. What touches them
// is refused and says to restore, nothing in the file is changed, and the
// backups that there are stay; a restored one is whole.
func TestFaultDamagedFile(t *testing.T) {
	t.Attr("database", store.SQLite)
	file := storetest.URL(t, store.SQLite)
	good := filepath.Join(t.TempDir(), "good")
	readings := write(t, "r.csv", many(0, 4000))
	do := func(args ...string) (string, error) {
		out, said, err := command(t, append(args, "--database", file)...)
		return out + said, err
	}
	for _, args := range [][]string{
		{"import", write(t, "v.csv", "vehicle,category\nVan 1,N1\n"), write(t, "a.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nVan 1,1,disc,12,2\n"), readings},
		{"run", "backup", "--backup-dir", good},
	} {
		if out, err := do(args...); err != nil {
			t.Fatalf("%q: %v\n%s", args, err, out)
		}
	}
	damaged, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for i := len(damaged) * 6 / 10; i < len(damaged)*9/10; i += 512 {
		copy(damaged[i:], bytes.Repeat([]byte{0xA5}, 64))
	}
	if err := os.WriteFile(file, damaged, 0o600); err != nil {
		t.Fatal(err)
	}
	// A backup has its second for a name.
	kept, err := filepath.Glob(filepath.Join(good, "*.db"))
	if err != nil || len(kept) != 1 {
		t.Fatalf("backups: got %q, %v; want one", kept, err)
	}
	last := filepath.Join(good, "brakewear-20260101T010000Z.db")
	if err := os.Rename(kept[0], last); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"import", write(t, "r.csv", many(1, 4000))},
		{"check"},
		{"backup", filepath.Join(t.TempDir(), "copy")},
		{"refit"}, // which keeps what it has done so far, elsewhere in the file
		{"run", "backup", "--backup-dir", good},
	} {
		if args[0] == "refit" {
			if now, err := os.ReadFile(file); err != nil || !bytes.Equal(now, damaged) {
				t.Errorf("the file is not as it was: %v", err)
			}
		}
		out, err := do(args...)
		if err == nil || !strings.Contains(err.Error()+out, "damaged") || !strings.Contains(err.Error()+out, "restore the last backup") {
			t.Errorf("%q: got %v %s, want to be told of the damage and the backup", args, err, out)
		}
	}
	if kept, err := filepath.Glob(filepath.Join(good, "*")); err != nil || len(kept) != 1 || kept[0] != last {
		t.Errorf("backups: got %q, %v; want the one from before", kept, err)
	}
	if out, err := do("restore", "--replace", last); err != nil {
		t.Errorf("restore: %v\n%s", err, out)
	}
	if n := countIn(t, file, `select count(*) as n from thickness_readings`); n != 4000 {
		t.Errorf("restored: %d readings, want 4000", n)
	}
	mustHold(t, file, "restored")
}
