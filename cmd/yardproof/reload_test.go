//go:build unix

package main

import (
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// A SIGHUP while the program waits for its interface does not end it.
func TestHangupWhileWaiting(t *testing.T) {
	t.Parallel() // it waits more than it works
	file := sacntest.File(t, "plan.yaml", sacntest.Read(t, burnInPlan))
	prog := (*sacntest.Pair)(nil).Start(t, "", "burn-in", file, "--interface", "nosuch0", "--state", t.TempDir(), "--http", "127.0.0.1:0")
	sacntest.Eventually(t, 20*time.Second, "waiting", func() bool { return strings.Contains(prog.Stderr(), "waiting for the interface") })
	prog.Signal(syscall.SIGHUP)
	prog.Stop()
}
