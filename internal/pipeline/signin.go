package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
)

// hasher is one for the process: see auth.Hasher.
var hasher = auth.NewHasher(2)

// How many wrong passwords are borne before an answer waits (OWASP ASVS 5.0,
// 6.3.1, wants a bound and names none: common practice).
const (
	failuresFor      = 15 * time.Minute
	failuresByPair   = 6   // of one account from one address
	failuresByEmail  = 60  // of one account from anywhere
	failuresByOrigin = 100 // from one address: a whole workshop may share it
)

// How many links go out by e-mail within an hour (common practice, no source).
const (
	linksByEmail  = 3
	linksByOrigin = 30
)

// maxEmail bounds an e-mail address in bytes, generously: RFC 3696, erratum
// 1690, allows 254 (from memory).
const maxEmail = 320

// errEntry is the same whatever was wrong: it does not tell who has an account.
var errEntry = fleet.Strangerf("E-mail address and password do not fit together. Is a capital letter locked?")

// SignIn lets in who has the password, as far as that leads. origin is the
// address the request came from. The error is fleet.ErrStranger, or a
// fleet.WaitError after too many.
func (s *Service) SignIn(ctx context.Context, email, password, origin, browser string) (e Entered, err error) {
	email = strings.ToLower(strings.TrimSpace(email))
	if len(email) > maxEmail || len(password) > auth.MaxPassword {
		return e, errEntry
	}
	account, err := s.fits(ctx, email, password, []bound{
		{subject: "pair " + email + " " + origin, most: failuresByPair},
		{subject: "email " + email, most: failuresByEmail, unless: func() (bool, error) { return s.knownFrom(ctx, email, origin) }},
		{subject: "origin " + origin, most: failuresByOrigin},
	})
	if errors.Is(err, auth.ErrPassword) {
		return e, errEntry
	}
	if err != nil {
		return e, err
	}
	return s.letIn(ctx, account, browser)
}

// fits returns the account of an e-mail address when the password is its own.
// A wrong one, which is auth.ErrPassword, counts under the bounds, and a right
// one clears the first; where one is reached the error is a fleet.WaitError.
func (s *Service) fits(ctx context.Context, email, password string, bounds []bound) (account int64, err error) {
	defer trying.begin(bounds)()
	first, err := s.reached(ctx, bounds, failuresFor)
	if err != nil {
		return 0, err
	}
	if first != nil {
		wait := s.waitAfter(*first)
		return 0, &fleet.WaitError{For: wait, Why: fmt.Sprintf("Too many wrong passwords: wait %s and try again, or ask for a link to choose a new one.", minutes(wait))}
	}
	account, hash, err := s.DB.PasswordOf(ctx, email)
	if err != nil {
		return 0, err
	}
	err = hasher.Compare(ctx, password, hash)
	if errors.Is(err, auth.ErrPassword) {
		if err := s.DB.NoteWrongPassword(ctx, account, subjects(bounds)...); err != nil {
			return 0, err
		}
	}
	if err != nil {
		return 0, err
	}
	return account, s.DB.ForgetFailures(ctx, bounds[0].subject)
}

// bound is how often something may be tried under a subject.
type bound struct {
	subject string
	most    int
	others  int                  // that are being tried at this moment
	unless  func() (bool, error) // it does not hold; nil = it does
}

// tries counts what is being tried at this moment, by subject. Passwords wait for
// the hasher: many sent at once would all be tried before the first that is wrong
// is noted. It holds for one process.
type tries struct {
	mu  sync.Mutex
	now map[string]int
}

var trying tries

// begin counts a try under each of the bounds, until end, and tells them of others.
func (t *tries) begin(bounds []bound) (end func()) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.now == nil {
		t.now = map[string]int{}
	}
	for i := range bounds {
		b := &bounds[i]
		b.others = t.now[b.subject]
		t.now[b.subject]++
	}
	return func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		for _, b := range bounds {
			if t.now[b.subject]--; t.now[b.subject] == 0 {
				delete(t.now, b.subject)
			}
		}
	}
}

// knownFor is how long an address counts as an account's own after it signed in
// from there. Judgement: somebody back from a long leave is known.
const knownFor = 60 * 24 * time.Hour

// knownFrom says whether the account of an e-mail address signed in from where
// origin is. There it is not locked out by what strangers try elsewhere.
func (s *Service) knownFrom(ctx context.Context, email, origin string) (bool, error) {
	from, err := s.DB.SignedInFrom(ctx, email, s.now().Add(-knownFor))
	return slices.ContainsFunc(from, func(client string) bool { return auth.Network(client) == origin }), err
}

// reached returns when the first try of the window was under the first bound
// that is reached; nil when none is. One that is reached only with what is tried
// at this moment is free again soon.
func (s *Service) reached(ctx context.Context, bounds []bound, window time.Duration) (*time.Time, error) {
	for _, b := range bounds {
		n, first, err := s.DB.Failures(ctx, b.subject, s.now().Add(-window))
		if err != nil {
			return nil, err
		}
		if n+b.others < b.most {
			continue
		}
		if b.unless != nil {
			if not, err := b.unless(); err != nil || not {
				if err != nil {
					return nil, err
				}
				continue
			}
		}
		if n < b.most {
			first = s.now().Add(-window)
		}
		return &first, nil
	}
	return nil, nil
}

// waitAfter is how long it is until a failure counts no more.
func (s *Service) waitAfter(failure time.Time) time.Duration {
	return max(time.Second, failure.Add(failuresFor).Sub(s.now()))
}

// minutes says how long to wait.
func minutes(wait time.Duration) string {
	if n := int(wait.Minutes()) + 1; n > 1 {
		return fmt.Sprintf("%d minutes", n)
	}
	return "a minute"
}

// note notes a try under each of the bounds.
func (s *Service) note(ctx context.Context, bounds []bound) error {
	return s.DB.NoteFailure(ctx, subjects(bounds)...)
}

func subjects(bounds []bound) (ss []string) {
	for _, b := range bounds {
		ss = append(ss, b.subject)
	}
	return ss
}

// present makes sure that whoever is signed in knows the account's password: a
// browser left open, or a session that was taken, does not.
func (s *Service) present(ctx context.Context, who auth.Who, password string) error {
	_, err := s.fits(ctx, who.Email, password, []bound{{subject: "present " + strings.ToLower(who.Email), most: failuresByPair}})
	if errors.Is(err, auth.ErrPassword) {
		return fleet.Deniedf("the present password: that is not it")
	}
	return err
}

// ChangePassword changes who's password, and ends the other sessions.
func (s *Service) ChangePassword(ctx context.Context, who auth.Who, old, password string) error {
	if err := s.present(ctx, who, old); err != nil {
		return err
	}
	hash, err := s.hash(ctx, password, who.Name, who.Email)
	if err != nil {
		return err
	}
	return s.DB.ChangePassword(ctx, who, hash)
}

// RenameAccount changes who's own name and e-mail address. Another address wants
// the present password: links to choose a new one are mailed there.
func (s *Service) RenameAccount(ctx context.Context, who auth.Who, name, email, password string) error {
	if !strings.EqualFold(email, who.Email) {
		if err := s.present(ctx, who, password); err != nil {
			return err
		}
	}
	return s.DB.RenameAccount(ctx, who, name, email)
}

func (s *Service) hash(ctx context.Context, password string, own ...string) (string, error) {
	if err := auth.CheckPassword(password, own...); err != nil {
		return "", fleet.Invalidf("password: %v", err)
	}
	return hasher.Hash(ctx, password)
}

// LinkPath is where links to choose a password lie; what follows is a secret.
const LinkPath = "/link/"

// MakeLink makes a link for the account, and returns its path. The link lets
// whoever opens it choose the account's password.
func (s *Service) MakeLink(ctx context.Context, sc auth.Scope, by string, account int64) (string, error) {
	secret := auth.NewSecret()
	return LinkPath + secret, s.DB.AddLink(ctx, sc, by, account, secret)
}

// MailLink mails a link to the account of an e-mail address, where there is
// one. It says nothing of whether there is, and takes no longer then: see
// Desk.letter.
func (s *Service) MailLink(ctx context.Context, email, origin string) error {
	if s.Mail == nil || s.URL == "" {
		return fleet.Conflictf("no mail goes out from here: ask whoever looks after the accounts for a link")
	}
	email = strings.ToLower(strings.TrimSpace(email))
	if len(email) > maxEmail {
		return fleet.Invalidf("e-mail: want an address of at most %d characters", maxEmail)
	}
	bounds := []bound{{subject: "mailed " + email, most: linksByEmail}, {subject: "mailed from " + origin, most: linksByOrigin}}
	first, err := s.reached(ctx, bounds, time.Hour)
	if err != nil {
		return err
	}
	if first != nil {
		return &fleet.WaitError{For: time.Hour, Why: "Enough links were asked for: look into the mail, or try again in an hour."}
	}
	if err := s.note(ctx, bounds); err != nil {
		return err
	}
	return s.Desk.letter(ctx, "mail a link to choose a password", func(ctx context.Context) error { return s.mailLink(ctx, email) })
}

// mailLink is MailLink behind the request.
func (s *Service) mailLink(ctx context.Context, email string) error {
	account, _, err := s.DB.PasswordOf(ctx, email)
	if err != nil || account == 0 {
		return err
	}
	a, err := s.DB.Account(ctx, auth.AllFleets(), account)
	if err != nil {
		return err
	}
	path, err := s.MakeLink(ctx, auth.AllFleets(), a.Name, account)
	if err != nil {
		return err
	}
	link := s.link(path)
	return s.sendLetter(ctx, mail.Message{
		ID:      auth.Hash(path)[:24],
		ToName:  a.Name,
		To:      a.Email,
		Subject: "Choose a password",
		Text:    fmt.Sprintf("Somebody, most likely you, asked to choose a new password for your account.\n\nThis link works once, until tomorrow:\n%s\n\nIf it was not you, leave it: nothing has changed.\n", link),
		HTML:    fmt.Sprintf("<p>Somebody, most likely you, asked to choose a new password for your account.</p><p><a href=\"%s\">Choose a password</a>: the link works once, until tomorrow.</p><p>If it was not you, leave it: nothing has changed.</p>", link),
		Date:    s.now(),
	})
}

// UseLink sets the password of a link's account, and lets its owner in as that
// does: a link takes the place of no second factor.
func (s *Service) UseLink(ctx context.Context, secret, password, browser string) (e Entered, err error) {
	name, email, err := s.DB.LinkOf(ctx, secret)
	if err != nil {
		return e, err
	}
	hash, err := s.hash(ctx, password, name, email)
	if err != nil {
		return e, err
	}
	account, err := s.DB.UseLink(ctx, secret, hash)
	if err != nil {
		return e, err
	}
	return s.letIn(ctx, account, browser)
}

// FirstAccount makes the account that makes the others, where there is none
// yet, and returns the path of its link; "" when there is somebody already, or
// somebody has a link to be.
func (s *Service) FirstAccount(ctx context.Context) (string, error) {
	issuer := ""
	if s.OpenID != nil {
		issuer = s.OpenID.Issuer
	}
	has, err := s.DB.HasAdmin(ctx, issuer)
	if err != nil || has {
		return "", err
	}
	// Who was given a link before the first start is to be the first one in.
	if has, err = s.DB.AdminInvited(ctx, FirstEmail); err != nil || has {
		return "", err
	}
	// Made at an earlier start, and its link not used.
	id, _, err := s.DB.PasswordOf(ctx, FirstEmail)
	if err != nil {
		return "", err
	}
	if id != 0 {
		return s.MakeLink(ctx, auth.AllFleets(), "the first start", id)
	}
	return s.AddAccount(ctx, auth.AllFleets(), "the first start", &store.Account{
		Name: "First admin", Email: FirstEmail, Grants: []store.Grant{{Role: auth.Admin}},
	})
}

// FirstEmail is what the first account signs in with, until it makes others:
// a name that RFC 2606 keeps from being anybody's.
const FirstEmail = "admin@brakewear.invalid"

// AddAccount adds an account, and returns the path of the link at which its
// password is chosen.
func (s *Service) AddAccount(ctx context.Context, sc auth.Scope, by string, a *store.Account) (string, error) {
	if err := s.DB.AddAccount(ctx, sc, by, a); err != nil {
		return "", err
	}
	return s.MakeLink(ctx, sc, by, a.ID)
}

// AddAccountWithPassword adds an account that signs in with a password at
// once.
func (s *Service) AddAccountWithPassword(ctx context.Context, sc auth.Scope, by string, a *store.Account, password string) error {
	hash, err := s.hash(ctx, password, a.Name, a.Email)
	if err != nil {
		return err
	}
	if err := s.DB.AddAccount(ctx, sc, by, a); err != nil {
		return err
	}
	return s.DB.ChangePassword(ctx, auth.Who{Account: a.ID}, hash)
}
