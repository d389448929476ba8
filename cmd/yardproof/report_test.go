package main

import (
	"path/filepath"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/record"
)

// recordOf is a state directory with these lines on record.
func recordOf(t *testing.T, lines ...record.Line) (dir string) {
	t.Helper()
	dir = t.TempDir()
	log, _, err := record.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	for _, l := range lines {
		if _, err := log.Append(l); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestReport(t *testing.T) {
	dir := recordOf(t,
		record.Line{Kind: record.Proof, String: "gable-left", Label: "C1", Stage: record.Hung, Verdict: record.Good, Note: "=HYPERLINK(\"x\")"},
		record.Line{Kind: record.Proof, String: "gable-right", Label: "C2", Stage: record.Hung, Verdict: record.Fault})
	for _, tt := range []struct {
		args string
		code int
		says string
	}{
		{"--state " + dir, exitFine, "1 good, 1 at fault, how many are unproved is not known: name the plan"}, // without a plan: only what is recorded
		{"--state " + dir + " --format csv", exitFine, "'=HYPERLINK"},
		{"--state " + dir + " --format html", exitFine, "<!doctype html>"},
		{"--state " + dir + " --since 2026-12-01", exitFine, "Left out: proofs from before 2026-12-01 00:00\n0 good"},
		{"--state " + dir + " " + filepath.Join("..", "..", "config", "demo.yaml"), exitFine, "lighthouse-lantern"},
		{"--state " + t.TempDir(), exitFine, "0 good"},
		{"--state " + filepath.Join(dir, "nowhere"), exitFound, "--state names the directory"},
		{"--state " + dir + " missing.yaml", exitUsage, "there is no plan"},
		{"--format pdf", exitUsage, "not text, html or csv"},
		{"--since yesterday", exitUsage, "2026-11-01"},
		{"a b", exitUsage, "unexpected argument"},
	} {
		code, out, errs := call(t, append([]string{"report"}, strings.Fields(tt.args)...)...)
		said := out
		if tt.code != exitFine {
			said = errs
		}
		if code != tt.code || !strings.Contains(said, tt.says) {
			t.Errorf("report %s: exit %d, want %d; %q is not in:\n%s%s", tt.args, code, tt.code, tt.says, out, errs)
		}
	}
}
