// Package sacntest is what tests across the project share: the rule for missing
// tools, network namespaces, packet captures. Programs must not import it.
package sacntest

import (
	"os"
	"os/exec"
	"testing"
)

// Missing ends a test that lacks a tool or a right: with CI=true it fails, since
// a check that did not run must not look green; elsewhere it is skipped with the
// reason.
func Missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is needed by this test", what)
	}
	t.Skipf("left out: it needs %s", what)
}

// NeedTool ends the test by [Missing] unless the programs are on the PATH.
func NeedTool(t testing.TB, names ...string) {
	t.Helper()
	for _, name := range names {
		if _, err := exec.LookPath(name); err != nil {
			Missing(t, name)
		}
	}
}

// NeedRoot ends the test by [Missing] unless it runs as root.
func NeedRoot(t testing.TB) {
	t.Helper()
	if os.Geteuid() != 0 {
		Missing(t, "root")
	}
}
