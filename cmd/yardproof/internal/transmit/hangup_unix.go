//go:build unix

package transmit

import (
	"os"
	"os/signal"
	"syscall"
)

// catchHangups keeps a SIGHUP from ending the program, which may wait for its
// interface for hours before it can reload anything. One is remembered.
func catchHangups() chan os.Signal {
	hangups := make(chan os.Signal, 1)
	signal.Notify(hangups, syscall.SIGHUP)
	return hangups
}
