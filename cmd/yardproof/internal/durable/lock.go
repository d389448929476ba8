package durable

import (
	"errors"
	"syscall"
)

// ErrLocked means that another program has locked a file.
var ErrLocked = errors.New("locked by another program")

// NoDisk reports whether an error means that there is nothing to write to: the
// disk is full, read-only or broken. What stands in the way of one file is no such
// error, nor is a permission.
func NoDisk(err error) bool {
	for _, no := range []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EROFS, syscall.EIO} {
		if errors.Is(err, no) {
			return true
		}
	}
	return false
}
