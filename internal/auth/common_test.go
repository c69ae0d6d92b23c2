package auth

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

var passwords = flag.String("passwords", "", "a `file` of passwords, the commonest first, to make common.sha256 of")

// TestCommonIsMade writes common.sha256 anew when it is given a list.
func TestCommonIsMade(t *testing.T) {
	if *passwords == "" {
		t.Skip("no list given")
	}
	f, err := os.Open(*passwords)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var sums []string
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if p := lines.Text(); utf8.RuneCountInString(p) >= MinPassword {
			sum := sha256.Sum256([]byte(strings.ToLower(p)))
			sums = append(sums, string(sum[:commonBytes]))
		}
	}
	slices.Sort(sums)
	if err := os.WriteFile("common.sha256", []byte(strings.Join(slices.Compact(sums), "")), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestListed(t *testing.T) {
	if len(common)%commonBytes != 0 {
		t.Fatalf("got %d bytes, want a multiple of %d", len(common), commonBytes)
	}
	sums := slices.Collect(slices.Chunk(common, commonBytes))
	if !slices.IsSortedFunc(sums, bytes.Compare) {
		t.Error("the list is not sorted")
	}
	// OWASP ASVS 5.0, 6.2.4: at least the 3000 commonest that the rule of length
	// lets through.
	if n := len(sums); n < 3000 {
		t.Errorf("got %d passwords, want 3000 or more", n)
	}
	for _, c := range []struct {
		password string
		want     bool
	}{
		{"mailcreated5240", true}, // the first and the last of the list, and one of those between
		{"VJHTRHSVDCTCEGTH", true},
		{"1qaz2wsx3edc4rfv", true},
		{"four plain words here", false},
		{"", false},
	} {
		if got := listed(c.password); got != c.want {
			t.Errorf("%q: got %t, want %t", c.password, got, c.want)
		}
	}
}

// What comes after the first characters is not looked at, for the time to judge a
// password grows with more than the square of its length.
func TestGuessedLooksAtFirst(t *testing.T) {
	const hard = "mapelk vurd ona"
	if guessed(hard, nil) {
		t.Fatalf("%q is guessed", hard)
	}
	for before, want := range map[int]bool{0: false, judged - len(hard): false, judged: true} {
		if got := guessed(strings.Repeat("a", before)+hard, nil); got != want {
			t.Errorf("after %d times a: got %t, want %t", before, got, want)
		}
	}
}

// However a password is made up, judging it costs less than hashing it, which is
// the reference.
func BenchmarkGuessed(b *testing.B) {
	for _, unit := range []string{"a", "@4(<{[36!|0$5+7%2", "qwerty", "19851204", "p@ssw0rd!", "ünïcødé"} {
		p := strings.Repeat(unit, MaxPassword)[:MaxPassword]
		b.Run("judge/"+unit, func(b *testing.B) {
			for b.Loop() {
				guessed(p, []string{"Ann Marie Quenby"})
			}
		})
	}
	b.Run("hash", func(b *testing.B) {
		h := NewHasher(1)
		for b.Loop() {
			if _, err := h.Hash(b.Context(), "mapelk vurd ona"); err != nil {
				b.Fatal(err)
			}
		}
	})
}
