package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
	"yardproof/sacn/sacntest"
)

// TestSpoiltState spoils each file of a state directory in turn. The program sends
// all the same, or says in one sentence what is wrong; it loses nothing of what it
// could not read.
func TestSpoiltState(t *testing.T) {
	t.Parallel() // it waits more than it works
	at := sacntest.Unused(t)
	dir := t.TempDir()
	plan := filepath.Join(dir, "demo.yaml")
	sacntest.Write(t, plan, strings.Replace(config.DemoText(), "between: 16:00-22:00", "", 1))
	start := func(state string) (int, string) {
		t.Helper()
		code, _, said := call(t, "burn-in", plan, "--no-scan", "--state", state, "--http", at, "--for", "50ms")
		return code, said
	}
	whole := filepath.Join(dir, "whole")
	if code, said := start(whole); code != 0 {
		t.Fatalf("exit %d: %s", code, said)
	}
	entries, err := os.ReadDir(whole)
	if err != nil {
		t.Fatal(err)
	}
	names := []string{"hold.json", record.FileName} // which a burn-in of a moment has not
	for _, e := range entries {
		if !e.IsDir() && !slices.Contains(names, e.Name()) {
			names = append(names, e.Name())
		}
	}
	if len(names) < 5 {
		t.Errorf("the state is %v", names)
	}
	for _, name := range names {
		for what, text := range map[string]string{"half": "{\"a\x00\xff\x1b[2J", "of a newer version": `{"version": 99, "cid": 7, "format": "record of another year"}` + "\n"} {
			state := t.TempDir()
			if err := os.CopyFS(state, os.DirFS(whole)); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(state, name)
			sacntest.Write(t, path, text)
			code, said := start(state)
			if code > 2 || strings.Contains(said, "panic") || strings.Contains(said, "\x1b") {
				t.Errorf("%s %s: exit %d, %s", name, what, code, said)
			}
			if code != 0 && !strings.Contains(said, name) {
				t.Errorf("%s %s: it does not say which file: %s", name, what, said)
			}
			kept := slices.Contains([]string{"sequence", "lock", "page", "ended.json"}, name) // what each start or end writes anew
			for _, at := range []string{path, path + ".unreadable", filepath.Join(state, "record.torn")} {
				now, err := os.ReadFile(at)
				kept = kept || err == nil && strings.Contains(string(now), text)
			}
			if !kept {
				t.Errorf("%s %s: exit %d, and what stood there is lost: %s", name, what, code, said)
			}
		}
	}
}
