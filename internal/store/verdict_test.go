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
	})
}
