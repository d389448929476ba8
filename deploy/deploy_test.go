// Package deploy holds no program: units, packages, rules and a dashboard. Its
// tests use them with the real parts: systemd as process 1, dpkg, lintian,
// Prometheus. What they need beyond that they name.
package deploy

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"yardproof/sacn/sacntest"
)

const testVersion = "0.0.1"

var scratch string // for what several tests share

func TestMain(m *testing.M) {
	var err error
	if scratch, err = os.MkdirTemp("", "yardproof-deploy-*"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := sacntest.Run(m)
	os.RemoveAll(scratch)
	os.Exit(code)
}

// packages builds the packages of this machine's architecture, once.
var packages = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(scratch, "package")
	cmd := exec.Command("./package", testVersion, dir, "linux/"+runtime.GOARCH)
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("deploy/package: %w: %s", err, out)
	}
	return dir, nil
})

// needPackages returns the directory with the packages.
func needPackages(t *testing.T) string {
	t.Helper()
	sacntest.NeedTool(t, "bash", "dpkg-deb", "zip", "gzip", "tar", "git")
	dir, err := packages()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// debFile is the Debian package.
func debFile(t *testing.T) string {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join(needPackages(t), "*.deb"))
	if len(files) != 1 {
		t.Fatalf("packages: %v", files)
	}
	return files[0]
}

// files are the Debian package's, laid out once; nobody writes there.
var files = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(scratch, "unpacked")
	out, err := exec.Command("sh", "-c", `dpkg-deb -x "$1"/*.deb "$2"`, "sh", filepath.Join(scratch, "package"), dir).CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("dpkg-deb: %w: %s", err, out)
	}
	return dir, nil
})

// unpacked is the directory with the Debian package's files.
func unpacked(t *testing.T) string {
	t.Helper()
	needPackages(t)
	dir, err := files()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// output runs a command that must succeed.
func output(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v: %s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// start runs a program in the background; it is killed when the test ends.
func start(t *testing.T, cmd *exec.Cmd) *sacntest.Program {
	t.Helper()
	return sacntest.Started(t, cmd, func() { _ = cmd.Process.Kill() }) // it may have ended
}

func inNamespace(ns, name string, args ...string) *exec.Cmd {
	return exec.CommandContext(context.Background(), "ip", append([]string{"netns", "exec", ns, name}, args...)...)
}
