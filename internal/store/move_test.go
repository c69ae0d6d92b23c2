package store_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestMove moves invented rows of every kind of column, and wants every value
// back.
func TestMove(t *testing.T) {
	ctx := t.Context()
	fromURL, toURL := storetest.URL(t, store.SQLite), storetest.URL(t, store.Postgres)
	from, to := storetest.MustOpen(t, fromURL), storetest.MustOpen(t, toURL)
	storetest.Exec(t, fromURL, `insert into fleets (id, name, name_key) values (7, 'Blåbær "x"' || char(9) || '\N', 'a'), (9, '', 'b')`)
	storetest.Exec(t, fromURL, `insert into sqlite_sequence (name, seq) values ('kept_files', 41)`)
	up := fleet.Upload{Kind: "readings", Name: "a.csv", Accepted: 5, Problems: []fleet.Problem{{Line: 3, Message: "no", Refused: true}, {Line: 4, Message: "odd"}}}
	if err := from.TakeIn(ctx, auth.AllFleets(), &up, func(*store.Writer) error { return nil }); err != nil {
		t.Fatal(err)
	}
	ms, err := store.Move(ctx, from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]int{}
	for _, m := range ms {
		rows[m.Table] = m.Rows
	}
	if rows["fleets"] != 2 || rows["uploads"] != 1 || rows["upload_problems"] != 2 {
		t.Errorf("got %v", rows)
	}
	for _, query := range []string{`select id, name from fleets order by id`, `select line, message from upload_problems order by line`} {
		got, want := storetest.Dump(t, toURL, query), storetest.Dump(t, fromURL, query)
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: got %q, want %q", query, got, want)
		}
	}
	// New rows begin behind those moved.
	storetest.Exec(t, toURL, `insert into fleets (name, name_key) values ('new', 'new')`)
	if got := storetest.Dump(t, toURL, `select id from fleets where name = 'new'`); fmt.Sprint(got) != "[id=10 ]" {
		t.Errorf("the next id: got %q, want 10", got)
	}
	// Files' ids are never given again, also of those that are gone.
	if got := storetest.Dump(t, toURL, `select last_value as n from kept_files_id_seq`); fmt.Sprint(got) != "[n=41 ]" {
		t.Errorf("the last file's id: got %q, want 41", got)
	}
	if _, err := store.Move(ctx, from, to, nil); !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("once more: got %v", err)
	}
	if _, err := store.Move(ctx, to, from, nil); !errors.Is(err, fleet.ErrInvalid) {
		t.Errorf("back: got %v", err)
	}
}

// "brakewear move" meets a row that PostgreSQL refuses. Nothing was moved, and
// it says which table.
func TestFaultMoveBroken(t *testing.T) {
	t.Attr("database", "sqlite to postgres")
	for name, plant := range map[string]string{
		"refers to nothing": `insert into upload_places (upload_id, fleet_id, depot_id) values (99, 98, 97)`,
		"no text":           `insert into fleets (name, name_key) values (CAST(x'ff' AS text), 'x')`,
	} {
		t.Run(name, func(t *testing.T) {
			fromURL, toURL := storetest.URL(t, store.SQLite), storetest.URL(t, store.Postgres)
			from, to := storetest.MustOpen(t, fromURL), storetest.MustOpen(t, toURL)
			up := fleet.Upload{Kind: "readings", Name: "a.csv"}
			if err := from.TakeIn(t.Context(), auth.AllFleets(), &up, func(*store.Writer) error { return nil }); err != nil {
				t.Fatal(err)
			}
			storetest.Exec(t, fromURL, plant)
			if _, err := store.Move(t.Context(), from, to, nil); err == nil || !strings.Contains(err.Error(), "table ") {
				t.Errorf("got %v", err)
			}
			if got := storetest.Dump(t, toURL, `select count(*) as n from uploads`); fmt.Sprint(got) != "[n=0 ]" {
				t.Errorf("rows stayed: %q", got)
			}
		})
	}
}
