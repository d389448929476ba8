//go:build unix

package durable

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// Lock locks an open file against other programs, until it is closed; that one has
// done so already is [ErrLocked].
func Lock(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return ErrLocked
	}
	return err
}
