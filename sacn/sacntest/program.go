package sacntest

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"
)

// AsProgram is the environment variable by which a test binary is told to be
// the program.
const AsProgram = "YARDPROOF_TEST_AS_PROGRAM"

// Program is a program that a test started, as a rule the test binary as yardproof.
type Program struct {
	t        testing.TB
	cmd      *exec.Cmd
	done     chan struct{}
	out, err Log
}

// Start runs the test binary as yardproof, on the machine itself.
func Start(t testing.TB, args ...string) *Program {
	t.Helper()
	return (*Pair)(nil).Start(t, "", args...)
}

// Start runs the test binary as yardproof, in namespace ns of the pair, or on
// the machine itself when p is nil. The program is killed when the test ends, if
// it has not ended by then.
func (p *Pair) Start(t testing.TB, ns string, args ...string) *Program {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, self, args...)
	if p != nil {
		cmd = p.Command(ctx, ns, self, args...)
	}
	cmd.Env = append(os.Environ(), AsProgram+"=1")
	return Started(t, cmd, cancel)
}

// Started starts a command; cancel kills it.
func Started(t testing.TB, cmd *exec.Cmd, cancel func()) *Program {
	t.Helper()
	prog := &Program{t: t, cmd: cmd, done: make(chan struct{})}
	cmd.Stdout, cmd.Stderr = &prog.out, &prog.err
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(prog.done)
		_ = cmd.Wait() // the exit code tells
	}()
	t.Cleanup(func() { cancel(); <-prog.done })
	return prog
}

// Stdout returns what the program has printed.
func (p *Program) Stdout() string { return p.out.String() }

// Stderr returns what the program has said.
func (p *Program) Stderr() string { return p.err.String() }

// Says waits until the program has said something.
func (p *Program) Says(limit time.Duration, words string) {
	p.t.Helper()
	Eventually(p.t, limit, "said: "+words, func() bool { return p.err.Count(words) > 0 })
}

// JSON reads what the program has printed.
func (p *Program) JSON(into any) {
	p.t.Helper()
	if err := json.Unmarshal([]byte(p.Stdout()), into); err != nil {
		p.t.Fatalf("%v: %s%s", err, p.Stdout(), p.Stderr())
	}
}

// Signal sends a signal. `ip netns exec` becomes the program it starts, so the
// process is the program itself.
func (p *Program) Signal(s syscall.Signal) {
	p.t.Helper()
	if err := p.cmd.Process.Signal(s); err != nil {
		p.t.Errorf("signal %v: %v", s, err)
	}
}

// Pid is its process number; see Signal.
func (p *Program) Pid() int { return p.cmd.Process.Pid }

// Wait waits for the program to end and returns its exit code.
func (p *Program) Wait(limit time.Duration) int {
	p.t.Helper()
	select {
	case <-p.done:
		return p.cmd.ProcessState.ExitCode()
	case <-time.After(limit):
		p.t.Fatalf("%v is still running after %v; it said %s", p.cmd.Args, limit, p.Stderr())
		return -1
	}
}

// Ends waits for the program to end well.
func (p *Program) Ends(limit time.Duration) {
	p.t.Helper()
	if code := p.Wait(limit); code != 0 {
		p.t.Fatalf("exit %d: %s", code, p.Stderr())
	}
}

// Stop tells the program to end, as a service manager does, and waits until it has ended well.
func (p *Program) Stop() {
	p.t.Helper()
	p.Signal(syscall.SIGTERM)
	p.Ends(20 * time.Second)
}

// Eventually polls until ok, and fails the test when it takes longer than limit. What has
// taken long is asked less often.
func Eventually(t testing.TB, limit time.Duration, what string, ok func() bool) {
	t.Helper()
	for begun := time.Now(); time.Since(begun) < limit; time.Sleep(max(20*time.Millisecond, min(time.Since(begun)/20, 200*time.Millisecond))) {
		if ok() {
			return
		}
	}
	t.Fatalf("after %v: not %s", limit, what)
}
