package pipeline

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// SecondRule says who must have a second factor to sign in with a password.
type SecondRule string

// The rules. Whoever may do without can still have one.
const (
	SecondOptional SecondRule = "optional"
	SecondAdmins   SecondRule = "admins"
	SecondAll      SecondRule = "all"
)

// codesByAccount is how many wrong codes are borne for one account from anywhere
// within failuresFor, each of which three steps are right for. Whoever sends
// them has the password. Judgement: a guess of six digits comes true once in
// 300,000 tries then, which takes half a year of nothing else.
const codesByAccount = 20

// Entered is how far somebody came who signed in: to a session, or to where the
// code is asked for. One of the two secrets is blank.
type Entered struct {
	Session, Begun string
}

// SetUp is what an app is told of a second factor.
type SetUp struct {
	Secret string // in base32, in groups of four
	QR     string // its address as a code: the path of an SVG
	Side   int    // modules on a side of it
}

// Frame is the side of the picture with its quiet zone: four modules all around
// (ISO/IEC 18004, from memory).
func (s SetUp) Frame() int { return s.Side + 8 }

// BegunSignIn is a sign-in that waits for a code.
type BegunSignIn struct {
	Name, Email string
	SetUp       *SetUp // it is the first: the app has to be told; nil = it is in force
}

// MustHaveSecond says whether the rule wants the second factor f of its account.
func (s *Service) MustHaveSecond(f store.Second) bool {
	return s.Second == SecondAll || s.Second == SecondAdmins && f.Admin
}

// letIn starts a session for who gave the password, or asks for the code first.
func (s *Service) letIn(ctx context.Context, account int64, browser string) (e Entered, err error) {
	f, err := s.DB.SecondOf(ctx, account)
	if err != nil {
		return e, err
	}
	secret := auth.NewSecret()
	if !f.On() && !s.MustHaveSecond(f) {
		return Entered{Session: secret}, s.DB.StartSession(ctx, account, secret, browser)
	}
	if !f.On() {
		if err := s.beginSecond(ctx, account); err != nil {
			return e, err
		}
	}
	return Entered{Begun: secret}, s.DB.BeginSignIn(ctx, account, secret)
}

// BegunSignIn returns the sign-in that a secret is of. One that is too old, or
// never was, is fleet.ErrStranger.
func (s *Service) BegunSignIn(ctx context.Context, begun string) (b BegunSignIn, err error) {
	account, f, err := s.begun(ctx, begun)
	if err != nil {
		return b, err
	}
	b.Name, b.Email = f.Name, f.Email
	if !f.On() {
		b.SetUp, err = s.setUp(account, f)
	}
	return b, err
}

func (s *Service) begun(ctx context.Context, begun string) (account int64, f store.Second, err error) {
	if account, err = s.DB.BegunSignIn(ctx, begun); err != nil {
		return 0, f, err
	}
	f, err = s.DB.SecondOf(ctx, account)
	return account, f, err
}

func (s *Service) beginSecond(ctx context.Context, account int64) error {
	return s.DB.BeginSecond(ctx, account, s.Keys.Seal(auth.NewSecond(), account))
}

// secretOf is the secret of the second factor f of an account.
func (s *Service) secretOf(account int64, f store.Second) (string, error) {
	if f.Secret == "" {
		return "", fleet.Conflictf("second factor: it was not begun, or was taken off meanwhile; begin again")
	}
	secret, _, err := s.Keys.Open(f.Secret, account)
	if errors.Is(err, auth.ErrSealed) {
		err = fleet.Conflictf("Codes of the app cannot be checked here just now, for the key to them is missing: give a recovery code, or ask whoever looks after the accounts to take your second factor off.")
	}
	return secret, err
}

func (s *Service) setUp(account int64, f store.Second) (*SetUp, error) {
	secret, err := s.secretOf(account, f)
	if err != nil {
		return nil, err
	}
	qr, side, err := auth.QR(auth.SecondAddress(secret, f.Email))
	if err != nil {
		return nil, err
	}
	var groups []string
	for text := secret; text != ""; {
		n := min(4, len(text))
		groups, text = append(groups, text[:n]), text[n:]
	}
	return &SetUp{Secret: strings.Join(groups, " "), QR: qr, Side: side}, nil
}

// errCode is the same whatever was wrong, and whether it was used before.
var errCode = fleet.Deniedf("The code does not fit, or was used already. Wait for the next one, and see that the phone's clock is right.")

// FinishSignIn starts the session of a sign-in that was begun, when the code is
// its account's: of the app, or for recovery. The first code puts the second
// factor in force, and recovery codes come back, to be shown once. A wrong one is
// fleet.ErrDenied; after too many the error is a fleet.WaitError.
func (s *Service) FinishSignIn(ctx context.Context, begun, code, origin, browser string) (session string, recovery []string, err error) {
	account, f, err := s.begun(ctx, begun)
	if err != nil {
		return "", nil, err
	}
	if recovery, err = s.checkCode(ctx, account, f, code, origin); err != nil {
		return "", nil, err
	}
	session = auth.NewSecret()
	return session, recovery, s.DB.FinishSignIn(ctx, begun, session, browser)
}

// checking lets one code be checked at a time, so that of many that come at once
// none passes before those wrong are counted. A check takes milliseconds.
var checking sync.Mutex

// checkCode takes a code of the account whose second factor is f, or puts that in
// force by its first one, and then returns recovery codes.
func (s *Service) checkCode(ctx context.Context, account int64, f store.Second, code, origin string) (recovery []string, err error) {
	checking.Lock()
	defer checking.Unlock()
	bounds := []bound{
		{subject: fmt.Sprintf("code %d %s", account, origin), most: failuresByPair},
		{subject: fmt.Sprintf("code %d", account), most: codesByAccount},
		{subject: "origin " + origin, most: failuresByOrigin},
	}
	first, err := s.reached(ctx, bounds, failuresFor)
	if err != nil {
		return nil, err
	}
	if first != nil {
		wait := s.waitAfter(*first)
		return nil, &fleet.WaitError{For: wait, Why: fmt.Sprintf("Too many wrong codes: wait %s and try again.", minutes(wait))}
	}
	if f.On() {
		err = s.takeCode(ctx, account, f, code)
	} else {
		recovery, err = s.confirm(ctx, auth.Who{Account: account}, f, code)
	}
	if errors.Is(err, errCode) {
		err = errors.Join(err, s.DB.NoteWrongPassword(ctx, account, subjects(bounds)...))
	}
	if err != nil {
		return nil, err
	}
	return recovery, s.DB.ForgetFailures(ctx, bounds[0].subject)
}

// takeCode takes a code of the account whose second factor is f: each once.
func (s *Service) takeCode(ctx context.Context, account int64, f store.Second, code string) error {
	ok, err := false, error(nil)
	if hash := auth.RecoveryHash(code); hash != "" {
		ok, err = s.DB.TakeRecovery(ctx, account, hash)
	} else if secret, serr := s.secretOf(account, f); serr != nil {
		err = serr
	} else if step, fits := auth.SecondStep(secret, code, s.now(), f.LastStep); fits {
		ok, err = s.DB.TakeStep(ctx, account, step)
	}
	if err == nil && !ok {
		err = errCode
	}
	return err
}

// confirm puts f in force by its first code, and returns recovery codes.
func (s *Service) confirm(ctx context.Context, who auth.Who, f store.Second, code string) ([]string, error) {
	if f.On() {
		return nil, fleet.Conflictf("second factor: it is in force already")
	}
	secret, err := s.secretOf(who.Account, f)
	if err != nil {
		return nil, err
	}
	step, ok := auth.SecondStep(secret, code, s.now(), f.LastStep)
	if !ok {
		return nil, errCode
	}
	codes, hashes := newRecovery()
	return codes, s.DB.ConfirmSecond(ctx, who, f.Secret, step, hashes)
}

func newRecovery() (codes, hashes []string) {
	codes = auth.NewRecovery()
	for _, c := range codes {
		hashes = append(hashes, auth.RecoveryHash(c))
	}
	return codes, hashes
}

// BeginSecond begins to set up the second factor of who, who gives the present
// password.
func (s *Service) BeginSecond(ctx context.Context, who auth.Who, password string) (*SetUp, error) {
	if err := s.present(ctx, who, password); err != nil {
		return nil, err
	}
	if err := s.beginSecond(ctx, who.Account); err != nil {
		return nil, err
	}
	return s.SecondBegun(ctx, who)
}

// SecondBegun is what was begun, for another try at the first code.
func (s *Service) SecondBegun(ctx context.Context, who auth.Who) (*SetUp, error) {
	f, err := s.DB.SecondOf(ctx, who.Account)
	if err != nil {
		return nil, err
	}
	if f.On() {
		return nil, fleet.Conflictf("second factor: it is in force already")
	}
	return s.setUp(who.Account, f)
}

// ConfirmSecond puts the second factor of who in force by the first code, and
// returns recovery codes, to be shown once. A wrong code is fleet.ErrDenied.
func (s *Service) ConfirmSecond(ctx context.Context, who auth.Who, code string) ([]string, error) {
	f, err := s.DB.SecondOf(ctx, who.Account)
	if err != nil {
		return nil, err
	}
	return s.confirm(ctx, who, f, code)
}

// RenewRecovery makes new recovery codes for who, who gives the present password;
// the old ones count no longer.
func (s *Service) RenewRecovery(ctx context.Context, who auth.Who, password string) ([]string, error) {
	if err := s.present(ctx, who, password); err != nil {
		return nil, err
	}
	codes, hashes := newRecovery()
	return codes, s.DB.RenewRecovery(ctx, who, hashes)
}

// EndSecond takes the second factor of who off, who gives the present password.
func (s *Service) EndSecond(ctx context.Context, who auth.Who, password string) error {
	if err := s.present(ctx, who, password); err != nil {
		return err
	}
	return s.DB.EndOwnSecond(ctx, who)
}

// SealSeconds has the secrets of second factors kept under the present key that are
// kept otherwise, and returns how many were and how many no key opens.
func (s *Service) SealSeconds(ctx context.Context) (sealed, lost int, err error) {
	kept, err := s.DB.KeptSeconds(ctx)
	if err != nil {
		return 0, 0, err
	}
	for _, k := range kept {
		secret, fresh, err := s.Keys.Open(k.Secret, k.Account)
		switch {
		case err != nil:
			lost++
		case !fresh:
			if err := s.DB.KeepSecond(ctx, k, s.Keys.Seal(secret, k.Account)); err != nil {
				return sealed, lost, err
			}
			sealed++
		}
	}
	return sealed, lost, nil
}
