package dashboard

import (
	"net/http/httptest"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// TestBrowserLooksAgain: a page that shows work under way follows it in place,
// and keeps the focus; when the work is over it rests.
func TestBrowserLooksAgain(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	worked(t, w)
	db := w.svc.DB
	r := store.Refit{Model: "line", AsOf: today, Risk: .05, Scope: auth.AllFleets(), Knows: []byte("{}")}
	if err := db.JoinRefit(t.Context(), &r, 2); err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	faults := complaints(t, ctx)
	look(t, ctx, desk, "light", srv.URL+"/work")
	until(t, ctx, `document.querySelector(".work dd[role=status]").textContent.startsWith("Learning")`)
	// A mark that a page loaded anew would not have.
	eval[bool](t, ctx, `window.same = true, document.querySelector("[data-again] a").focus(), true`)
	if err := db.FailRefit(t.Context(), r.ID, "the test ends it"); err != nil {
		t.Fatal(err)
	}
	run, err := db.StartNow(t.Context(), "refit", "UTC", tester)
	if err != nil {
		t.Fatal(err)
	}
	until(t, ctx, `document.querySelector(".work-now [role=status]") !== null`)
	if !eval[bool](t, ctx, `window.same === true && document.activeElement === document.querySelector("[data-again] a")`) {
		t.Error("the page was loaded anew, or lost the focus")
	}
	if err := db.EndRun(t.Context(), run.ID, store.RunDone, ""); err != nil {
		t.Fatal(err)
	}
	until(t, ctx, `document.querySelector("[data-again]") === null`)
	if !eval[bool](t, ctx, `window.same === true && document.querySelectorAll("h1").length === 1`) {
		t.Error("the end was not shown in place")
	}
	if got := faults(); got != "" {
		t.Errorf("the browser complains: %s", got)
	}
}
