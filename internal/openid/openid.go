// Package openid signs people in by an OpenID Connect provider: it says where a
// browser is to go, and who came back (authorization code flow with PKCE: OpenID
// Connect Core 1.0, 3.1, and RFC 7636). It never decides whether there is an
// account for them: package pipeline does.
package openid

import (
	"cmp"
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"

	"brakewear/internal/fleet"
)

// Provider is an OpenID Connect provider that people sign in with. It is asked
// for its addresses when the first of them does, so that it need not be up
// before us.
type Provider struct {
	Issuer   string
	ClientID string
	Secret   string // "" = a public client
	Name     string // as people know it; "" = the issuer's host
	Callback string // address of ours that it sends browsers back to
	// Now is the clock that tokens expire by; nil = time.Now.
	Now func() time.Time

	mu      sync.Mutex
	found   *oidc.Provider
	config  *oauth2.Config
	failed  error // at the last try
	triedAt time.Time
}

// Errors beside those of our own doing.
var (
	// ErrUnreachable: the provider does not answer, or not as one.
	ErrUnreachable = errors.New("the provider cannot be reached")
	// ErrRefused: what came back is not what we asked for, or cannot be believed.
	ErrRefused = errors.New("what came back from the provider is refused")
	// ErrDeclined: the provider let the person not in, or they gave up there.
	ErrDeclined = errors.New("the provider sent the person back without signing in")
)

const (
	// timeout of one question to the provider: somebody waits for its answer.
	timeout = 5 * time.Second
	// again is how soon a provider that did not answer is asked again.
	again = 5 * time.Second
)

// Validate says what is wrong with the settings.
func (p *Provider) Validate() error {
	u, err := url.Parse(p.Issuer)
	if err != nil || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return fleet.Invalidf("OpenID issuer %q: want an address such as https://accounts.example.org", p.Issuer)
	}
	// OpenID Connect Discovery 1.0, 4.3, wants TLS; in the clear a token could
	// be anybody's. This machine is the exception.
	if u.Scheme != "https" && !(u.Scheme == "http" && loopback(u.Hostname())) {
		return fleet.Invalidf("OpenID issuer %q: want https", p.Issuer)
	}
	if p.ClientID == "" {
		return fleet.Invalidf("OpenID client: want the id under which the provider knows this installation")
	}
	return nil
}

func loopback(host string) bool {
	return host == "localhost" || net.ParseIP(host).IsLoopback()
}

// Label is what people know the provider by.
func (p *Provider) Label() string {
	u, err := url.Parse(p.Issuer)
	if err != nil {
		return p.Name
	}
	return cmp.Or(p.Name, u.Hostname())
}

// Identity is who came back.
type Identity struct {
	Issuer, Subject string // together they are one person for good
	Email           string // "" = not told
	Verified        bool   // the provider knows that it is theirs
}

// derive makes what a sign-in under a secret uses. The state and the verifier
// are seen on the way, so none may tell the others.
func derive(secret, use string) string {
	sum := sha256.Sum256([]byte(use + " " + secret))
	return base64.RawURLEncoding.EncodeToString(sum[:]) // 43 characters, as RFC 7636, 4.1, wants
}

// Address returns where a browser is to go to sign in. The secret is for this
// one time, and stays between the browser and us: see Identify.
func (p *Provider) Address(ctx context.Context, secret string) (string, error) {
	_, config, err := p.discover(ctx)
	if err != nil {
		return "", err
	}
	return config.AuthCodeURL(derive(secret, "state"),
		oidc.Nonce(derive(secret, "nonce")),
		oauth2.S256ChallengeOption(derive(secret, "verifier"))), nil
}

// Identify returns who came back with the query, to the browser that holds the
// secret. The error is ErrUnreachable, ErrRefused or ErrDeclined.
func (p *Provider) Identify(ctx context.Context, secret string, query url.Values) (Identity, error) {
	if secret == "" || subtle.ConstantTimeCompare([]byte(query.Get("state")), []byte(derive(secret, "state"))) == 0 {
		return Identity{}, fmt.Errorf("%w: the state is not the one that this browser was given", ErrRefused)
	}
	if iss := query.Get("iss"); iss != "" && iss != p.Issuer { // RFC 9207, 2.4
		return Identity{}, fmt.Errorf("%w: it is from issuer %q", ErrRefused, iss)
	}
	if fault := query.Get("error"); fault != "" {
		return Identity{}, fmt.Errorf("%w: %q, %q", ErrDeclined, fault, query.Get("error_description"))
	}
	found, config, err := p.discover(ctx)
	if err != nil {
		return Identity{}, err
	}
	ctx, cancel := context.WithTimeout(oidc.ClientContext(ctx, client), 3*timeout)
	defer cancel()
	token, err := config.Exchange(ctx, query.Get("code"), oauth2.VerifierOption(derive(secret, "verifier")))
	if err != nil {
		return Identity{}, verdict(fmt.Errorf("exchange the code: %w", err))
	}
	raw, ok := token.Extra("id_token").(string)
	if !ok {
		return Identity{}, fmt.Errorf("%w: there is no ID token", ErrRefused)
	}
	id, err := found.Verifier(&oidc.Config{ClientID: p.ClientID, Now: p.Now}).Verify(ctx, raw)
	if err != nil {
		return Identity{}, verdict(fmt.Errorf("verify the ID token: %w", err))
	}
	if subtle.ConstantTimeCompare([]byte(id.Nonce), []byte(derive(secret, "nonce"))) == 0 {
		return Identity{}, fmt.Errorf("%w: the nonce of the ID token is not the one that was asked with", ErrRefused)
	}
	return p.identity(ctx, found, token, id)
}

// identity reads who an ID token, which was verified, is about.
func (p *Provider) identity(ctx context.Context, found *oidc.Provider, token *oauth2.Token, id *oidc.IDToken) (Identity, error) {
	var claims struct {
		Party    string `json:"azp"`
		Email    string `json:"email"`
		Verified any    `json:"email_verified"` // some write it as a string
	}
	if err := id.Claims(&claims); err != nil {
		return Identity{}, fmt.Errorf("%w: %v", ErrRefused, err)
	}
	if claims.Party != "" && claims.Party != p.ClientID { // OpenID Connect Core 1.0, 3.1.3.7, 5
		return Identity{}, fmt.Errorf("%w: the ID token was made for %q", ErrRefused, claims.Party)
	}
	who := Identity{id.Issuer, id.Subject, claims.Email, claims.Verified == true || claims.Verified == "true"}
	if who.Email != "" || found.UserInfoEndpoint() == "" {
		return who, nil
	}
	// With a code a provider may tell the rest only when asked for it (OpenID
	// Connect Core 1.0, 5.4).
	info, err := found.UserInfo(ctx, oauth2.StaticTokenSource(token))
	if err != nil {
		return Identity{}, verdict(fmt.Errorf("ask who it is: %w", err))
	}
	if info.Subject != id.Subject { // OpenID Connect Core 1.0, 5.3.2
		return Identity{}, fmt.Errorf("%w: it tells of another subject than the ID token", ErrRefused)
	}
	who.Email, who.Verified = info.Email, info.EmailVerified
	return who, nil
}

// client asks the provider.
var client = &http.Client{Timeout: timeout}

// discover returns what the provider says of itself, asked once.
func (p *Provider) discover(ctx context.Context) (*oidc.Provider, *oauth2.Config, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.found != nil {
		return p.found, p.config, nil
	}
	if p.failed != nil && time.Since(p.triedAt) < again {
		return nil, nil, p.failed
	}
	// Whoever goes away meanwhile must not make it fail for those who wait.
	found, err := oidc.NewProvider(oidc.ClientContext(context.WithoutCancel(ctx), client), p.Issuer)
	p.failed, p.triedAt = nil, time.Now()
	if err != nil {
		p.failed = fmt.Errorf("%w: %v", ErrUnreachable, err)
		return nil, nil, p.failed
	}
	p.found = found
	p.config = &oauth2.Config{
		ClientID: p.ClientID, ClientSecret: p.Secret, Endpoint: found.Endpoint(), RedirectURL: p.Callback,
		Scopes: []string{oidc.ScopeOpenID, "email"},
	}
	return p.found, p.config, nil
}

// verdict says whether err is of a provider that cannot be reached, or of what
// it said.
func verdict(err error) error {
	var network net.Error
	var answer *oauth2.RetrieveError
	// The library lets go of the cause when it cannot have the keys.
	keys := strings.Contains(err.Error(), "fetching keys")
	if keys || errors.As(err, &network) || errors.Is(err, context.DeadlineExceeded) ||
		errors.As(err, &answer) && answer.Response != nil && answer.Response.StatusCode >= 500 {
		return fmt.Errorf("%w: %w", ErrUnreachable, err)
	}
	return fmt.Errorf("%w: %w", ErrRefused, err)
}
