package main

import (
	"encoding/json"
	"net/http"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// TestDarkOutlastsEverything presses dark in a burn-in, and then reloads, kills
// and starts anew. Nothing lights before the hold is lifted from a shell.
func TestDarkOutlastsEverything(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	state := t.TempDir()
	start := func() *sacntest.Program {
		t.Helper()
		return pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state)
	}
	type answer struct {
		Showing struct{ Pattern string }
		Hold    *struct {
			By   string
			Dark bool
			Kept *bool
		}
	}
	client := pair.Client(t, pair.Near)
	ask := func(method, path string) (a answer, ok bool) {
		t.Helper()
		req, err := http.NewRequestWithContext(t.Context(), method, "http://"+address+path, strings.NewReader("{}"))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/json")
		req.Close = true // the program is started again meanwhile
		resp, err := client.Do(req)
		if err != nil {
			return a, false
		}
		defer resp.Body.Close()
		return a, json.NewDecoder(resp.Body).Decode(&a) == nil
	}
	shows := func(pattern string) func() bool {
		return func() bool { a, ok := ask(http.MethodGet, "/api/state"); return ok && a.Showing.Pattern == pattern }
	}
	stays := func(after string) {
		t.Helper()
		for end := time.Now().Add(3 * time.Second); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
			if a, ok := ask(http.MethodGet, "/api/state"); ok && (a.Showing.Pattern != "dark" || a.Hold == nil) {
				t.Fatalf("%s: %+v", after, a)
			}
		}
	}

	prog := start()
	sacntest.Eventually(t, 20*time.Second, "walking", shows("walk"))
	a, ok := ask(http.MethodPost, "/api/dark")
	if !ok || a.Showing.Pattern != "dark" || a.Hold == nil || !a.Hold.Dark || a.Hold.Kept == nil || !*a.Hold.Kept {
		t.Fatalf("dark answers %+v", a)
	}
	prog.Signal(syscall.SIGHUP) // at once: the programme has not looked yet
	stays("a reload")
	if text := pair.Get(t, pair.Near, "http://"+address+"/metrics"); !strings.Contains(text, `yardproof_hold_since_timestamp_seconds{by="the page on this machine",dark="true"`) {
		t.Error("the metrics do not say who holds")
	}
	if text := pair.Get(t, pair.Near, "http://"+address+"/last-day"); !strings.Contains(text, "held dark by the page on this machine since") {
		t.Error("the last day does not say who holds")
	}
	prog.Signal(syscall.SIGKILL)
	prog.Wait(20 * time.Second)
	prog = start()
	sacntest.Eventually(t, 20*time.Second, "dark after kill -9", shows("dark"))
	stays("kill -9")
	if said := prog.Stderr(); !strings.Contains(said, "held dark by the page on this machine") || !strings.Contains(said, "yardproof resume") {
		t.Errorf("the start does not say who holds: %s", said)
	}
	if code, _, stderr := call(t, "resume", "--state", state); code != 0 || !strings.Contains(stderr, "held dark by the page on this machine") {
		t.Errorf("resume: exit %d, %s", code, stderr)
	}
	sacntest.Eventually(t, 20*time.Second, "walking again", shows("walk"))
	prog.Signal(syscall.SIGTERM)
	prog.Wait(20 * time.Second)
	start()
	sacntest.Eventually(t, 20*time.Second, "walking after a restart", shows("walk"))
}
