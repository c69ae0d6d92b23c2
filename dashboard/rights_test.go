package dashboard

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// What somebody may not do is not offered.
func TestPlanOffersWhatMayBeDone(t *testing.T) {
	w := island(t)
	for _, c := range []struct {
		role auth.Role
		want bool
	}{{auth.Planner, true}, {auth.Technician, false}} {
		session, err := storetest.SignIn(t.Context(), w.svc.DB, "offered-"+string(c.role), auth.Grant{Role: c.role})
		if err != nil {
			t.Fatal(err)
		}
		req := httptest.NewRequest(http.MethodGet, "/plan", nil)
		req.AddCookie(&http.Cookie{Name: web.SessionCookie, Value: session})
		rec := httptest.NewRecorder()
		w.handler.ServeHTTP(rec, req)
		if rec.Code != http.StatusOK {
			t.Fatalf("%s: got status %d", c.role, rec.Code)
		}
		for _, offer := range []string{`action="/plan/propose"`, `action="/plan/decide`} {
			if got := strings.Contains(rec.Body.String(), offer); got != c.want {
				t.Errorf("%s: %s offered: got %v, want %v", c.role, offer, got, c.want)
			}
		}
	}
}
