package main

import (
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// A full pipe that nobody reads takes the place of standard error: a terminal held
// with Ctrl-S. The page answers, and the program ends.
func TestStalledStderr(t *testing.T) {
	w := fullPipe(t)
	at := sacntest.Unused(t)
	cmd := exec.CommandContext(t.Context(), os.Args[0], "run", "--demo", "--no-scan", "--state", t.TempDir(), "--http", at)
	cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
	cmd.Stderr = w
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	w.Close()
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	defer cmd.Process.Kill()
	client := http.Client{Timeout: 5 * time.Second}
	sacntest.Eventually(t, 20*time.Second, "an answer to dark", func() bool {
		resp, err := client.Post(fmt.Sprintf("http://%s/api/dark", at), "application/json", strings.NewReader("{}"))
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	})
	cmd.Process.Signal(syscall.SIGHUP) // which has much to say
	cmd.Process.Signal(syscall.SIGTERM)
	select {
	case <-ended:
	case <-time.After(20 * time.Second):
		t.Error("SIGTERM does not end it")
	}
}
