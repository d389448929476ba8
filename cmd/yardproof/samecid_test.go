package main

import (
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/state"
	"yardproof/sacn/sacntest"
)

// TestTwoProgramsOneDirectory: the second says in one sentence what is wrong and what to
// do, and sends nothing.
func TestTwoProgramsOneDirectory(t *testing.T) {
	dir := t.TempDir()
	first, err := state.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	for _, command := range []string{"run", "burn-in"} {
		code, _, said := call(t, command, burnInPlan, "--no-scan", "--interface", "lo", "--state", dir, "--for", "50ms")
		if code == exitFine || !strings.Contains(said, "in use by another yardproof; stop that one, or give each its own --state") || strings.Contains(said, "sent") {
			t.Errorf("%s: exit %d, %s", command, code, said)
		}
	}
}

// TestCopiedState copies a state directory, with the CID in it, to a second machine:
// that one refuses; made to send, it is a second sender to everybody, and nobody's
// loss.
func TestCopiedState(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	args := func(state string, more ...string) []string {
		return append([]string{"run", "--universe", "1", "--pixels", "50", "--interface", "yard0", "--state", state}, more...)
	}
	first, second := t.TempDir(), t.TempDir()+"/copy"
	ours := pair.Start(t, pair.Near, args(first)...)
	ours.Says(30*time.Second, "page and metrics")
	if err := os.CopyFS(second, os.DirFS(first)); err != nil {
		t.Fatal(err)
	}
	refused := pair.Start(t, pair.Far, args(second)...)
	if code := refused.Wait(30 * time.Second); code != 2 || !strings.Contains(refused.Stderr(), "own CID") || !strings.Contains(refused.Stderr(), "--state") {
		t.Errorf("exit %d: %s", code, refused.Stderr())
	}
	theirs := pair.Start(t, pair.Far, args(second, "--same-cid")...)
	counted := regexp.MustCompile(`(?m)^yardproof_same_cid_senders\{.*\} 1$`)
	sacntest.Eventually(t, 90*time.Second, "in the metrics of the first", func() bool {
		return counted.MatchString(pair.Get(t, pair.Near, "http://"+address+"/metrics"))
	})
	if said := ours.Stderr(); strings.Count(said, "another sender uses our CID") != 1 || !strings.Contains(said, sacntest.FarAddr4) {
		t.Errorf("the first said %s", said)
	}
	listen := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--universes", "1", "--for", "3s", "--format", "json")
	code := listen.Wait(30 * time.Second)
	var heard struct {
		Sources []struct {
			Universes []struct{ Lost, Restarts uint64 }
		}
		Conflicts []struct {
			Addresses []string
			SameCID   bool `json:"same_cid"`
		}
		Findings []string
	}
	listen.JSON(&heard)
	if code != 1 || len(heard.Sources) != 2 || len(heard.Conflicts) != 1 || !heard.Conflicts[0].SameCID || len(heard.Conflicts[0].Addresses) != 2 ||
		len(heard.Findings) != 1 || !strings.Contains(heard.Findings[0], "two senders use one CID") {
		t.Errorf("exit %d, %+v", code, heard)
	}
	for _, src := range heard.Sources {
		if u := src.Universes[0]; u.Lost+u.Restarts > 0 {
			t.Errorf("%+v", src)
		}
	}
	for _, p := range []*sacntest.Program{ours, theirs} {
		p.Stop()
	}
}
