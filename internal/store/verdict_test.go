package store_test

import (
	"errors"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What was said first stays, it is read with the test, and another fleet can say
// nothing of it. The judgement is invented.
func TestSaveVerdicts(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"))
		mustBrakeTests(t, db, rollerTest(ids[0], monday, fleet.Routine, 400), rollerTest(ids[0], monday+1, fleet.Routine, 410))
		tests := func() []fleet.BrakeTest {
			t.Helper()
			bs, err := db.BrakeTests(t.Context(), all, ids[0])
			if err != nil || len(bs) != 2 {
				t.Fatalf("got %+v, %v", bs, err)
			}
			return bs
		}
		bs := tests()
		first := bs[0].ID
		eu := map[int64]fleet.Said{first: {RuleSet: "eu", Verdict: "fails", Judgement: []byte(`{"set":"eu"}`)}}
		for _, sc := range []auth.Scope{{}, auth.ScopeOf([]int64{999}, nil)} {
			if err := db.SaveVerdicts(t.Context(), sc, eu); !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("another's: got %v", err)
			}
		}
		if bs = tests(); bs[0].Said != nil {
			t.Fatalf("got %+v", bs[0].Said)
		}
		for _, said := range []map[int64]fleet.Said{eu, {first: {RuleSet: "uk", Verdict: "meets", Judgement: []byte(`{}`)}}, nil} {
			if err := db.SaveVerdicts(t.Context(), all, said); err != nil {
				t.Fatal(err)
			}
		}
		bs = tests()
		if s := bs[0].Said; s == nil || s.RuleSet != "eu" || s.Verdict != "fails" || string(s.Judgement) != `{"set":"eu"}` || s.At.IsZero() {
			t.Errorf("got %+v", s)
		}
		if bs[1].Said != nil {
			t.Errorf("the other: got %+v", bs[1].Said)
		}

		// Judged anew the newest is in force, the first of two that follow the same
		// correction, and all that was said is there. The facts are invented.
		for _, verdict := range []string{"meets", "unclear"} {
			anew := map[int64]fleet.Said{first: {Number: 1, RuleSet: "eu", Verdict: verdict, Judgement: []byte(`{}`), Facts: `{"year":2019}`, Why: "year 2019, before 2009"}}
			for _, sc := range []auth.Scope{{}, auth.ScopeOf([]int64{999}, nil)} {
				if err := db.SaveVerdicts(t.Context(), sc, anew); !errors.Is(err, fleet.ErrNotFound) {
					t.Errorf("another's: got %v", err)
				}
			}
			if err := db.SaveVerdicts(t.Context(), all, anew); err != nil {
				t.Fatal(err)
			}
		}
		if s := tests()[0].Said; s.Number != 1 || s.Verdict != "meets" || s.Facts != `{"year":2019}` || s.Why != "year 2019, before 2009" {
			t.Errorf("judged anew: got %+v", s)
		}
		said, err := db.Verdicts(t.Context(), all, ids[0])
		if err != nil || len(said) != 1 || len(said[first]) != 2 || said[first][0].Verdict != "fails" || said[first][1].Verdict != "meets" || said[first][0].At.IsZero() {
			t.Errorf("all that was said: got %+v, %v", said, err)
		}
		if _, err := db.Verdicts(t.Context(), auth.ScopeOf([]int64{999}, nil), ids[0]); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another's: got %v", err)
		}
	})
}
