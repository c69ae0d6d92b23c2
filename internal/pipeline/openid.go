package pipeline

import (
	"context"
	"errors"
	"net/url"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/openid"
	"brakewear/internal/store"
)

// BackPath is where the provider of OpenID Connect sends browsers back to.
const BackPath = "/sign-in/openid/back"

// SignInElsewhere starts a session for who came back from the provider to the
// browser that holds the secret, and returns the session's. The account is the
// one bound to them; the first time, the one of the e-mail address that the
// provider vouches for. None is made. The error is fleet.ErrStranger, one of
// package openid, or a fleet.WaitError after too many.
func (s *Service) SignInElsewhere(ctx context.Context, secret string, query url.Values, origin, browser string) (string, error) {
	// Counted apart from wrong passwords: any page elsewhere can have a browser
	// open the address, though not with the secret.
	bounds := []bound{{subject: "elsewhere from " + origin, most: failuresByOrigin}}
	first, err := s.reached(ctx, bounds, failuresFor)
	if err != nil {
		return "", err
	}
	if first != nil {
		return "", &fleet.WaitError{For: s.waitAfter(*first), Why: "Too many tries to sign in from here: wait a quarter of an hour."}
	}
	id, err := s.OpenID.Identify(ctx, secret, query)
	if errors.Is(err, openid.ErrRefused) && secret != "" {
		err = errors.Join(err, s.note(ctx, bounds))
	}
	if err != nil {
		return "", err
	}
	who := store.Subject{Issuer: id.Issuer, Subject: id.Subject}
	account, err := s.DB.AccountOfSubject(ctx, who)
	if err != nil {
		return "", err
	}
	if account == 0 {
		if id.Email == "" || !id.Verified {
			return "", fleet.Strangerf("%s does not vouch for your e-mail address, by which your account is found. Have it verified there, or sign in with a password.", s.OpenID.Label())
		}
		if account, err = s.DB.BindSubject(ctx, who, id.Email); err != nil {
			return "", err
		}
	}
	if account == 0 {
		return "", fleet.Strangerf("There is no account for %s here: ask whoever looks after the accounts.", id.Email)
	}
	session := auth.NewSecret()
	return session, s.DB.StartSession(ctx, account, session, browser)
}
