package auth

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
)

// NewSecret returns a secret for a session, a link or a token: 260 bits as 52
// letters and digits.
func NewSecret() string { return rand.Text() + rand.Text() }

// Hash is how a secret is kept: whoever reads the database can use none. A
// secret is long and random, so one round is enough.
func Hash(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}
