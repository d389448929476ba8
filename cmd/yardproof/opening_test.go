package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/config"
	"yardproof/sacn/sacntest"
)

// The hand-over over a wire: while the program runs the sheet says what it still sends;
// a copy of it elsewhere is heard; and when it has let go, it is heard to be silent.
func TestHandOver(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	dir, plan := t.TempDir(), filepath.Join(t.TempDir(), "plan.yaml")
	sacntest.Write(t, plan, "name: porch\nstrings:\n  - {name: porch, universe: 7, pixels: 10}\n")
	sheet := func(state string, more ...string) string {
		t.Helper()
		p := pair.Start(t, pair.Far, append([]string{"report", plan, "--opening", "--state", state}, more...)...)
		if code := p.Wait(30 * time.Second); code != exitFound { // the porch is unproved
			t.Errorf("exit %d: %s", code, p.Stderr())
		}
		return p.Stdout()
	}
	prog := pair.Start(t, pair.Near, "run", plan, "--interface", sacntest.Interface, "--no-scan", "--state", dir)
	sacntest.Eventually(t, 20*time.Second, "ready", func() bool {
		return pair.Command(t.Context(), pair.Near, "curl", "-sf", "http://"+address+"/readyz").Run() == nil
	})
	if got := sheet(dir); !strings.Contains(got, "This program still sends universe 7.") {
		t.Errorf("while it runs:\n%s", got)
	}
	page := pair.Get(t, pair.Near, "http://"+address+"/opening")
	if !strings.Contains(page, "This program still sends universe 7.") || !strings.Contains(page, `href="/opening.css"`) || strings.Contains(page, "<style") {
		t.Errorf("on the page:\n%s", page)
	}
	copied := t.TempDir()
	cid, err := os.ReadFile(filepath.Join(dir, "cid"))
	if err == nil {
		err = os.WriteFile(filepath.Join(copied, "cid"), cid, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	if got := sheet(copied, "--interface", sacntest.Interface); !strings.Contains(got, "no-go  Hand-over: This program's stream is still heard on universe 7.") {
		t.Errorf("of a copy elsewhere:\n%s", got)
	}
	prog.Signal(syscall.SIGTERM)
	prog.Wait(20 * time.Second)
	got := sheet(dir, "--interface", sacntest.Interface)
	for _, want := range []string{"go     Hand-over: This program does not run, and it was heard to be silent on " + sacntest.Interface, "on universe 7: sent ", "the streams are terminated", "Nobody was heard on "} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in what is said after the end:\n%s", want, got)
		}
	}
}

func TestOpeningWrongUse(t *testing.T) {
	dir, plan := t.TempDir(), filepath.Join(t.TempDir(), "plan.yaml")
	sacntest.Write(t, plan, config.DemoText())
	for _, tt := range []struct {
		args string
		code int
		says string
	}{
		{"--opening", exitUsage, "--opening needs one plan file"},
		{"--opening --format csv " + plan, exitUsage, "is text or html"},
		{"--opening --since 2026-11-01 " + plan, exitUsage, "--since is not for --opening"},
		{"--interface lo " + plan, exitUsage, "--interface is for --opening"},
		{"--opening --interface nope9 --state " + dir + " " + plan, exitFound, "nope9"},
		{"--opening --state " + dir + " " + plan, exitFound, "no-go  Proofs: 13 strings not proved where hung."},
		{"--opening --format html --state " + dir + " " + plan, exitFound, "<style>"},
	} {
		code, out, errs := call(t, append([]string{"report"}, strings.Fields(tt.args)...)...)
		if code != tt.code || !strings.Contains(out+errs, tt.says) {
			t.Errorf("report %s: exit %d, want %d; %q is not in:\n%s%s", tt.args, code, tt.code, tt.says, out, errs)
		}
	}
}
