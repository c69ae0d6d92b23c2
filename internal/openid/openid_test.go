package openid_test

import (
	"errors"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/openid"
	"brakewear/internal/openid/openidtest"
)

const (
	callback = "https://brakes.example/sign-in/openid/back"
	secret   = "a secret of the browser"
)

func TestIdentify(t *testing.T) {
	set := func(name string, v any) func(map[string]any) {
		return func(claims map[string]any) { claims[name] = v }
	}
	ann := openidtest.Person{Subject: "ann-1", Email: "ann@island.example", Verified: true}
	with := func(f func(*openidtest.Person)) openidtest.Person {
		p := ann
		f(&p)
		return p
	}
	alter := func(name string, v any) openidtest.Person {
		return with(func(p *openidtest.Person) { p.Alter = set(name, v) })
	}
	past := time.Now().Add(-time.Minute).Unix()
	srv := openidtest.Start(t)
	for _, c := range []struct {
		name     string
		person   openidtest.Person
		secret   string // of the browser that comes back
		query    func(url.Values)
		want     error
		email    string
		verified bool
	}{
		{name: "as it should be", person: ann, email: ann.Email, verified: true},
		{name: "not verified", person: with(func(p *openidtest.Person) { p.Verified = false }), email: ann.Email},
		{name: "verified, as text", person: alter("email_verified", "true"), email: ann.Email, verified: true},
		{name: "not verified, as text", person: alter("email_verified", "false"), email: ann.Email},
		{name: "verified, as a number", person: alter("email_verified", 1), email: ann.Email},
		{name: "without an address", person: with(func(p *openidtest.Person) { p.Untold = true })},
		{name: "with one when asked", person: with(func(p *openidtest.Person) {
			p.Untold, p.Info = true, map[string]any{"email": "ann@hill.example", "email_verified": true}
		}), email: "ann@hill.example", verified: true},
		{name: "another subject when asked", person: with(func(p *openidtest.Person) {
			p.Untold, p.Info = true, map[string]any{"sub": "ben-2", "email": "ben@island.example", "email_verified": true}
		}), want: openid.ErrRefused},
		{name: "another browser", person: ann, secret: "another secret", want: openid.ErrRefused},
		{name: "no errand", person: ann, secret: "-", want: openid.ErrRefused},
		{name: "no state", person: ann, query: func(q url.Values) { q.Del("state") }, want: openid.ErrRefused},
		{name: "another code", person: ann, query: func(q url.Values) { q.Set("code", "guessed") }, want: openid.ErrRefused},
		{name: "no code", person: ann, query: func(q url.Values) { q.Del("code") }, want: openid.ErrRefused},
		{name: "another issuer answers", person: ann, query: func(q url.Values) { q.Set("iss", "https://other.example") }, want: openid.ErrRefused},
		{name: "it was declined", person: ann, query: func(q url.Values) { q.Set("error", "access_denied") }, want: openid.ErrDeclined},
		{name: "wrong nonce", person: alter("nonce", "another"), want: openid.ErrRefused},
		{name: "no nonce", person: with(func(p *openidtest.Person) { p.Alter = func(m map[string]any) { delete(m, "nonce") } }), want: openid.ErrRefused},
		{name: "expired", person: alter("exp", past), want: openid.ErrRefused},
		{name: "for somebody else", person: alter("aud", "another client"), want: openid.ErrRefused},
		{name: "made for somebody else", person: alter("azp", "another client"), want: openid.ErrRefused},
		{name: "of another issuer", person: alter("iss", "https://other.example"), want: openid.ErrRefused},
		{name: "signed by another", person: with(func(p *openidtest.Person) { p.Forge = "key" }), want: openid.ErrRefused},
		{name: "signed by nobody", person: with(func(p *openidtest.Person) { p.Forge = "none" }), want: openid.ErrRefused},
		{name: "signed with the secret", person: with(func(p *openidtest.Person) { p.Forge = "secret" }), want: openid.ErrRefused},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := srv.Provider(callback)
			address, err := p.Address(t.Context(), secret)
			if err != nil {
				t.Fatal(err)
			}
			query := srv.Visit(t, address, c.person)
			if c.query != nil {
				c.query(query)
			}
			back := secret
			if c.secret != "" {
				back = strings.TrimSuffix(c.secret, "-")
			}
			who, err := p.Identify(t.Context(), back, query)
			if c.want != nil {
				if !errors.Is(err, c.want) {
					t.Errorf("got %+v, %v; want %v", who, err, c.want)
				}
				if who != (openid.Identity{}) {
					t.Errorf("with an error: got %+v", who)
				}
				return
			}
			want := openid.Identity{Issuer: p.Issuer, Subject: "ann-1", Email: c.email, Verified: c.verified}
			if err != nil || who != want {
				t.Errorf("got %+v, %v; want %+v", who, err, want)
			}
			if _, err := p.Identify(t.Context(), back, query); !errors.Is(err, openid.ErrRefused) {
				t.Errorf("a code used twice: got %v, want ErrRefused", err)
			}
		})
	}
}

// The address tells what a provider must know, and nothing of the secret.
func TestAddress(t *testing.T) {
	p := openidtest.Start(t).Provider(callback)
	var queries []url.Values
	for _, s := range []string{secret, secret, "another"} {
		address, err := p.Address(t.Context(), s)
		if err != nil {
			t.Fatal(err)
		}
		u, err := url.Parse(address)
		if err != nil || strings.Contains(address, secret) || strings.Contains(address, url.QueryEscape(secret)) {
			t.Errorf("got %s, %v", address, err)
		}
		queries = append(queries, u.Query())
	}
	q := queries[0]
	for name, want := range map[string]string{
		"response_type": "code", "client_id": p.ClientID, "redirect_uri": callback, "scope": "openid email", "code_challenge_method": "S256",
	} {
		if got := q.Get(name); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
	var secrets []string
	for _, name := range []string{"state", "nonce", "code_challenge"} {
		if q.Get(name) != queries[1].Get(name) || q.Get(name) == queries[2].Get(name) {
			t.Errorf("%s: got %q, %q for the same secret, %q for another", name, q.Get(name), queries[1].Get(name), queries[2].Get(name))
		}
		secrets = append(secrets, q.Get(name))
	}
	slices.Sort(secrets)
	if len(slices.Compact(secrets)) != 3 {
		t.Errorf("two of state, nonce and challenge are alike: %v", q)
	}
}

// A provider that is down, breaks or comes back.
func TestUnreachable(t *testing.T) {
	srv := openidtest.Start(t)
	p := srv.Provider(callback)
	srv.Fail(500, "")
	if _, err := p.Address(t.Context(), secret); !errors.Is(err, openid.ErrUnreachable) {
		t.Errorf("broken: got %v, want ErrUnreachable", err)
	}
	asked := srv.Asked()
	if _, err := p.Address(t.Context(), secret); !errors.Is(err, openid.ErrUnreachable) || srv.Asked() != asked {
		t.Errorf("again at once: got %v after %d questions more, want ErrUnreachable after none", err, srv.Asked()-asked)
	}
	srv.Fail(0, "")
	p = srv.Provider(callback)
	address, err := p.Address(t.Context(), secret)
	if err != nil {
		t.Fatal(err)
	}
	query := srv.Visit(t, address, openidtest.Person{Subject: "ann-1"})
	srv.Fail(502, "")
	if _, err := p.Identify(t.Context(), secret, query); !errors.Is(err, openid.ErrUnreachable) {
		t.Errorf("broken on the way back: got %v, want ErrUnreachable", err)
	}
	srv.Fail(502, "jwks.json")
	if _, err := p.Identify(t.Context(), secret, srv.Visit(t, address, openidtest.Person{Subject: "ann-1"})); !errors.Is(err, openid.ErrUnreachable) {
		t.Errorf("without its keys: got %v, want ErrUnreachable", err)
	}
	srv.End()
	if _, err := p.Identify(t.Context(), secret, query); !errors.Is(err, openid.ErrUnreachable) {
		t.Errorf("down on the way back: got %v, want ErrUnreachable", err)
	}
	if _, err := srv.Provider(callback).Address(t.Context(), secret); !errors.Is(err, openid.ErrUnreachable) {
		t.Errorf("down: got %v, want ErrUnreachable", err)
	}
}

func TestValidate(t *testing.T) {
	for _, c := range []struct {
		issuer, client string
		fine           bool
	}{
		{"https://accounts.example.org", "brakes", true},
		{"https://accounts.example.org/realms/island", "brakes", true},
		{"http://127.0.0.1:8090/oidc", "brakes", true},
		{"http://localhost:8090", "brakes", true},
		{"http://accounts.example.org", "brakes", false},
		{"accounts.example.org", "brakes", false},
		{"https://accounts.example.org?x=1", "brakes", false},
		{"https://accounts.example.org", "", false},
		{"", "brakes", false},
	} {
		p := &openid.Provider{Issuer: c.issuer, ClientID: c.client}
		if err := p.Validate(); (err == nil) != c.fine || err != nil && !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("%q, %q: got %v", c.issuer, c.client, err)
		}
	}
	for _, c := range []struct{ issuer, name, want string }{
		{"https://accounts.example.org/oidc", "", "accounts.example.org"},
		{"https://accounts.example.org/oidc", "Island Accounts", "Island Accounts"},
	} {
		if got := (&openid.Provider{Issuer: c.issuer, Name: c.name}).Label(); got != c.want {
			t.Errorf("%q, %q: got %q, want %q", c.issuer, c.name, got, c.want)
		}
	}
}
