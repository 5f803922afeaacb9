package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
)

// A token of our own is its mark and 32 random bytes in base64url (RFC 4648,
// section 5). The mark lets a scanner of files and logs find one that strayed.
const (
	tokenMark  = "hawser_"
	tokenBytes = 32
	hashMark   = "sha256:"
)

// Hash is what is kept of a token. A single SHA-256 is enough: with 256 random
// bits there is nothing to guess, so nothing for a slow hash to slow down (NIST
// SP 800-63B, 5.1.2.2, asks it of secrets under 112 bits only; from memory).
type Hash [sha256.Size]byte

// NewToken makes a token.
func NewToken() string {
	var b [tokenBytes]byte
	_, _ = rand.Read(b[:]) // never fails: see its documentation
	return tokenMark + base64.RawURLEncoding.EncodeToString(b[:])
}

// HashOf is the hash of a token.
func HashOf(token string) Hash { return sha256.Sum256([]byte(token)) }

// hashToken is the hash of a token of our own form. Anything weaker than that,
// such as a password, is no token, whatever its hash.
func hashToken(token string) (Hash, bool) {
	random, ours := strings.CutPrefix(token, tokenMark)
	b, err := base64.RawURLEncoding.Strict().DecodeString(random)
	if !ours || err != nil || len(b) != tokenBytes {
		return Hash{}, false
	}
	return HashOf(token), true
}

// isOurs reports whether a bearer token claims to be one of our own.
func isOurs(token string) bool { return strings.HasPrefix(token, tokenMark) }

func (h Hash) String() string { return hashMark + hex.EncodeToString(h[:]) }

func (h Hash) equal(other Hash) bool { return subtle.ConstantTimeCompare(h[:], other[:]) == 1 }

// parseHash reads what String writes.
func parseHash(s string) (h Hash, err error) {
	digits, ok := strings.CutPrefix(s, hashMark)
	if !ok {
		return h, fmt.Errorf("must be %s and 64 hexadecimal digits", hashMark)
	}
	b, err := hex.DecodeString(digits)
	if err != nil || len(b) != len(h) {
		return h, errors.New("must be " + hashMark + " and 64 hexadecimal digits")
	}
	return Hash(b), nil
}
