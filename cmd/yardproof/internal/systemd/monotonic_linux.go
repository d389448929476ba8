package systemd

import (
	"time"

	"golang.org/x/sys/unix"
)

func monotonic() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &t); err != nil {
		return 0
	}
	return time.Duration(t.Nano())
}
