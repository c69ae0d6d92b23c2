package auth

import (
	"crypto/rand"
	"encoding/base32"
	"fmt"
	"net/url"
	"strings"
	"time"
	"unicode"

	"github.com/boombuler/barcode/qr"
	"github.com/pquerna/otp"
	"github.com/pquerna/otp/hotp"
)

// A second factor is a code that an app works out of a secret and the time:
// TOTP after RFC 6238, in the form that every app knows (six digits, 30 s,
// HMAC-SHA-1).

// step is how long a code is shown, in seconds: RFC 6238, 5.2.
const step = 30

// secondBytes are those of a secret: RFC 4226, 4, R6 recommends 160 bits.
const secondBytes = 20

// NewSecond returns the secret of a second factor, in base32.
func NewSecond() string {
	b := make([]byte, secondBytes)
	rand.Read(b) // never fails
	return base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b)
}

// SecondAddress is what apps read of a secret: the address of a key, which they
// agreed on (Key URI Format, from memory).
func SecondAddress(secret, email string) string {
	u := url.URL{
		Scheme: "otpauth", Host: "totp", Path: "/brakewear:" + email,
		RawQuery: url.Values{"secret": {secret}, "issuer": {"brakewear"}}.Encode(),
	}
	return u.String()
}

// SecondStep returns the step of a code, when it is one of about now and later
// than the step after, which was used: the one before is taken too, for who
// types slowly (RFC 6238, 5.2), and the one to come, for a clock ahead.
func SecondStep(secret, code string, now time.Time, after int64) (at int64, ok bool) {
	code = plainCode(code)
	if len(code) != otp.DigitsSix.Length() {
		return 0, false
	}
	current := now.Unix() / step
	for _, at := range []int64{current, current - 1, current + 1} {
		fits, err := hotp.ValidateCustom(code, uint64(at), secret, hotp.ValidateOpts{Digits: otp.DigitsSix, Algorithm: otp.AlgorithmSHA1})
		if err == nil && fits && at > after {
			return at, true
		}
	}
	return 0, false
}

// plainCode is a code without what people put between its parts.
func plainCode(code string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, code)
}

// Recovery codes take the place of the app, each once. With 120 bits a quick
// hash keeps them (OWASP ASVS 5.0, 6.5.2, wants a slow one below 112).
const (
	recoveryCodes   = 10
	recoveryLetters = 24
	recoveryGroup   = 6
)

// NewRecovery returns recovery codes, as they are shown.
func NewRecovery() []string {
	codes := make([]string, recoveryCodes)
	for i := range codes {
		text := rand.Text()[:recoveryLetters]
		for len(text) > recoveryGroup {
			codes[i] += text[:recoveryGroup] + "-"
			text = text[recoveryGroup:]
		}
		codes[i] += text
	}
	return codes
}

// RecoveryHash is how a recovery code is kept, however it is typed; "" when it
// is none by its length.
func RecoveryHash(code string) string {
	code = plainCode(code)
	if len(code) != recoveryLetters {
		return ""
	}
	return Hash(code)
}

// QR returns text as a QR code: the path of an SVG of its dark modules, each
// of 1 by 1, and how many there are on a side.
func QR(text string) (path string, side int, err error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return "", 0, fmt.Errorf("draw a QR code: %w", err)
	}
	side = code.Bounds().Dx()
	var b strings.Builder
	for y := range side {
		for x := range side {
			if r, _, _, _ := code.At(x, y).RGBA(); r == 0 {
				fmt.Fprintf(&b, "M%d %dh1v1h-1z", x, y)
			}
		}
	}
	return b.String(), side, nil
}
