package dashboard

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// TestBrowserCardGone marks a step of a card that a colleague closes meanwhile: what was
// entered is told on the closed card, and gone from the phone once it is thrown away.
func TestBrowserCardGone(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	faults := complaints(t, ctx)
	look(t, ctx, phone, "light", fmt.Sprintf("%s/cards/%d", srv.URL, card.ID))
	until(t, ctx, loaded)
	if _, err := w.svc.CloseCard(t.Context(), auth.AllFleets(), "M. M.", card.ID, fleet.CardDropped, ""); err != nil {
		t.Fatal(err)
	}
	must(t, ctx, press(`input[name=state_2][value=done]`), typeIn(`input[name=note_2]`, "on four stands"), press(`.steps-form button`))
	until(t, ctx, `document.querySelector(".steps-form .state").textContent.includes("is closed")`)
	if got := faults(); !strings.Contains(got, "409") {
		t.Errorf("the browser complains: %s", got)
	}
	must(t, ctx, chromedp.Navigate(srv.URL+"/cards"))
	until(t, ctx, `document.querySelector(".returned a") !== null`)
	if eval[bool](t, ctx, `document.querySelector(".lost") !== null`) {
		t.Error("it may be thrown away where it is not to be read")
	}
	must(t, ctx, press(`.returned a`))
	until(t, ctx, `document.querySelector(".lost") !== null`)
	if got := textOf(t, ctx, ".lost"); !strings.Contains(got, "is closed") || !strings.Contains(got, "kept on this phone: state 2: done; note 2: on four stands.") {
		t.Errorf("on the closed card: got %q", got)
	}
	fits390(t, ctx)
	shoot(t, ctx, "card-gone-390-light")
	must(t, ctx, press(`.lost button`))
	until(t, ctx, `document.querySelector(".returned, .lost") === null && Object.keys(localStorage).every(k => !k.startsWith("brakewear:form:"))`)
	if got := faults(); got != "" {
		t.Errorf("the browser complains: %s", got)
	}
}

// TestBrowserKeepsNothing puts a doubted value right where the browser keeps nothing: it
// is not said to be kept.
func TestBrowserKeepsNothing(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, "Bus 1")+"/measure")
	eval[bool](t, ctx, `Storage.prototype.setItem = () => { throw new Error("full") }, true`)
	enter(t, ctx, "1-left-inner-pad", "9.9") // 5.1 mm in February
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	until(t, ctx, `document.querySelector(".state").textContent.startsWith("One value wants a second look")`)
	eval[bool](t, ctx, `document.querySelector("[name='1-left-inner-pad']").value = "", true`)
	enter(t, ctx, "1-left-inner-pad", "4.5")
	until(t, ctx, `document.querySelector(".state").textContent === "This browser keeps nothing: stay on this page until it is sent."`)
}

// TestBrowserFindRefused says of a list that the server does not give that it could not
// be had, and not that there is no connection.
func TestBrowserFindRefused(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if r.URL.Query().Has("q") {
			http.Error(rw, "forbidden", http.StatusForbidden)
			return
		}
		w.handler.ServeHTTP(rw, r)
	}))
	defer srv.Close()
	look(t, ctx, phone, "light", srv.URL+"/measure")
	must(t, ctx, typeIn("#find", "bus"))
	until(t, ctx, `document.querySelector(".find-say").textContent === "The list could not be had: load the page again."`)
}

// TestBrowserUnclaimed has a form of an earlier version on the phone, which did not note
// whose it is: it waits until somebody says that it is theirs.
func TestBrowserUnclaimed(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, "Bus 1")+"/measure")
	until(t, ctx, loaded)
	enter(t, ctx, "1-left-inner-pad", "4.5")
	until(t, ctx, `Object.keys(localStorage).filter((key) => key.startsWith("brakewear:form:")).map((key) => {
		localStorage.setItem("brakewear:form:" + key.split(":").pop(), localStorage.getItem(key));
		localStorage.removeItem(key);
	}).length === 1`)
	must(t, ctx, chromedp.Reload())
	until(t, ctx, loaded+` && document.querySelector(".unclaimed button")?.textContent === "Bus 1: it is mine"`)
	if got := eval[string](t, ctx, `document.querySelector("[name='1-left-inner-pad']").value`); got != "" {
		t.Errorf("nobody's form is shown, with %q", got)
	}
	fits390(t, ctx)
	shoot(t, ctx, "unclaimed-390-light")
	must(t, ctx, press(`.unclaimed button`))
	until(t, ctx, loaded+` && document.querySelector(".unclaimed") === null && document.querySelector("[name='1-left-inner-pad']").value === "4.5"`)
}
