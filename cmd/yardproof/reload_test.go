//go:build unix

package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// A SIGHUP while the program waits for its interface does not end it.
func TestHangupWhileWaiting(t *testing.T) {
	t.Parallel() // it waits more than it works
	file := filepath.Join(t.TempDir(), "plan.yaml")
	text, err := os.ReadFile(burnInPlan)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	prog := (*sacntest.Pair)(nil).Start(t, "", "burn-in", file, "--interface", "nosuch0", "--state", t.TempDir(), "--http", "127.0.0.1:0")
	sacntest.Eventually(t, 20*time.Second, "waiting", func() bool { return strings.Contains(prog.Stderr(), "waiting for the interface") })
	prog.Signal(syscall.SIGHUP)
	prog.Signal(syscall.SIGTERM)
	if code := prog.Wait(20 * time.Second); code != 0 {
		t.Errorf("exit %d: %s", code, prog.Stderr())
	}
}
