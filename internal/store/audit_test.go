package store_test

import (
	"context"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The database itself refuses to change what stands in the log.
func TestDeedsStay(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			mustVehicles(t, db, entry("Bus 1"))
			before := storetest.Dump(t, url, `select * from audit_log`)
			if len(before) != 1 {
				t.Fatalf("got %d rows of one upload", len(before))
			}
			statements := []string{
				`update audit_log set done_by = 'nobody'`,
				`update audit_log set detail = '' where false`,
				`delete from audit_log`,
				`delete from audit_log where id = 1`,
			}
			if dialect == store.Postgres {
				statements = append(statements,
					`truncate audit_log`,
					`truncate accounts cascade`,
					`set local session_replication_role = replica; delete from audit_log`)
			} else {
				statements = append(statements,
					`insert or replace into audit_log select id, at, 'nobody', account_id, token_id, via, origin, request, act, record, record_id, fleet_id, depot_id, detail from audit_log`,
					`update or replace audit_log set done_by = 'nobody'`)
				statements = slices.Delete(statements, 1, 2) // a trigger of a row has none there
			}
			for _, s := range statements {
				x, err := db.WritePool().Beginx()
				if err != nil {
					t.Fatal(err)
				}
				_, err = x.Exec(s)
				if err == nil {
					err = x.Commit()
				} else {
					x.Rollback()
				}
				if err == nil || !strings.Contains(err.Error(), "never changed or taken away") {
					t.Errorf("%s: got %v, want it refused", s, err)
				}
			}
			if d := cmp.Diff(before, storetest.Dump(t, url, `select * from audit_log`)); d != "" {
				t.Error(d)
			}
		})
	}
}

// A change that fails leaves no row, and one that tells nothing is refused.
func TestDeedsWithTheirChange(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"))
		count := func() int {
			ds, err := db.Deeds(t.Context(), all, store.DeedQuery{})
			if err != nil {
				t.Fatal(err)
			}
			return len(ds)
		}
		before := count()
		failed := errors.New("failed")
		up := fleet.Upload{Kind: "test", Name: "test.csv", By: "N. N."}
		err := db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
			if _, err := w.Vehicles([]store.VehicleEntry{entry("Bus 2")}); err != nil {
				return err
			}
			return failed
		})
		if !errors.Is(err, failed) {
			t.Fatal(err)
		}
		err = db.Trial(t.Context(), func(trial *store.DB) error {
			mustVehicles(t, trial, entry("Bus 3"))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := count(); got != before {
			t.Errorf("got %d rows of what was undone", got-before)
		}
		set := func(what, zone string) error {
			return db.Untold(t.Context(), what, `update depots set time_zone = ?`, zone)
		}
		if err := set("change silently", "Asia/Tokyo"); !errors.Is(err, store.ErrUntold) {
			t.Errorf("got %v for a change of which nothing is told", err)
		}
		if d := depotOf(t, db, "Quay"); d.TimeZone == "Asia/Tokyo" {
			t.Error("a change of which nothing is told was kept")
		}
		// Within a larger transaction each part tells for itself.
		err = db.Together(t.Context(), "do both", func(together *store.DB) error {
			if err := together.SetTimeZone(t.Context(), all, depotOf(t, db, "Quay").ID, "Asia/Tokyo"); err != nil {
				return err
			}
			return together.Untold(t.Context(), "change silently", `update depots set time_zone = ?`, "UTC")
		})
		if !errors.Is(err, store.ErrUntold) {
			t.Errorf("got %v for a part of which nothing is told", err)
		}
	})
}

// Who reads which rows, and how they are found.
func TestDeeds(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		now := time.Date(2026, 3, 2, 23, 59, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("North", "Mill")))
		now = now.Add(2 * time.Minute)
		mustVehicles(t, db, entry("Bus 3", of("South", "Far Side")))
		mustVehicles(t, db, entry("Bus 4"), entry("Bus 5", of("South", "Far Side")))
		quay, mill, far := depotOf(t, db, "Quay"), depotOf(t, db, "Mill"), depotOf(t, db, "Far Side")
		a := store.Account{Name: "ann", Email: "ann@example.org", Grants: []store.Grant{
			{Role: auth.Planner, Place: store.Place{FleetID: quay.FleetID, DepotID: mill.ID}}}}
		if err := db.AddAccount(t.Context(), all, "chief", &a); err != nil {
			t.Fatal(err)
		}
		ctx := auth.WithOrigin(t.Context(), auth.Origin{
			Via: auth.ViaPage, From: "192.0.2.7", Name: "ann", Account: a.ID, Request: "R1"})
		if err := db.SetTimeZone(ctx, all, mill.ID, "Asia/Tokyo"); err != nil {
			t.Fatal(err)
		}
		if err := db.SetTimeZone(ctx, all, far.ID, "Asia/Tokyo"); err != nil {
			t.Fatal(err)
		}
		words := func(d store.Deed) string {
			return strings.TrimSpace(fmt.Sprintf("%s: %s %s %s/%s", d.By, d.Record, d.Act, d.Fleet, d.Depot))
		}
		north, south := auth.ScopeOf([]int64{quay.FleetID}, nil), auth.ScopeOf([]int64{far.FleetID}, nil)
		day := time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC)
		for _, c := range []struct {
			name string
			sc   auth.Scope
			q    store.DeedQuery
			want []string
		}{
			{"all", all, store.DeedQuery{}, []string{
				"ann: workshop time zone set South/Far Side",
				"ann: workshop time zone set North/Mill",
				"chief: account added /",
				"chief: account role given North/Mill",
				"N. N.: upload taken in South/Far Side",
				"N. N.: upload taken in North/Quay",
				"N. N.: upload taken in South/Far Side",
				"N. N.: upload taken in North/",
			}},
			{"a fleet", north, store.DeedQuery{}, []string{
				"ann: workshop time zone set North/Mill",
				"chief: account role given North/Mill",
				"N. N.: upload taken in North/Quay",
				"N. N.: upload taken in North/",
			}},
			{"another", south, store.DeedQuery{}, []string{
				"ann: workshop time zone set South/Far Side",
				"N. N.: upload taken in South/Far Side",
				"N. N.: upload taken in South/Far Side",
			}},
			{"a depot", auth.ScopeOf(nil, []int64{mill.ID}), store.DeedQuery{}, []string{
				"ann: workshop time zone set North/Mill",
				"chief: account role given North/Mill",
			}},
			{"nothing", auth.Scope{}, store.DeedQuery{}, nil},
			{"by whom", all, store.DeedQuery{By: "chief"}, []string{"chief: account added /", "chief: account role given North/Mill"}},
			{"a record", all, store.DeedQuery{Record: "workshop", RecordID: far.ID}, []string{"ann: workshop time zone set South/Far Side"}},
			{"a kind, of a fleet", north, store.DeedQuery{Record: "workshop"}, []string{"ann: workshop time zone set North/Mill"}},
			{"a day", north, store.DeedQuery{From: day.AddDate(0, 0, -1), To: day}, []string{"N. N.: upload taken in North/"}},
			{"an empty day", north, store.DeedQuery{From: day.AddDate(0, 0, 1)}, nil},
			{"a page", north, store.DeedQuery{Limit: 2}, []string{"ann: workshop time zone set North/Mill", "chief: account role given North/Mill"}},
		} {
			ds, err := db.Deeds(t.Context(), c.sc, c.q)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, d := range ds {
				got = append(got, words(d))
			}
			if d := cmp.Diff(c.want, got); d != "" {
				t.Errorf("%s: (-want +got)\n%s", c.name, d)
			}
		}
		ds, err := db.Deeds(t.Context(), all, store.DeedQuery{Limit: 1})
		if err != nil || len(ds) != 1 {
			t.Fatal(ds, err)
		}
		want := store.Deed{
			ID: ds[0].ID, At: now, By: "ann", Account: a.ID, Via: auth.ViaPage, From: "192.0.2.7", Request: "R1",
			Act: "time zone set", Record: "workshop", RecordID: far.ID, Detail: "Asia/Tokyo",
			Place: store.Place{FleetID: far.FleetID, DepotID: far.ID, Fleet: "South", Depot: "Far Side"},
		}
		if d := cmp.Diff(want, ds[0]); d != "" {
			t.Error(d)
		}
		next, err := db.Deeds(t.Context(), all, store.DeedQuery{Limit: 1, Before: ds[0].ID})
		if err != nil || len(next) != 1 || next[0].Depot != "Mill" {
			t.Errorf("got %v, %v, want the row before", next, err)
		}
	})
}

// Signing in stands in the log, without anything that was typed, and a flood of
// wrong passwords is told of so far and no further.
func TestDeedsOfSignIn(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			ctx := t.Context()
			secret, err := storetest.SignIn(ctx, db, "ann", auth.Grant{Role: auth.Admin})
			if err != nil {
				t.Fatal(err)
			}
			who, err := db.SessionOf(ctx, secret)
			if err != nil {
				t.Fatal(err)
			}
			link, token := auth.NewSecret(), auth.NewSecret()
			for _, err := range []error{
				db.NoteWrongPassword(ctx, who.Account, "email ann@example.org", "pair typed-into-the-wrong-field"),
				db.NoteWrongPassword(ctx, 0, "email typed-into-the-wrong-field"),
				db.AddToken(ctx, who, &store.Token{Name: "press", Rights: []auth.Right{auth.See}, Until: db.Now().Add(time.Hour)}, token),
				db.AddLink(ctx, all, "chief", who.Account, link),
				db.ChangePassword(ctx, who, "hash-of-a-password"),
				db.EndOtherSessions(ctx, who),
				db.EndSession(ctx, who),
			} {
				if err != nil {
					t.Fatal(err)
				}
			}
			var got []string
			ds, err := db.Deeds(ctx, all, store.DeedQuery{})
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range ds {
				got = append(got, fmt.Sprintf("%s: %s %s", d.By, d.Record, d.Act))
			}
			want := []string{
				"ann: account signed out", "ann: account signed out elsewhere", "ann: account password changed",
				"chief: account link made", "ann: token added", ": account sign-in failed", ": account sign-in failed",
				"ann: account signed in", "test: account added", "test: account role given"}
			if d := cmp.Diff(want, got); d != "" {
				t.Error(d)
			}
			text := strings.Join(storetest.Dump(t, url, `select * from audit_log`), "\n")
			for _, s := range []string{secret, link, token, auth.Hash(secret), auth.Hash(link), auth.Hash(token), "hash-of-a-password", "typed-into-the-wrong-field"} {
				if strings.Contains(text, s) {
					t.Errorf("the log holds %q", s)
				}
			}

			for range store.FailuresLogged + 3 {
				if err := db.NoteWrongPassword(ctx, 0, "origin 192.0.2.7"); err != nil {
					t.Fatal(err)
				}
			}
			if n, _, err := db.Failures(ctx, "origin 192.0.2.7", time.Time{}); n != store.FailuresLogged+3 || err != nil {
				t.Errorf("got %d, %v, want all counted", n, err)
			}
			rows := storetest.Dump(t, url, `select count(*) as n from audit_log where act = 'sign-in failed'`)
			if got, want := strings.TrimSpace(rows[0]), fmt.Sprintf("n=%d", store.FailuresLogged); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
		})
	}
}

// What is taken out of the database, or done to the whole of it, is told of, to
// who sees everything; a list is given away while nobody can write, untold.
func TestDeedsOfTaking(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := auth.WithOrigin(t.Context(), auth.Origin{Via: auth.ViaCommand, From: "root", Name: "command line"})
		if err := db.TellTaken(ctx, "backed up", "to fleet.db"); err != nil {
			t.Fatal(err)
		}
		if err := db.TellExport(ctx, "/due.csv?within=0"); err != nil {
			t.Fatal(err)
		}
		cut, cancel := context.WithCancel(ctx)
		cancel()
		if err := db.TellExport(cut, "/due.csv"); !errors.Is(err, context.Canceled) {
			t.Errorf("a request that ended: got %v, want context.Canceled", err)
		}
		var got []string
		ds, err := db.Deeds(ctx, all, store.DeedQuery{Record: "database"})
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range ds {
			got = append(got, fmt.Sprintf("%s of %s: %s %s", d.By, d.From, d.Act, d.Detail))
		}
		want := []string{"command line of root: exported /due.csv?within=0", "command line of root: backed up to fleet.db"}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
		if ds, err := db.Deeds(ctx, auth.ScopeOf([]int64{1}, nil), store.DeedQuery{}); err != nil || len(ds) != 0 {
			t.Errorf("an admin of a fleet reads %+v, %v, want nothing", ds, err)
		}
	})
}

// tended are the methods that write without telling the log of changes, with
// what they keep: nothing that a person decided. A new one needs a reason here.
var tended = map[string]string{
	"writeBy":            "tells",
	"Trial":              "is undone",
	"Together":           "its parts tell",
	"CleanUp":            "what nobody needs any more",
	"ExpireFiles":        "likewise",
	"ForgetFailures":     "counts of wrong passwords",
	"NoteFailure":        "counts of links asked for",
	"TakeStep":           "that a code was used; the session tells",
	"KeepSecond":         "the same secret, under another key",
	"RenewSession":       "the same session; what it is renewed for tells",
	"note":               "that somebody was here",
	"CalendarFeedOf":     "when a calendar was read",
	"SaveKept":           "how far the work on a file is; the upload tells",
	"Unwritten":          "a look at what others wrote, among who writes",
	"NoteProgress":       "likewise",
	"KeepRecord":         "sums over forecasts",
	"PourBare":           "of measurements of speed",
	"PourForecasts":      "likewise",
	"ClaimDigest":        "what was mailed to whom, in a table of its own",
	"EndDigest":          "likewise",
	"SaveForecasts":      "forecasts",
	"LogForecasts":       "likewise",
	"SaveParameters":     "what was learned",
	"SaveFindings":       "what the data show",
	"HoldVehicles":       "nothing",
	"SaveVerdicts":       "what is said of brake tests",
	"JoinRefit":          "how far a refit is",
	"FailRefit":          "likewise",
	"takeShare":          "likewise",
	"RenewShare":         "likewise",
	"DropShare":          "likewise",
	"FinishShare":        "likewise",
	"SaveShareForecasts": "likewise",
	"TakeJoin":           "likewise",
	"RenewJoin":          "likewise",
	"NextStep":           "likewise",
	"EndRefit":           "likewise",
	"lockLease":          "locks",
	"holds":              "likewise",
	"release":            "likewise",
	"BeginJob":           "the clock's work, in a table of its own",
	"ShowNext":           "likewise",
	"StartDue":           "likewise",
	"StartWaiting":       "likewise; who asked for it was told",
	"Restart":            "likewise",
	"EndRun":             "likewise",
	"Move":               "takes the log along",
}

// Every kind of record that the log speaks of is one that people can look for.
func TestDeedRecords(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]bool{string(fleet.BrakeTestRecord): true, string(fleet.ConditionRecord): true} // and what a Change corrects
	for _, k := range fleet.RecordKinds {
		got[string(k)] = true
	}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if lit, ok := n.(*ast.CompositeLit); ok {
				if name, ok := lit.Type.(*ast.Ident); ok && name.Name == "entry" {
					for _, e := range lit.Elts {
						if kv, ok := e.(*ast.KeyValueExpr); ok && fmt.Sprint(kv.Key) == "record" {
							if word, ok := kv.Value.(*ast.BasicLit); ok {
								got[strings.Trim(word.Value, `"`)] = true
							}
						}
					}
				}
			}
			return true
		})
	}
	if d := cmp.Diff(store.DeedRecords, slices.Sorted(maps.Keys(got))); d != "" {
		t.Errorf("(-listed +told) %s", d)
	}
}

// TestTended finds the methods that write without telling the log of changes.
func TestTended(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, decl := range f.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			ast.Inspect(fn, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				sel, ok := call.Fun.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				if name := sel.Sel.Name; name == "tend" || name == "tendBy" && fn.Name.Name != "tend" {
					got = append(got, fn.Name.Name)
				}
				// The only other way to a transaction that writes.
				if sel.Sel.Name == "run" && fn.Name.Name != "tendBy" && fn.Name.Name != "readBy" {
					t.Errorf("%s, %s: begins a transaction past writeBy, tendBy and readBy", file, fn.Name.Name)
				}
				return true
			})
		}
	}
	for _, name := range got {
		if tended[name] == "" {
			t.Errorf("%s writes without telling the log of changes: it goes through DB.write and tells by tx.log, or tended says why not", name)
		}
	}
	for name := range tended {
		if !slices.Contains(got, name) {
			t.Errorf("tended lists %s, which does not", name)
		}
	}
}
