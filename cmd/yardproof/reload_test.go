//go:build unix

package main

import (
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// A SIGHUP while the program waits for its interface does not end it.
func TestHangupWhileWaiting(t *testing.T) {
	t.Parallel() // it waits more than it works
	file := sacntest.File(t, "plan.yaml", sacntest.Read(t, burnInPlan))
	prog := sacntest.Start(t, "burn-in", file, "--interface", "nosuch0", "--state", t.TempDir(), "--http", "127.0.0.1:0")
	prog.Says(20*time.Second, "waiting for the interface")
	prog.Signal(syscall.SIGHUP)
	prog.Stop()
}
