package auth

import (
	"context"
	"errors"
	"fmt"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"
)

// Bounds of a password. NIST SP 800-63B-4, 3.1.1.2 wants at least 15
// characters where it is the only factor, and no rule on which ones (from
// memory).
const (
	MinPassword = 15  // characters
	MaxPassword = 256 // bytes: hashing costs the same, reading it does not
)

// Password faults, for the person who chooses one.
var (
	ErrShortPassword = fmt.Errorf("want at least %d characters; a few words in a row do well", MinPassword)
	ErrLongPassword  = fmt.Errorf("want at most %d bytes", MaxPassword)
)

// CheckPassword says what is wrong with a new password of somebody with these
// names.
func CheckPassword(password string, own ...string) error {
	switch {
	case utf8.RuneCountInString(password) < MinPassword:
		return ErrShortPassword
	case len(password) > MaxPassword:
		return ErrLongPassword
	case guessed(password, own):
		return ErrCommonPassword
	}
	return nil
}

// cost of one hash: RFC 9106, 4, the second recommended option (64 MiB, three
// passes, four lanes).
var cost = argon2id.Params{Memory: 64 << 10, Iterations: 3, Parallelism: 4, SaltLength: 16, KeyLength: 32}

// Hasher hashes passwords, a few at a time: each holds 64 MiB, and whoever
// sends many guesses at once must not take the machine's memory. The zero
// value is not ready; see NewHasher.
type Hasher struct {
	places chan struct{}
	params argon2id.Params
}

// NewHasher returns a hasher that works on at most atOnce passwords.
func NewHasher(atOnce int) *Hasher {
	return &Hasher{places: make(chan struct{}, atOnce), params: cost}
}

// ErrPassword: it is not that one.
var ErrPassword = errors.New("the password does not fit")

// Hash returns password as it is kept.
func (h *Hasher) Hash(ctx context.Context, password string) (string, error) {
	if err := h.enter(ctx); err != nil {
		return "", err
	}
	defer h.leave()
	return argon2id.CreateHash(password, &h.params)
}

// nobody is what a password is compared with when there is no account: an
// answer that came sooner would tell.
const nobody = "$argon2id$v=19$m=65536,t=3,p=4$AAAAAAAAAAAAAAAAAAAAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

// Compare returns nil when hash is password's, and ErrPassword when it is
// not. A blank hash fits nothing, and takes as long.
func (h *Hasher) Compare(ctx context.Context, password, hash string) error {
	if err := h.enter(ctx); err != nil {
		return err
	}
	defer h.leave()
	known := hash != ""
	if !known {
		hash = nobody
	}
	fits, err := argon2id.ComparePasswordAndHash(password, hash)
	if err != nil {
		return fmt.Errorf("a kept password cannot be read: %w", err)
	}
	if !fits || !known {
		return ErrPassword
	}
	return nil
}

func (h *Hasher) enter(ctx context.Context) error {
	select {
	case h.places <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (h *Hasher) leave() { <-h.places }
