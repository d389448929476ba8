package durable

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// Lock locks an open file against other programs, until it is closed; that one has
// done so already is [ErrLocked]. The octet that is locked lies far past the end:
// others may read the file.
func Lock(f *os.File) error {
	const flags = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	err := windows.LockFileEx(windows.Handle(f.Fd()), flags, 0, 1, 0, &windows.Overlapped{OffsetHigh: 0x7fffffff})
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return ErrLocked
	}
	return err
}
