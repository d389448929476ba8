package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// TestReadmeCommands runs every command line of the README, in its order and in
// one directory, in a network namespace whose eth0 has the README's address.
func TestReadmeCommands(t *testing.T) {
	t.Parallel()
	text := sacntest.Read(t, "../../README.md")
	p := sacntest.NewPair(t)
	for _, line := range []string{"link set yard0 down", "link set yard0 name eth0", "link set eth0 up", "addr add 192.0.2.5/24 dev eth0", "route add 239.255.0.0/16 dev eth0"} {
		p.Run(t, p.Near, "ip "+line)
	}

	dir, bin := t.TempDir(), t.TempDir()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(self, filepath.Join(bin, "yardproof")); err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, block := range regexp.MustCompile("(?s)```sh\n(.*?)```").FindAllStringSubmatch(text, -1) {
		lines = append(lines, strings.Split(strings.TrimSpace(block[1]), "\n")...)
	}
	if len(lines) < 20 {
		t.Fatalf("the README has %d command lines", len(lines))
	}
	for i, block := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(text, -1) {
		name := filepath.Join(dir, fmt.Sprintf("readme-%d.yaml", i))
		sacntest.Write(t, name, block[1])
		lines = append(lines, "yardproof plan --quiet "+name, "yardproof run "+name)
	}
	for _, line := range lines {
		line, _, _ = strings.Cut(line, " #")
		runReadmeLine(t, p, dir, bin, line)
	}
}

// runReadmeLine runs one line by a shell. What goes on until it is told to stop
// is told so once it has had time for some frames.
func runReadmeLine(t *testing.T, p *sacntest.Pair, dir, bin, line string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	cmd := p.Command(ctx, p.Near, "sh", "-c", "exec "+line)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1", "PATH="+bin+":"+os.Getenv("PATH"), "XDG_STATE_HOME="+dir, "STATE_DIRECTORY=", "JOURNAL_STREAM=")
	program := sacntest.Started(t, cmd, cancel)
	sends := regexp.MustCompile(`^yardproof (run|rehearse|bench|burn-in) `).MatchString(line)
	if sends {
		sacntest.Eventually(t, 50*time.Second, line+": sending", func() bool { return strings.Contains(program.Stderr(), "\nsending ") })
	}
	if sends || strings.HasPrefix(line, "yardproof listen ") {
		time.AfterFunc(time.Second, func() { program.Signal(syscall.SIGINT) })
	}
	code := program.Wait(time.Minute)
	// Finding something is an answer; wrong use is not, nor is a crash.
	found := code == exitFound && (strings.HasPrefix(line, "yardproof diagnose") || strings.HasPrefix(line, "yardproof listen") || strings.Contains(line, " --opening"))
	if code != 0 && !found {
		t.Errorf("%s: exit %d\n%s%s", line, code, program.Stderr(), program.Stdout())
	}
	if sends && !regexp.MustCompile(`(?m)^sent \d+ frames`).MatchString(program.Stderr()) {
		t.Errorf("%s: nothing was sent: %s", line, program.Stderr())
	}
}
