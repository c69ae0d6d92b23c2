package main

import (
	"encoding/json"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestCheckCommand(t *testing.T) {
	file := storetest.URL(t, store.SQLite)
	out, _, err := command(t, "check", "--database", file)
	if err != nil || !strings.Contains(out, "23 of 23 rules hold.") {
		t.Errorf("of an empty database: got %q, %v", out, err)
	}
	storetest.Exec(t, file, `insert into fleets (id, name, name_key) values (1, 'A', 'a'), (2, 'B', 'b')`)
	storetest.Exec(t, file, `insert into depots (id, fleet_id, name, name_key, time_zone) values (1, 2, 'Yard', 'yard', 'UTC')`)
	storetest.Exec(t, file, `insert into vehicles (fleet_id, depot_id, number, plate, category, make, model, year, duty, sort_key, search)
		with recursive n(i) as (select 1 union all select i + 1 from n where i < 12)
		select 1, 1, 'Bus ' || i, '', '', '', '', 0, '', '', '' from n`)
	out, _, err = command(t, "check", "--database", file)
	if !errors.Is(err, errBroken) || exitCode(err) != exitFailed || !strings.Contains(out, "Broken: A vehicle's depot is one of its fleet.\n  vehicle 1 in depot 1\n") ||
		!strings.Contains(out, "and 2 more") || !strings.Contains(out, "22 of 23 rules hold.") {
		t.Errorf("vehicles in another's depot: got %q, %v", out, err)
	}
	out, _, err = command(t, "check", "--database", file, "--format", "json")
	var got checked
	if jerr := json.Unmarshal([]byte(out), &got); jerr != nil || !errors.Is(err, errBroken) || got.Rules != 23 || len(got.Broken) != 1 || got.Broken[0].Rows != 12 {
		t.Errorf("as JSON: got %q, %v, %v", out, err, jerr)
	}
	storetest.Exec(t, file, `insert into accounts (id, name, email, email_key, password, added_by, added_at) values (1, 'Ann', 'a', 'a', '', '', ''), (2, 'Bo', 'b', 'b', '', '', '')`)
	storetest.Exec(t, file, `insert into second_factors (account_id, secret, made_at, last_step) values (1, 'GEZDGNBVGY3TQOJQ', '', 0), (2, 'aes256gcm:AAAA', '', 0)`)
	out, _, _ = command(t, "check", "--database", file)
	for _, want := range []string{"that are sealed: 1.", "that whoever has the database can use: 1."} {
		if !strings.Contains(out, want) {
			t.Errorf("of second factors: got %q, want %q", out, want)
		}
	}
	none := filepath.Join(t.TempDir(), "none.db")
	if _, _, err := command(t, "check", "--database", none); exitCode(err) != exitUsage {
		t.Errorf("of no file: got %v", err)
	}
}
