package auth

import (
	"context"
	"errors"
	"strings"
	"testing"
)

func TestCheckPassword(t *testing.T) {
	for _, c := range []struct {
		name, password string
		want           error
	}{
		// NIST SP 800-63B-4, 3.1.1.2: at least 15 characters (from memory).
		{"14 letters", strings.Repeat("a", 14), ErrShortPassword},
		{"15 letters", "mapelk vurd ona", nil},
		{"15 characters of two bytes", "øåæöäüßñçéèêëîï", nil},
		{"8 characters of two bytes", strings.Repeat("ø", 8), ErrShortPassword},
		{"the longest", "plain words hold" + strings.Repeat("a", MaxPassword-16), nil},
		{"one more", strings.Repeat("a", MaxPassword+1), ErrLongPassword},
		// Made up after what lists of passwords in use have (OWASP ASVS 5.0, 6.2.4
		// and 6.2.11).
		{"one letter", strings.Repeat("a", 15), ErrCommonPassword},
		{"a word twice", "PasswordPassword", ErrCommonPassword},
		{"a word and digits", "Password12345678", ErrCommonPassword},
		{"digits in a row", "123456789012345", ErrCommonPassword},
		{"digits back", "987654321098765", ErrCommonPassword},
		{"rows of keys", "qwertyuiopasdfghjkl", ErrCommonPassword},
		{"columns of keys", "1qaz2wsx3edc4rfv", ErrCommonPassword},
		{"a unit again and again", "abc9-abc9-abc9-abc9", ErrCommonPassword},
		{"marks alone", "...............", ErrCommonPassword},
		{"the program's name", "Brakewear-2026-Brakewear", ErrCommonPassword},
		{"one's own name", "Ann Marie Quenby 1", ErrCommonPassword},
		{"one's own address", "quenby@island.example", ErrCommonPassword},
		// As zxcvbn judges them.
		{"letters for digits", "P@ssw0rdP@ssw0rd1", ErrCommonPassword},
		{"words everybody knows", "dragonmonkeyshadow", ErrCommonPassword},
		{"a name and a year", "michaeljackson1958", ErrCommonPassword},
		{"a word and a day", "sunshine12041985", ErrCommonPassword},
		{"in the list", "nemvxyheqdd5oqxyxyzi", ErrCommonPassword},
		{"not UTF-8", strings.Repeat("\xff\xfe7x", 8), ErrCommonPassword},
		{"words", "four plain words here", nil},
		{"a name among words", "quenby likes her tea cold", nil},
	} {
		if got := CheckPassword(c.password, "Ann Marie Quenby", "quenby@island.example"); got != c.want {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

func TestHasher(t *testing.T) {
	h := NewHasher(1)
	const password = "four plain words here"
	hash, err := h.Hash(t.Context(), password)
	if err != nil {
		t.Fatal(err)
	}
	// RFC 9106, 4: the second recommended option is t=3, m=2^16 KiB, p=4.
	if want := "$argon2id$v=19$m=65536,t=3,p=4$"; !strings.HasPrefix(hash, want) {
		t.Errorf("hash: got %s, want it to begin with %s", hash, want)
	}
	if again, err := h.Hash(t.Context(), password); err != nil || again == hash {
		t.Errorf("the same password again: got the same hash (%v); want another salt", err)
	}
	for _, c := range []struct {
		name, password, hash string
		fits                 bool
	}{
		{"the password", password, hash, true},
		{"another", password + " ", hash, false},
		{"blank", "", hash, false},
		{"no account", password, "", false},
		{"no account, no password", "", "", false},
	} {
		err := h.Compare(t.Context(), c.password, c.hash)
		if c.fits && err != nil || !c.fits && !errors.Is(err, ErrPassword) {
			t.Errorf("%s: got %v, want it to fit: %t", c.name, err, c.fits)
		}
	}
	if err := h.Compare(t.Context(), password, "no hash"); err == nil || errors.Is(err, ErrPassword) {
		t.Errorf("a hash that is none: got %v, want an error of its own", err)
	}
}

// Whoever waits for a place leaves when the request ends.
func TestHasherWaits(t *testing.T) {
	h := NewHasher(1)
	if err := h.enter(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := h.Hash(ctx, "four plain words here"); !errors.Is(err, context.Canceled) {
		t.Errorf("a second at once: got %v, want it to wait and end with its request", err)
	}
	h.leave()
	if _, err := h.Hash(t.Context(), "four plain words here"); err != nil {
		t.Errorf("after the first left: %v", err)
	}
}

func TestSecrets(t *testing.T) {
	a, b := NewSecret(), NewSecret()
	if a == b || len(a) != 52 {
		t.Errorf("got %q and %q, want two of 52 characters", a, b)
	}
	// FIPS 180-4's SHA-256 of "abc", as in NIST's example values (from memory).
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if got := Hash("abc"); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
