package sacn

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
)

// CID is a component identifier: a UUID (RFC 9562, which replaces the RFC 4122
// that clause 5.6 names), unique to one source and kept for its life. Receivers
// treat it as 16 opaque octets.
type CID [16]byte

// NewCID returns a random CID, a version 4 UUID.
func NewCID() CID {
	var c CID
	rand.Read(c[:]) // never fails: crypto/rand ends the program instead
	c[6] = c[6]&0x0f | 0x40
	c[8] = c[8]&0x3f | 0x80
	return c
}

// ParseCID reads the text form 8-4-4-4-12 of RFC 9562 section 4.
func ParseCID(s string) (CID, error) {
	var c CID
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return c, fmt.Errorf("CID %q is not of the form xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx", s)
	}
	digits := s[:8] + s[9:13] + s[14:18] + s[19:23] + s[24:]
	if _, err := hex.Decode(c[:], []byte(digits)); err != nil {
		return c, fmt.Errorf("CID %q: %w", s, err)
	}
	return c, nil
}

// String returns the text form of RFC 9562 section 4.
func (c CID) String() string {
	return fmt.Sprintf("%x-%x-%x-%x-%x", c[:4], c[4:6], c[6:8], c[8:10], c[10:])
}
