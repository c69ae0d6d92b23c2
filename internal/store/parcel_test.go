package store_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What is asked for at once is answered as if it was asked for one by one, whatever the
// values: a server gets them written out.
func TestGatheredIsTheSame(t *testing.T) {
	texts := []string{
		"", "'", "''", `\`, `\'`, `\\'`, `E'\x41'`, "$1", "$$", "a;b", "--", "/*", "\n\t", "Ω ü 🛞", `{"a": "b\n'"}`,
		"'); drop table vehicles; --", `\'); drop table vehicles; --`,
	}
	var ss []store.Statement
	for _, text := range texts {
		ss = append(ss, store.Statement{Query: `select CAST(? AS text)`, Args: []any{text}})
	}
	for _, x := range []struct {
		sql    string
		values []any
	}{
		{"bigint", []any{0, 1e6, int64(math.MinInt64), int64(math.MaxInt64), nil, fleet.NewDate(2026, 3, 1)}},
		{"integer", []any{-7, 7}},
		{"double precision", []any{0.1, -1e300, 5e-324, math.MaxFloat64, 1.0 / 3, nil}},
		{"boolean", []any{true, false, nil}},
		{"bytea", []any{[]byte{0, 1, '\'', '\\', 255}, []byte{}, []byte(nil)}},
		{"timestamptz", []any{time.Date(2026, 3, 1, 12, 30, 15, 123456000, time.UTC), time.Date(2026, 3, 1, 12, 30, 0, 0, time.FixedZone("", -5*3600))}},
	} {
		for _, v := range x.values {
			if d, ok := v.(fleet.Date); ok {
				x.sql, v = "date", d
			}
			ss = append(ss, store.Statement{Query: `select CAST(? AS ` + x.sql + `)`, Args: []any{v}})
		}
	}
	ss = append(ss,
		store.Statement{Query: `select 1 where 1 = ?`, Args: []any{2}}, // no row
		store.Statement{Query: `select 1 union all select 2 union all select 3`},
		store.Statement{Query: `delete from fleets where name = ?`, Args: []any{"none"}, Later: true})
	db := storetest.Open(t, store.Postgres)
	want, err := db.Run(t.Context(), false, ss...)
	if err != nil {
		t.Fatal(err)
	}
	for try := range 2 { // once to prepare, and once prepared
		got, err := db.Run(t.Context(), true, ss...)
		if err != nil {
			t.Fatal(err)
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("try %d:\n got %s\nwant %s", try, strings.Join(got, "\n     "), strings.Join(want, "\n     "))
		}
	}
}

// What nobody waits for is stored in its order before what is asked next is read, and
// where it fails nothing is.
func TestLater(t *testing.T) {
	add := func(name string) store.Statement {
		return store.Statement{Query: `insert into fleets (name, name_key) values (?, ?)`, Args: []any{name, name}, Later: true}
	}
	names := store.Statement{Query: `select count(*) from fleets where name in ('North', 'South')`}
	for _, x := range []struct {
		name string
		ss   []store.Statement
		read []string // nil = it fails
		left string   // after it
	}{
		{"before what is read", []store.Statement{add("North"), add("South"), names}, []string{"[]interface {}{2}"}, "[]interface {}{2}"},
		{"before the end", []store.Statement{names, add("North")}, []string{"[]interface {}{0}"}, "[]interface {}{1}"},
		{"the first fails", []store.Statement{add("North"), add("North"), add("South"), names}, nil, "[]interface {}{0}"},
		{"the last fails", []store.Statement{names, add("North"), add("South"), add("North")}, nil, "[]interface {}{0}"},
		{"all that there is", []store.Statement{add("South")}, []string{}, "[]interface {}{1}"},
	} {
		t.Run(x.name, func(t *testing.T) {
			storetest.Each(t, func(t *testing.T, db *store.DB) {
				got, err := db.Run(t.Context(), false, x.ss...)
				if x.read == nil {
					if err == nil {
						t.Errorf("got %s, want an error", got)
					}
				} else if err != nil || fmt.Sprint(got) != fmt.Sprint(x.read) {
					t.Errorf("got %s, %v, want %s", got, err, x.read)
				}
				if got, err := db.Run(t.Context(), false, names); err != nil || fmt.Sprint(got) != fmt.Sprint([]string{x.left}) {
					t.Errorf("left: got %s, %v, want %s", got, err, x.left)
				}
			})
		})
	}
}

// A trial does not end well where what nobody waited for would have failed.
func TestTrialOfWhatNobodyWaitsFor(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		again := store.Statement{Query: `insert into fleets (name, name_key) values ('North', 'north')`, Later: true}
		err := db.Trial(t.Context(), func(trial *store.DB) error {
			_, err := trial.Run(t.Context(), false, again, again)
			return err
		})
		if err == nil {
			t.Error("got no error")
		}
	})
}

// A connection that is asked for more statements than it keeps goes on.
func TestKeepsNoMoreStatements(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	for i := range store.MaxKept + 10 {
		q := fmt.Sprintf(`select CAST(? AS integer) + %d`, i)
		got, err := db.Run(t.Context(), true, store.Statement{Query: q, Args: []any{1}}, store.Statement{Query: q, Args: []any{2}})
		if want := fmt.Sprintf("[[]interface {}{%d} []interface {}{%d}]", i+1, i+2); err != nil || fmt.Sprint(got) != want {
			t.Fatalf("statement %d: got %s, %v, want %s", i, got, err, want)
		}
	}
	got, err := db.Run(t.Context(), true, store.Statement{Query: `select count(*) <= ? from pg_prepared_statements where from_sql`, Args: []any{store.MaxKept}})
	if err != nil || fmt.Sprint(got) != "[[]interface {}{true}]" {
		t.Errorf("more are kept: got %s, %v", got, err)
	}
}

// Any text comes back as it was, or is refused as it is where it is sent by itself.
func FuzzGatheredText(f *testing.F) {
	for _, text := range []string{"", "it's", `\'; drop table vehicles; --`, "a\x00b", "\xff", "\u00e9\U0001f6de"} {
		f.Add(text)
	}
	db := storetest.Open(f, store.Postgres)
	f.Fuzz(func(t *testing.T, text string) {
		s := store.Statement{Query: `select CAST(? AS text), length(CAST(? AS text))`, Args: []any{text, text}}
		want, werr := db.Run(t.Context(), false, s, s)
		got, err := db.Run(t.Context(), true, s, s)
		if (err == nil) != (werr == nil) || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%q: got %s, %v, want %s, %v", text, got, err, want, werr)
		}
	})
}

// Text that would end a message is refused before it is sent.
func TestGatheredTextIsText(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	s := store.Statement{Query: `select CAST(? AS text)`, Args: []any{"a\x00b"}}
	if _, err := db.Run(t.Context(), true, s, s); err == nil {
		t.Error("got no error")
	}
	s.Args = []any{"a"}
	if _, err := db.Run(t.Context(), true, s, s); err != nil {
		t.Errorf("the next: %v", err)
	}
}

// What goes with the end of a transaction leaves a connection that can be used, whether
// it fails or not.
func TestEndsAsOne(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	add := store.Statement{Query: `insert into fleets (name, name_key) values ('North', ?)`, Args: []any{"north"}, Later: true}
	for _, fails := range []bool{false, true, true} {
		if _, err := db.Run(t.Context(), false, add); (err != nil) != fails {
			t.Errorf("got %v, want an error: %v", err, fails)
		}
		got, err := db.Run(t.Context(), false, store.Statement{Query: `select count(*), pg_current_xact_id_if_assigned() is null from fleets`})
		if want := "[[]interface {}{1, true}]"; err != nil || fmt.Sprint(got) != want {
			t.Errorf("after it: got %s, %v, want %s", got, err, want)
		}
	}
	if got := db.WritePool().Stats().OpenConnections; got != 1 {
		t.Errorf("got %d connections, want the one that can be used again", got)
	}
}

// BenchmarkStatements runs ten statements of eight texts each in a transaction: one by one,
// and all in one message.
func BenchmarkStatements(b *testing.B) {
	db := storetest.Open(b, store.Postgres)
	var ss []store.Statement
	for i := range 10 {
		var cols []string
		var args []any
		for k := range 8 {
			cols = append(cols, "CAST(? AS text)")
			args = append(args, fmt.Sprint("value ", k))
		}
		ss = append(ss, store.Statement{Query: fmt.Sprintf("select %d, %s", i, strings.Join(cols, ", ")), Args: args})
	}
	for _, atOnce := range []bool{false, true} {
		b.Run(fmt.Sprintf("atonce=%v", atOnce), func(b *testing.B) {
			for b.Loop() {
				if _, err := db.Run(b.Context(), atOnce, ss...); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Who goes away while the end of a transaction waits for somebody else is told at once
// that nothing is stored.
func TestEndIsCalledOff(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	name := func(name string) store.Statement {
		return store.Statement{Query: `update fleets set name = ?`, Args: []any{name}, Later: true}
	}
	if _, err := db.Run(t.Context(), false, store.Statement{Query: `insert into fleets (name, name_key) values ('North', 'north')`, Later: true}); err != nil {
		t.Fatal(err)
	}
	x, err := db.WritePool().BeginTxx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer x.Rollback()
	if _, err := x.Exec(`update fleets set name = 'West'`); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	if _, err := db.Run(ctx, false, name("South")); err == nil || errors.Is(err, fleet.ErrUnsure) {
		t.Errorf("got %v, want an error that says that nothing is stored", err)
	}
	if err := x.Rollback(); err != nil {
		t.Fatal(err)
	}
	got, err := db.Run(t.Context(), false, store.Statement{Query: `select name from fleets`})
	if want := `[[]interface {}{"North"}]`; err != nil || fmt.Sprint(got) != want {
		t.Errorf("after it: got %s, %v, want %s", got, err, want)
	}
}
