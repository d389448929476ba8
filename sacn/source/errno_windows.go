package source

import (
	"strconv"
	"syscall"
)

// errnoName returns the error number, "other" for none.
func errnoName(errno syscall.Errno) string {
	if errno == 0 {
		return "other"
	}
	return strconv.Itoa(int(errno))
}
