package dashboard

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

func TestCalendars(t *testing.T) {
	w := small(t)
	check(t, parse(t, w.get("/calendars").Body.String()), []has{{"h1", "Calendars"}, {"select[name=depot] option", "Harbour"}, {"main", "None yet"}, {".address", ""}})
	for _, c := range []struct {
		name string
		form url.Values
		want string
	}{
		{"of nothing", url.Values{}, "Choose a depot"},
		{"of both", url.Values{"depot": {"1"}, "vehicle": {"Bus 1"}}, "Choose a depot"},
		{"of no vehicle", url.Values{"vehicle": {"Tram 4"}}, "No vehicle has the number Tram 4"},
	} {
		rec := w.submit("/calendars", c.form)
		if rec.Code != http.StatusBadRequest {
			t.Errorf("%s: got status %d", c.name, rec.Code)
		}
		check(t, parse(t, rec.Body.String()), []has{{".wrong", c.want}, {".address", ""}})
	}

	rec := w.submit("/calendars", url.Values{"vehicle": {"bus 1"}})
	doc := parse(t, rec.Body.String())
	check(t, doc, []has{{".made h2", "Calendar of Bus 1"}, {".listed li", "made 2 Mar 2026 by dashboard · never read"}})
	address, err := url.Parse(text(find(doc, ".address")[0]))
	if err != nil || address.Host != "example.com" || !strings.HasPrefix(address.Path, "/calendar/") || len(address.Path) < 30 {
		t.Fatalf("address: got %v, %v", address, err)
	}
	if again := w.get("/calendars").Body.String(); strings.Contains(again, address.Path) {
		t.Error("the address is shown again")
	}

	feed := w.get(address.Path)
	if feed.Code != http.StatusOK || feed.Header().Get("Content-Type") != "text/calendar; charset=utf-8" || !strings.HasPrefix(feed.Body.String(), "BEGIN:VCALENDAR\r\n") {
		t.Errorf("got %d %v %s", feed.Code, feed.Header(), feed.Body)
	}
	check(t, parse(t, w.get("/calendars").Body.String()), []has{{".listed li", "last read 2 Mar 2026"}})
	for tag, want := range map[string]int{
		feed.Header().Get("ETag"):                    http.StatusNotModified,
		`W/` + feed.Header().Get("ETag"):             http.StatusNotModified,
		`"other", ` + feed.Header().Get("ETag"):      http.StatusNotModified,
		`"other"`:                                    http.StatusOK,
		strings.Trim(feed.Header().Get("ETag"), `"`): http.StatusOK,
	} {
		req := httptest.NewRequest(http.MethodGet, address.Path, nil)
		req.Header.Set("If-None-Match", tag)
		got := httptest.NewRecorder()
		w.handler.ServeHTTP(got, req)
		if got.Code != want || want == http.StatusNotModified && got.Body.Len() > 0 {
			t.Errorf("If-None-Match %s: got %d with %d bytes, want %d", tag, got.Code, got.Body.Len(), want)
		}
	}
	head := httptest.NewRecorder()
	w.handler.ServeHTTP(head, httptest.NewRequest(http.MethodHead, address.Path, nil))
	if head.Code != http.StatusOK || head.Header().Get("ETag") != feed.Header().Get("ETag") {
		t.Errorf("HEAD: got %d %v", head.Code, head.Header())
	}

	withdraw := find(doc, ".listed form")
	if rec := w.submit(attr(withdraw[0], "action"), url.Values{}); rec.Code != http.StatusSeeOther {
		t.Errorf("withdrawn: got %d %s", rec.Code, rec.Body)
	}
	for _, path := range []string{address.Path, "/calendar/x.ics", "/calendar/x"} {
		if rec := w.get(path); rec.Code != http.StatusNotFound {
			t.Errorf("%s: got %d, want not found", path, rec.Code)
		}
	}
}

// Behind a proxy that ends TLS, an address is one that works from outside.
func TestAddressOverTLS(t *testing.T) {
	w := small(t)
	session, err := storetest.SignIn(t.Context(), w.svc.DB, "over TLS", auth.Grant{Role: auth.Admin})
	if err != nil {
		t.Fatal(err)
	}
	req := httptest.NewRequest(http.MethodPost, "/calendars", strings.NewReader("vehicle=bus+1"))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.AddCookie(&http.Cookie{Name: "__Host-" + web.SessionCookie, Value: session})
	rec := httptest.NewRecorder()
	web.OverTLS(w.handler).ServeHTTP(rec, req)
	if address := text(find(parse(t, rec.Body.String()), ".address")[0]); !strings.HasPrefix(address, "https://example.com/calendar/") {
		t.Errorf("address: got %s, want https", address)
	}
}
