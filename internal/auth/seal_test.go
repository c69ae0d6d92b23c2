package auth

import (
	"encoding/base64"
	"errors"
	"slices"
	"strings"
	"testing"
)

// newKey is a key made of one byte, as it is set.
func newKey(b byte) string {
	return base64.StdEncoding.EncodeToString(slices.Repeat([]byte{b}, keyBytes))
}

func TestKeys(t *testing.T) {
	keys := func(text string) Keys {
		ks, err := ParseKeys(text)
		if err != nil {
			t.Fatal(err)
		}
		return ks
	}
	none, one, two, both := keys(""), keys(newKey(1)), keys(" "+newKey(2)+"\n"), keys(newKey(2)+", "+newKey(1))
	secret := NewSecond()
	kept := one.Seal(secret, 7)
	if strings.Contains(kept, secret) || !Sealed(kept) || Sealed(secret) || kept == one.Seal(secret, 7) {
		t.Errorf("kept as %q", kept)
	}
	if got := none.Seal(secret, 7); got != secret {
		t.Errorf("without a key: kept as %q", got)
	}
	forged := kept[:len(kept)-6] + "AAAA" + kept[len(kept)-2:]
	for _, c := range []struct {
		name    string
		keys    Keys
		kept    string
		account int64
		opens   bool
		fresh   bool
	}{
		{"the key", one, kept, 7, true, true},
		{"a newer key before it", both, kept, 7, true, false},
		{"another key", two, kept, 7, false, false},
		{"no key", none, kept, 7, false, false},
		{"another account", one, kept, 8, false, false},
		{"changed", one, forged, 7, false, false},
		{"cut", one, seal + "AA==", 7, false, false},
		{"no base64", one, seal + "?", 7, false, false},
		{"as it is, no key", none, secret, 7, true, true},
		{"as it is, a key", one, secret, 7, true, false},
	} {
		got, fresh, err := c.keys.Open(c.kept, c.account)
		if (err == nil) != c.opens || err != nil && !errors.Is(err, ErrSealed) || c.opens && got != secret || fresh != c.fresh {
			t.Errorf("%s: got %q, fresh %v, %v", c.name, got, fresh, err)
		}
	}
}

func TestParseKeys(t *testing.T) {
	// AES would take half a key as AES-128.
	half := base64.StdEncoding.EncodeToString(make([]byte, keyBytes/2))
	for _, text := range []string{"short", half, newKey(1) + ",", newKey(1) + newKey(2), strings.TrimRight(newKey(1), "="), "," + newKey(1)} {
		if _, err := ParseKeys(text); err == nil || strings.Contains(err.Error(), text) {
			t.Errorf("%q: got %v, want an error that does not say it", text, err)
		}
	}
}
