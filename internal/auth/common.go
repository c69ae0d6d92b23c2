package auth

import (
	"errors"
	"strings"
	"unicode"
)

// ErrCommonPassword is for one that is guessed first.
var ErrCommonPassword = errors.New("this is among the first that are guessed: repetitions, rows of keys, your name and the like do not count; a few unrelated words in a row do well")

// leastFree is how many different characters a password must have beside what
// everybody guesses. Judgement: lists of passwords in use have hardly any of
// MinPassword characters that are not made up of what guessed looks for.
const leastFree = 5

// usual are words that such lists are made up of (common practice, no source),
// and the program's own.
var usual = []string{
	"password", "passwort", "passwd", "welcome", "letmein", "iloveyou", "changeme", "administrator", "admin", "default",
	"secret", "login", "master", "qwerty", "azerty", "qwertz", "football", "baseball", "sunshine", "princess",
	"dragon", "monkey", "shadow", "summer", "winter", "spring", "autumn", "test", "demo", "user", "guest", "root",
	"brakewear", "brakes", "brake", "wear", "workshop", "fleet", "technician", "manager", "planner",
}

// rows are characters in an order that fingers or minds know.
var rows = []string{
	"01234567890", "abcdefghijklmnopqrstuvwxyz", "qwertyuiop", "qwertzuiop", "azertyuiop", "asdfghjkl", "zxcvbnm", "yxcvbnm",
	"1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p",
}

// guessed says whether a password is made up of what is guessed first: own are
// the names of whom it belongs to.
func guessed(password string, own []string) bool {
	s := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1 // marks between words make none harder to guess
	}, password)
	if s == "" {
		s = password
	}
	for unit := 1; unit <= 6; unit++ {
		if len(s) > unit && s == strings.Repeat(s[:unit], len(s)/unit)+s[:len(s)%unit] {
			return true
		}
	}
	for _, name := range own {
		for _, word := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			if len(word) > 2 {
				s = strings.ReplaceAll(s, word, " ")
			}
		}
	}
	for _, word := range usual {
		s = strings.ReplaceAll(s, word, " ")
	}
	for _, row := range rows {
		s = withoutRuns(s, row)
		s = withoutRuns(s, reversed(row))
	}
	free := map[rune]bool{}
	for _, r := range s {
		if r != ' ' {
			free[r] = true
		}
	}
	return len(free) < leastFree
}

// withoutRuns leaves out what runs along row for four characters or more.
func withoutRuns(s, row string) string {
	const shortest = 4
	var b strings.Builder
	for i := 0; i < len(s); {
		n := 0
		for n < len(s)-i && strings.Contains(row, s[i:i+n+1]) {
			n++
		}
		if n < shortest {
			b.WriteByte(s[i])
			i++
			continue
		}
		b.WriteByte(' ')
		i += n
	}
	return b.String()
}

func reversed(s string) string {
	b := []byte(s)
	for i, j := 0, len(b)-1; i < j; i, j = i+1, j-1 {
		b[i], b[j] = b[j], b[i]
	}
	return string(b)
}
