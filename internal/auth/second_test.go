package auth

import (
	"encoding/base32"
	"fmt"
	"image"
	"image/color"
	"strings"
	"testing"
	"time"

	"github.com/pquerna/otp"
	"github.com/pquerna/otp/hotp"
)

// rfcSecret is the one of RFC 6238's and RFC 4226's test values, in ASCII there.
var rfcSecret = base32.StdEncoding.EncodeToString([]byte("12345678901234567890"))

// RFC 6238, appendix B, the rows of SHA1: eight digits, of which apps show the
// last six.
func TestSecondStepIsOfTheStandard(t *testing.T) {
	for _, c := range []struct {
		unix int64
		want string
	}{
		{59, "94287082"}, {1111111109, "07081804"}, {1111111111, "14050471"},
		{1234567890, "89005924"}, {2000000000, "69279037"}, {20000000000, "65353130"},
	} {
		if ok, err := hotp.ValidateCustom(c.want, uint64(c.unix/step), rfcSecret, hotp.ValidateOpts{Digits: otp.DigitsEight, Algorithm: otp.AlgorithmSHA1}); err != nil || !ok {
			t.Errorf("%d: %s is not its code (%v)", c.unix, c.want, err)
		}
		at, ok := SecondStep(rfcSecret, c.want[2:], time.Unix(c.unix, 0), 0)
		if !ok || at != c.unix/30 {
			t.Errorf("%d: got step %d, %t for %s, want %d", c.unix, at, ok, c.want[2:], c.unix/30)
		}
	}
}

func TestSecondStep(t *testing.T) {
	// RFC 6238, appendix B: 89005924 at 1234567890, which is step 41152263.
	const at, code = 41152263, "005924"
	for _, c := range []struct {
		name, code string
		unix       int64
		after      int64
		want       bool
	}{
		{"as shown", "005 924", 1234567890, at - 1, true},
		{"first second of the step", code, at * 30, 0, true},
		{"last second of the next", code, at*30 + 59, 0, true},
		{"a step too late", code, at*30 + 60, 0, false},
		{"a clock that is ahead", code, at*30 - 30, 0, true},
		{"a step too soon", code, at*30 - 31, 0, false},
		{"used", code, 1234567890, at, false},
		{"an earlier one than was used", code, 1234567890, at + 1, false},
		{"another", "005925", 1234567890, 0, false},
		{"eight digits", "89005924", 1234567890, 0, false},
		{"nothing", "", 1234567890, 0, false},
	} {
		got, ok := SecondStep(rfcSecret, c.code, time.Unix(c.unix, 0), c.after)
		if ok != c.want || ok && got != at {
			t.Errorf("%s: got %d, %t, want %t", c.name, got, ok, c.want)
		}
	}
}

func TestNewSecond(t *testing.T) {
	a, b := NewSecond(), NewSecond()
	raw, err := base32.StdEncoding.DecodeString(a)
	if err != nil || len(raw) != 20 || a == b { // 20: RFC 4226, 4, R6
		t.Errorf("got %q and %q (%v), want two of 20 bytes", a, b, err)
	}
	want := "otpauth://totp/brakewear:ann@island.example?issuer=brakewear&secret=" + a
	if got := SecondAddress(a, "ann@island.example"); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	key, err := otp.NewKeyFromURL(SecondAddress(a, "ann+a b@island.example"))
	if err != nil || key.Secret() != a || key.AccountName() != "ann+a b@island.example" || key.Issuer() != "brakewear" {
		t.Errorf("the library reads %v (%v)", key, err)
	}
}

func TestRecoveryCodes(t *testing.T) {
	codes := NewRecovery()
	seen := map[string]bool{}
	for _, c := range codes {
		seen[c] = true
		// 4 groups of 6 letters and digits of base32: 120 bits.
		if groups := strings.Split(c, "-"); len(groups) != 4 || len(c) != 27 {
			t.Errorf("got %s, want four groups of six", c)
		}
		if got := RecoveryHash(strings.ToLower(strings.ReplaceAll(c, "-", " "))); got == "" || got != RecoveryHash(c) {
			t.Errorf("%s typed otherwise: got %q, want the same hash", c, got)
		}
	}
	if len(seen) != 10 {
		t.Errorf("got %d codes that differ, want 10", len(seen))
	}
	if RecoveryHash("123456") != "" {
		t.Error("six digits: got a hash, want none")
	}
}

// The path draws what the library's picture has, row by row.
func TestQR(t *testing.T) {
	const text = "otpauth://totp/brakewear:ann@island.example?issuer=brakewear&secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
	path, side, err := QR(text)
	if err != nil {
		t.Fatal(err)
	}
	// ISO/IEC 18004: a symbol of version v has 17+4v modules on a side (from
	// memory).
	if side < 21 || (side-17)%4 != 0 {
		t.Errorf("got %d modules on a side", side)
	}
	img := image.NewGray(image.Rect(0, 0, side, side))
	for _, p := range strings.Split(path, "M")[1:] {
		var x, y int
		if n, err := fmt.Sscanf(p, "%d %d", &x, &y); n != 2 || err != nil {
			t.Fatalf("%s: %v", p, err)
		}
		img.Set(x, y, color.White)
	}
	// Its finder patterns: dark corners, a light ring, a dark square of three in
	// the middle (ISO/IEC 18004, from memory).
	for _, corner := range []image.Point{{0, 0}, {side - 7, 0}, {0, side - 7}} {
		for y := range 7 {
			for x := range 7 {
				edge, ring := x == 0 || y == 0 || x == 6 || y == 6, x == 1 || y == 1 || x == 5 || y == 5
				want := edge || !ring
				if got := img.GrayAt(corner.X+x, corner.Y+y).Y > 0; got != want {
					t.Errorf("module %d, %d of the finder at %v: got dark %t, want %t", x, y, corner, got, want)
				}
			}
		}
	}
	if _, _, err := QR(strings.Repeat("a", 5000)); err == nil {
		t.Error("a text too long for a code: want an error")
	}
}
