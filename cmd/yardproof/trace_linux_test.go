package main

import (
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// trace has strace, a tracer that we did not write, follow a program's calls, or have some
// of them fail, until the function that it returns is called. That returns its lines.
func trace(t *testing.T, prog *sacntest.Program, expressions ...string) (end func() string) {
	t.Helper()
	sacntest.NeedTool(t, "strace")
	file := filepath.Join(t.TempDir(), "calls")
	args := []string{"-f", "-s", "500", "-o", file, "-p", strconv.Itoa(prog.Pid())}
	for _, e := range expressions {
		args = append(args, "-e", e)
	}
	cmd := exec.Command("strace", args...)
	talk := new(sacntest.Log)
	cmd.Stderr = talk
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := false
	end = func() string {
		if !ended {
			ended = true
			cmd.Process.Signal(syscall.SIGINT)
			cmd.Wait()
		}
		return sacntest.Read(t, file)
	}
	t.Cleanup(func() { end() })
	sacntest.Eventually(t, 30*time.Second, "tracing", func() bool { return talk.Count("attached") > 0 })
	return end
}

// TestBeatIsMonotonic: whoever sets the clock of the machine by an hour moves no frame. The
// kernel is never asked to wake anybody by that clock.
func TestBeatIsMonotonic(t *testing.T) {
	t.Parallel() // it waits more than it works
	prog := sacntest.Start(t, "run", "--demo", "--no-scan", "--http", "127.0.0.1:0")
	serving(t, prog)
	end := trace(t, prog, "trace=clock_nanosleep,timer_create,timerfd_create,timer_settime,timerfd_settime")
	time.Sleep(time.Second)
	calls := end()
	if n := strings.Count(calls, "clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME"); n < 5 || strings.Contains(calls, "CLOCK_REALTIME") {
		t.Errorf("%d sleeps until a monotonic time: %s", n, calls)
	}
}
