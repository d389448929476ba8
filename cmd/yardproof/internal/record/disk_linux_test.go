package record

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/cmd/yardproof/internal/state"
	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// A real full disk: a tmpfs of 64 KiB in a mount namespace of this thread alone.
func TestFullDisk(t *testing.T) {
	sacntest.NeedRoot(t)
	dir := t.TempDir()
	done := make(chan struct{})
	go func() {
		defer close(done)
		runtime.LockOSThread() // and never unlocked: the thread ends with its namespace
		if err := unix.Unshare(unix.CLONE_NEWNS); err != nil {
			t.Errorf("a mount namespace is needed: %v", err)
			return
		}
		if err := unix.Mount("", "/", "", unix.MS_REC|unix.MS_PRIVATE, ""); err != nil {
			t.Errorf("private mounts are needed: %v", err)
			return
		}
		if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=64k"); err != nil {
			t.Errorf("a tmpfs is needed: %v", err)
			return
		}
		defer unix.Unmount(dir, unix.MNT_DETACH)
		fillDisk(t, dir)
		readOnly(t, dir)
	}()
	<-done
}

// A read-only disk: the log opens, knows what is there, and records nothing; and so it
// does where there is no record yet.
func readOnly(t *testing.T, dir string) {
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		t.Error(err)
		return
	}
	for _, name := range []string{dir, filepath.Join(dir, "fresh")} {
		d, err := state.Open(name)
		if err != nil || !errors.Is(d.Problem(), unix.EROFS) {
			t.Errorf("state in %s: %v", name, err)
			continue
		}
		if a, err := d.CID(); err != nil || a == (sacn.CID{}) {
			t.Errorf("CID %v, %v", a, err)
		}
		l, _ := Refusing(name, d.Problem())
		if (l.Len() > 0) != (name == dir) || l.Problem() == nil {
			t.Errorf("%s: %d lines, %v", name, l.Len(), l.Problem())
		}
		if _, err := l.Append(Line{Kind: Note, Note: "x"}); !errors.Is(err, unix.EROFS) {
			t.Errorf("%s: a line is answered %v", name, err)
		}
	}
	l, _, err := Open(dir)
	if err != nil || l.Len() == 0 || !errors.Is(l.Problem(), unix.EROFS) {
		t.Errorf("opened: %v", err)
	}
}

func fillDisk(t *testing.T, dir string) {
	l, _, err := Open(dir)
	if err != nil {
		t.Error(err)
		return
	}
	defer l.Close()
	path := filepath.Join(dir, FileName)
	note := strings.Repeat("x", maxText-10) // longer than what is left of a page: some writes are short
	acknowledged := 0
	for range 40 {
		if _, err = l.Append(Line{Kind: Note, Note: note}); err != nil {
			break
		}
		acknowledged++
	}
	if !errors.Is(err, unix.ENOSPC) || errors.Is(err, ErrLine) {
		t.Errorf("after %d lines: %v, want ENOSPC", acknowledged, err)
		return
	}
	check := func(when string, want int) {
		lines, notes, err := readAll(dir)
		if err != nil || len(notes) > 0 || len(lines) != want || l.Len() != want {
			t.Errorf("%s: %d lines on disk, %d in memory, want %d; %v, %v", when, len(lines), l.Len(), want, notes, err)
		}
		if text, err := os.ReadFile(path); err != nil || len(text) == 0 || text[len(text)-1] != '\n' {
			t.Errorf("%s: the file does not end with a line break", when)
		}
	}
	check("full", acknowledged)
	// Short lines may still fit: each is either there or refused.
	for range 100 {
		if _, err := l.Append(Line{Kind: Note, Note: "short"}); err == nil {
			acknowledged++
		} else if !errors.Is(err, unix.ENOSPC) {
			t.Error(err)
		}
	}
	check("full to the brim", acknowledged)
	// Room again: it goes on.
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT, "size=256k"); err != nil {
		t.Error(err)
		return
	}
	if _, err := l.Append(Line{Kind: Note, Note: note}); err != nil {
		t.Errorf("with room again: %v", err)
		return
	}
	check("with room again", acknowledged+1)
}

// What was acknowledged before a kill -9 is there; at most one line more.
func TestKilled(t *testing.T) {
	if dir := os.Getenv("RECORD_TEST_APPEND"); dir != "" {
		l, _, err := Open(dir)
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		for i := l.Len(); ; i++ {
			if _, err := l.Append(Line{Kind: Note, Note: fmt.Sprint(i, strings.Repeat(" and so on", 200))}); err != nil {
				fmt.Println(err)
				os.Exit(1)
			}
			fmt.Println("acknowledged", i)
		}
	}
	dir := t.TempDir()
	for round := range 6 {
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		cmd.Env = append(os.Environ(), "RECORD_TEST_APPEND="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		last, seen := -1, 0
		in := bufio.NewScanner(out)
		for in.Scan() {
			if _, err := fmt.Sscanf(in.Text(), "acknowledged %d", &last); err != nil {
				t.Fatal(in.Text())
			}
			if seen++; seen == 5+round {
				time.AfterFunc(time.Duration(round*300)*time.Microsecond, func() { cmd.Process.Kill() })
			}
		}
		cmd.Wait()
		l, _, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		l.Close()
		lines, _, err := readAll(dir)
		if err != nil {
			t.Fatal(err)
		}
		if len(lines) < last+1 || len(lines) > last+2 {
			t.Fatalf("round %d: %d was acknowledged, %d lines are there", round, last, len(lines))
		}
		for i, line := range lines {
			if !strings.HasPrefix(line.Note, fmt.Sprint(i, " and")) {
				t.Fatalf("line %d reads %.20q", i, line.Note)
			}
		}
	}
}
