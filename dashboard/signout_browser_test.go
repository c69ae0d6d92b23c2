package dashboard

import (
	"net/http/httptest"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestBrowserSignOut leaves no page on a phone that somebody else takes next.
func TestBrowserSignOut(t *testing.T) {
	ctx := browser(t)
	w := small(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	look(t, ctx, phone, "light", srv.URL+w.vehiclePath(t, "Bus 1")+"/measure")
	until(t, ctx, `navigator.serviceWorker.controller !== null`)
	must(t, ctx, chromedp.Reload()) // by the worker, which keeps it
	kept := `(caches.keys().then((names) => { window.kept = names.includes("brakewear-pages"); }), window.kept)`
	until(t, ctx, kept+` === true`)
	must(t, ctx, chromedp.Click(chromedp.CSS(".sign-out button")))
	until(t, ctx, `location.pathname === "/sign-in"`)
	until(t, ctx, kept+` === false`)
}
