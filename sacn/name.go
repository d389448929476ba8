package sacn

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Name is the source name field of data and discovery packets: 64 octets of
// UTF-8, ended by NUL and filled with NUL (6.2.2). It is for people, and is no
// identifier; that is the CID.
type Name [64]byte

// MaxNameLen is the longest source name in octets; one more is the NUL.
const MaxNameLen = len(Name{}) - 1

// NewName makes the field from text. Text that does not fit is refused, never
// cut, since the person who wrote it would look for the whole of it on other
// people's screens.
func NewName(s string) (Name, error) {
	var n Name
	switch {
	case !utf8.ValidString(s):
		return n, fmt.Errorf("source name %q is not UTF-8", s)
	case strings.ContainsRune(s, 0):
		return n, fmt.Errorf("source name %q contains a NUL", s)
	case len(s) > MaxNameLen:
		return n, fmt.Errorf("source name %q is %d octets long, the field holds %d", s, len(s), MaxNameLen)
	}
	copy(n[:], s)
	return n, nil
}

// String returns the octets before the first NUL. A name from the wire may hold
// anything: clean it before it reaches a terminal.
func (n Name) String() string {
	s, _, _ := bytes.Cut(n[:], []byte{0})
	return string(s)
}
