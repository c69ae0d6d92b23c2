package auth

import (
	"crypto/aes"
	"crypto/cipher"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
)

// Keys keep the secrets of second factors from who reads the database and nothing
// else, such as a backup: codes are worked out of them, so that no hash would do.
// The first seals, all open. Without any, secrets are kept as they are.
type Keys []cipher.AEAD

// keyBytes are those of a key: AES-256.
const keyBytes = 32

// ParseKeys reads keys in base64, with commas between them; blank text is none.
func ParseKeys(text string) (ks Keys, err error) {
	if strings.TrimSpace(text) == "" {
		return nil, nil
	}
	for i, part := range strings.Split(text, ",") {
		key, err := base64.StdEncoding.DecodeString(strings.TrimSpace(part))
		if err != nil || len(key) != keyBytes {
			// What it is does not go into an error.
			return nil, fmt.Errorf("key %d: want %d random bytes in base64, as head -c %d /dev/urandom | base64 makes them", i+1, keyBytes, keyBytes)
		}
		block, err := aes.NewCipher(key)
		if err != nil {
			return nil, err
		}
		// GCM (NIST SP 800-38D) with a random nonce for each secret, of which
		// there are few: 2^32 may be sealed by one key.
		k, err := cipher.NewGCMWithRandomNonce(block)
		if err != nil {
			return nil, err
		}
		ks = append(ks, k)
	}
	return ks, nil
}

// seal begins what is sealed. No secret in base32 does.
const seal = "aes256gcm:"

// Sealed says whether a secret is kept sealed.
func Sealed(kept string) bool { return strings.HasPrefix(kept, seal) }

// owner is what a secret is sealed with, so that it opens for no other account.
func owner(account int64) []byte { return fmt.Appendf(nil, "second factor of account %d", account) }

// Seal returns the secret of an account's second factor as it is kept.
func (ks Keys) Seal(secret string, account int64) string {
	if len(ks) == 0 {
		return secret
	}
	return seal + base64.StdEncoding.EncodeToString(ks[0].Seal(nil, nil, []byte(secret), owner(account)))
}

// ErrSealed: no key that is known opens it.
var ErrSealed = errors.New("the key that it is kept under is not known")

// Open returns the secret that is kept so. It is fresh when Seal would keep it
// under the same key, or none.
func (ks Keys) Open(kept string, account int64) (secret string, fresh bool, err error) {
	text, sealed := strings.CutPrefix(kept, seal)
	if !sealed {
		return kept, len(ks) == 0, nil
	}
	b, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return "", false, ErrSealed
	}
	for i, k := range ks {
		if secret, err := k.Open(nil, nil, b, owner(account)); err == nil {
			return string(secret), i == 0, nil
		}
	}
	return "", false, ErrSealed
}
