package auth

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"errors"
	"sort"
	"strings"
	"unicode"

	"github.com/trustelem/zxcvbn"
)

// ErrCommonPassword is for one that is guessed first.
var ErrCommonPassword = errors.New("this is among the first that are guessed: passwords that many have used, well-known words, repetitions, rows of keys, dates, your name and the like do not count; a few unrelated words in a row do well")

// leastGuesses is how many tries a password must take somebody who knows how
// people choose them: from here on zxcvbn calls one very unguessable, even by
// who has stolen its hash.
const leastGuesses = 1e10

// judged is how many characters of a password are looked at for how it is made
// up: the time grows with more than their square, and what is not made up of
// what everybody knows is found hard long before.
const judged = 40

// here are words that anybody guesses first who knows where the password is
// for (OWASP ASVS 5.0, 6.2.11).
var here = []string{"brakewear", "brake", "wear", "workshop", "fleet", "technician", "manager", "planner", "admin"}

// common has the first commonBytes bytes of the SHA-256 of each password of
// MinPassword characters or more among the million commonest of those that were
// breached, in lower case, sorted. DEVELOPERS.md names where they come from. A
// list of words would have to be read by who reads the tree; nobody wants to.
//
//go:embed common.sha256
var common []byte

// commonBytes keep a password that is not in the list from being taken for one
// that is: one in 10^15.
const commonBytes = 8

// listed says whether a password is one of those that many have used.
func listed(password string) bool {
	sum := sha256.Sum256([]byte(strings.ToLower(password)))
	n := len(common) / commonBytes
	at := func(i int) []byte { return common[i*commonBytes : (i+1)*commonBytes] }
	i := sort.Search(n, func(i int) bool { return bytes.Compare(at(i), sum[:commonBytes]) >= 0 })
	return i < n && bytes.Equal(at(i), sum[:commonBytes])
}

// guessed says whether a password is one that many have used, or made up of
// what is guessed first: own are the names of whom it belongs to.
func guessed(password string, own []string) bool {
	if listed(password) {
		return true
	}
	s := strings.ToLower(password)
	if runes := []rune(s); len(runes) > judged {
		s = string(runes[:judged])
	}
	// Left out and not told to zxcvbn, which counts a word again each time it
	// comes.
	for _, name := range own {
		for _, word := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			if len(word) > 2 {
				s = strings.ReplaceAll(s, word, "")
			}
		}
	}
	for _, word := range here {
		s = strings.ReplaceAll(s, word, "")
	}
	return zxcvbn.PasswordStrength(s, nil).Guesses < leastGuesses
}
