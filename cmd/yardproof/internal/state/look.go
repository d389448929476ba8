package state

import (
	"errors"
	"os"
	"path/filepath"
	"strings"

	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/sacn"
)

// Running reports whether a transmitter holds the directory now.
func Running(dir string) bool {
	lock, err := os.Open(filepath.Join(dir, "lock"))
	if err != nil {
		return false
	}
	defer lock.Close() // at once: a transmitter that begins meanwhile would be refused
	return errors.Is(durable.Lock(lock), durable.ErrLocked)
}

// KnownCID returns the identifier of the transmitter that keeps its state in the
// directory; false when there is none that can be read.
func KnownCID(dir string) (sacn.CID, bool) {
	text, err := os.ReadFile(filepath.Join(dir, "cid"))
	if err != nil {
		return sacn.CID{}, false
	}
	cid, err := sacn.ParseCID(strings.TrimSpace(string(text)))
	return cid, err == nil
}
