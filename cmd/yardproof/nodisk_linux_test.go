package main

import (
	"context"
	"io"
	"net/http"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// serving waits until a program has said where its page is, and returns that.
func serving(t *testing.T, prog *sacntest.Program) string {
	t.Helper()
	prog.Says(30*time.Second, "page and metrics at http")
	return regexp.MustCompile(`page and metrics at (http://\S+)/`).FindStringSubmatch(prog.Stderr())[1]
}

// TestNoDiskIsNoReasonNotToSend starts the program on a real disk that is read-only, or
// full: it sends, is dark when asked, refuses records, and says so everywhere.
func TestNoDiskIsNoReasonNotToSend(t *testing.T) {
	sacntest.NeedRoot(t)
	for name, mount := range map[string]string{
		"read-only": `mount -t tmpfs -o ro tmpfs "$0"`,
		"full":      `mount -t tmpfs -o size=8k tmpfs "$0"; head -c 8192 /dev/zero >"$0/film"`,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel() // it waits more than it works
			state := t.TempDir()
			ctx, cancel := context.WithCancel(context.Background())
			// The disk is seen by this process alone.
			cmd := exec.CommandContext(ctx, "unshare", "-m", "sh", "-ec", mount+`; exec "$@"`, state,
				os.Args[0], "run", "--demo", "--no-scan", "--state", state, "--http", "127.0.0.1:0")
			cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
			prog := sacntest.Started(t, cmd, cancel)
			at := serving(t, prog)
			ask := func(method, path, body string) (int, string) { return ask(t, method, at+path, body) }
			sacntest.Eventually(t, 30*time.Second, "sending", func() bool { code, _ := ask("GET", "/readyz", ""); return code == http.StatusOK })
			if _, scrape := ask("GET", "/metrics", ""); !regexp.MustCompile(`(?m)^yardproof_record_available\{.*\} 0$`).MatchString(scrape) {
				t.Error("the metrics do not say that nothing is recorded")
			}
			if code, now := ask("GET", "/api/state", ""); code != http.StatusOK || strings.Contains(now, `"record_problem":""`) {
				t.Errorf("the page says %s", now)
			}
			if code, now := ask("POST", "/api/dark", "{}"); code != http.StatusOK || !strings.Contains(now, `"pattern":"dark"`) || !strings.Contains(now, `"kept":false`) {
				t.Errorf("dark is answered %d %s", code, now)
			}
			if code, answer := ask("POST", "/api/notes", `{"note": "wet"}`); code < 500 {
				t.Errorf("a note is answered %d %s", code, answer)
			}
			prog.Signal(syscall.SIGTERM) // its end is no good one: the hold would not outlast it
			if code := prog.Wait(20 * time.Second); code != 1 || !strings.Contains(prog.Stderr(), "yardproof run: keeping the hold") || !strings.Contains(prog.Stderr(), "nothing can be recorded") || !strings.Contains(prog.Stderr(), "the streams are terminated") {
				t.Errorf("exit %d: %s", code, prog.Stderr())
			}
		})
	}
}

// ask sends a request with a JSON body, and returns the code and the text of the answer.
func ask(t *testing.T, method, url, body string) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(text)
}
