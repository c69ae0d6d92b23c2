// Package openidtest is an OpenID Connect provider on loopback for tests: it
// lets in whom a test says, and lies or fails in the ways that a provider, or
// somebody on the way, could. It never asks anybody for a password.
package openidtest

import (
	"crypto/rand"
	"crypto/rsa"
	"encoding/base64"
	"encoding/json"
	"maps"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/golang-jwt/jwt/v5"
	"github.com/oauth2-proxy/mockoidc"

	"brakewear/internal/openid"
)

// Person is who signs in at the provider.
type Person struct {
	Subject, Email string
	Verified       bool
	// Alter changes the ID token before it is signed; nil = not.
	Alter func(claims map[string]any)
	// Untold leaves the address out of the ID token; Info is what the provider
	// tells when asked instead.
	Untold bool
	Info   map[string]any
	// Forge replaces the token's signature: "key" by one of another key that
	// claims to be the provider's, "none" by none, "secret" by one with the
	// client's secret.
	Forge string
}

// Server is a running provider.
type Server struct {
	mock *mockoidc.MockOIDC

	mu     sync.Mutex
	forge  string
	status int // of answers to addresses that end in at; 0 = as it should be
	at     string
	asked  int
}

// Start starts a provider that ends with the test.
func Start(tb testing.TB) *Server {
	tb.Helper()
	s := &Server{}
	var err error
	if s.mock, err = mockoidc.NewServer(nil); err != nil {
		tb.Fatal(err)
	}
	if err = s.mock.AddMiddleware(s.answer); err != nil {
		tb.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	if err = s.mock.Start(l, nil); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { s.End() })
	return s
}

// End ends the provider: nobody listens there any more.
func (s *Server) End() { s.mock.Server.Close() }

// Provider returns the settings by which it is used.
func (s *Server) Provider(callback string) *openid.Provider {
	return &openid.Provider{
		Issuer: s.mock.Issuer(), ClientID: s.mock.ClientID, Secret: s.mock.ClientSecret,
		Name: "Island Accounts", Callback: callback,
	}
}

// Fail makes answers to addresses that end in at those of a status; 0 = as
// they should be.
func (s *Server) Fail(status int, at string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.status, s.at = status, at
}

// Asked returns how many questions the provider got.
func (s *Server) Asked() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.asked
}

// Next makes p the one who signs in next.
func (s *Server) Next(p Person) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.forge = p.Forge
	s.mock.QueueUser(&user{&mockoidc.MockUser{Subject: p.Subject, Email: p.Email, EmailVerified: p.Verified}, p})
}

// Visit signs p in at an address that a browser was sent to, and returns the
// query that it comes back with.
func (s *Server) Visit(tb testing.TB, address string, p Person) url.Values {
	tb.Helper()
	s.Next(p)
	c := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := c.Get(address)
	if err != nil {
		tb.Fatal(err)
	}
	res.Body.Close()
	to, err := res.Location()
	if err != nil {
		tb.Fatalf("the provider answers %s and sends nobody back", res.Status)
	}
	return to.Query()
}

// user is a Person as the mock wants it.
type user struct {
	*mockoidc.MockUser
	p Person
}

func (u *user) Claims(_ []string, base *mockoidc.IDTokenClaims) (jwt.Claims, error) {
	b, err := json.Marshal(base)
	if err != nil {
		return nil, err
	}
	claims := jwt.MapClaims{}
	if err := json.Unmarshal(b, &claims); err != nil {
		return nil, err
	}
	if !u.p.Untold {
		claims["email"], claims["email_verified"] = u.p.Email, u.p.Verified
	}
	if u.p.Alter != nil {
		u.p.Alter(claims)
	}
	return claims, nil
}

func (u *user) Userinfo([]string) ([]byte, error) {
	info := map[string]any{"sub": u.p.Subject}
	maps.Copy(info, u.p.Info)
	return json.Marshal(info)
}

// answer is what all questions go through.
func (s *Server) answer(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		s.asked++
		status, at, forge := s.status, s.at, s.forge
		s.mu.Unlock()
		switch {
		case status != 0 && strings.HasSuffix(r.URL.Path, at):
			http.Error(w, "broken", status)
		case forge != "" && r.URL.Path == mockoidc.TokenEndpoint:
			rec := httptest.NewRecorder()
			h.ServeHTTP(rec, r)
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(rec.Code)
			w.Write(s.forged(rec.Body.Bytes(), forge))
		default:
			h.ServeHTTP(w, r)
		}
	})
}

// forged returns a token answer whose ID token is signed in another way.
func (s *Server) forged(answer []byte, forge string) []byte {
	var tokens map[string]any
	if err := json.Unmarshal(answer, &tokens); err != nil || tokens["id_token"] == nil {
		return answer // the mock refused
	}
	parts := strings.Split(tokens["id_token"].(string), ".")
	payload, err := base64.RawURLEncoding.DecodeString(parts[1])
	if err != nil {
		panic(err) // the mock made it
	}
	claims := jwt.MapClaims{}
	if err := json.Unmarshal(payload, &claims); err != nil {
		panic(err)
	}
	kid, err := s.mock.Keypair.KeyID()
	if err != nil {
		panic(err)
	}
	var token string
	switch forge {
	case "none":
		token, err = jwt.NewWithClaims(jwt.SigningMethodNone, claims).SignedString(jwt.UnsafeAllowNoneSignatureType)
	case "secret":
		token, err = jwt.NewWithClaims(jwt.SigningMethodHS256, claims).SignedString([]byte(s.mock.ClientSecret))
	default:
		var key *rsa.PrivateKey
		if key, err = rsa.GenerateKey(rand.Reader, 2048); err == nil {
			other := mockoidc.Keypair{PrivateKey: key, PublicKey: &key.PublicKey, Kid: kid}
			token, err = other.SignJWT(claims)
		}
	}
	if err != nil {
		panic(err)
	}
	tokens["id_token"] = token
	b, err := json.Marshal(tokens)
	if err != nil {
		panic(err)
	}
	return b
}
