//go:build unix

package source

import (
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

// errnoName returns the name of an error number, ENETUNREACH; "other" for none.
func errnoName(errno syscall.Errno) string {
	if name := unix.ErrnoName(errno); name != "" {
		return name
	}
	if errno == 0 {
		return "other"
	}
	return strconv.Itoa(int(errno))
}
