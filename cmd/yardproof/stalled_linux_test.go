package main

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/sacn/sacntest"
)

// A full pipe that nobody reads takes the place of standard error: a terminal held
// with Ctrl-S. The page answers, and the program ends.
func TestStalledStderr(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	size, err := unix.FcntlInt(w.Fd(), unix.F_SETPIPE_SZ, 4096)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(make([]byte, size)); err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := ln.Addr().String()
	ln.Close()
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
