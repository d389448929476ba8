//go:build !linux

package systemd

import "time"

func monotonic() time.Duration { return 0 } // there is no systemd to tell
