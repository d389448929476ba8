package main

import (
	"bytes"
	"context"
	"debug/elf"
	"encoding/binary"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
	_ "time/tzdata" // a bare machine has none

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/sacn/sacntest"
)

// A wallClock is the wall clock of one process. Namespaces have none of their own, so the
// process's copy of the kernel's clock_gettime is replaced by one that adds seconds to
// CLOCK_REALTIME and leaves all other clocks alone. Stamps that the kernel makes itself, of
// packets and files, are those of the machine.
type wallClock struct {
	t   *testing.T
	mem *os.File
	add int64 // where the seconds stand
}

func takeWallClock(t *testing.T, prog *sacntest.Program) wallClock {
	t.Helper()
	proc := fmt.Sprintf("/proc/%d/", prog.Pid())
	prog.Signal(syscall.SIGSTOP) // nobody is in the middle of what is replaced
	defer prog.Signal(syscall.SIGCONT)
	sacntest.Eventually(t, 10*time.Second, "stopped", func() bool {
		status, err := os.ReadFile(proc + "status")
		return err == nil && bytes.Contains(status, []byte("State:\tT"))
	})
	maps := sacntest.Read(t, proc+"maps")
	var from, to int64
	for line := range strings.Lines(maps) {
		if strings.Contains(line, "[vdso]") {
			fmt.Sscanf(line, "%x-%x", &from, &to)
		}
	}
	mem, err := os.OpenFile(proc+"mem", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { mem.Close() })
	image := make([]byte, to-from)
	if _, err := mem.ReadAt(image, from); err != nil {
		t.Fatal(err)
	}
	vdso, err := elf.NewFile(bytes.NewReader(image))
	if err != nil {
		t.Fatal(err)
	}
	symbols, err := vdso.DynamicSymbols()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range symbols {
		if s.Name != "__vdso_clock_gettime" {
			continue
		}
		at := from + int64(s.Value)
		code := []byte{
			0xb8, 228, 0, 0, 0, // mov eax, SYS_clock_gettime
			0x0f, 0x05, // syscall
			0x85, 0xff, // test edi, edi: CLOCK_REALTIME is 0
			0x75, 10, // jnz to the end
			0x48, 0x8b, 0x0d, 6, 0, 0, 0, // mov rcx, [rip+6]
			0x48, 0x01, 0x0e, // add [rsi], rcx
			0xc3, 0, 0, // ret
			0, 0, 0, 0, 0, 0, 0, 0, // the seconds
		}
		if _, err := mem.WriteAt(code, at); err != nil {
			t.Fatal(err)
		}
		return wallClock{t, mem, at + 24}
	}
	t.Fatal("the kernel's clock_gettime is not found")
	return wallClock{}
}

// set sets the clock.
func (c wallClock) set(to time.Time) {
	c.t.Helper()
	add := int64(time.Until(to).Round(time.Second).Seconds())
	if _, err := c.mem.WriteAt(binary.LittleEndian.AppendUint64(nil, uint64(add)), c.add); err != nil {
		c.t.Fatal(err)
	}
}

// TestWallClockSet sets the clock of a burn-in by an hour either way, and to the moments
// at which summer time begins and ends in Berlin (the last Sundays of March and October,
// 01:00 UTC: directive 2000/84/EC). Its part of the day follows the clock on the wall;
// frames, hours served, and the word that lifts a hold do not.
func TestWallClockSet(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	dir := t.TempDir()
	plan := filepath.Join(dir, "quay.yaml")
	sacntest.Write(t, plan, "name: Quay burn-in\nnetwork: {interface: yard0}\nstrings: [{name: gable, universe: 1, pixels: 50}]\n"+
		"burn_in: {hours: 4, between: 02:30-05:00, programme: [{pattern: walk, minutes: 10}]}\n")
	capture := pair.Capture(t, pair.Far)
	ctx, cancel := context.WithCancel(context.Background())
	cmd := pair.Command(ctx, pair.Near, os.Args[0], "burn-in", plan, "--no-scan", "--state", dir)
	cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1", "TZ=Europe/Berlin")
	begun := time.Now()
	prog := sacntest.Started(t, cmd, cancel)
	scrape := func() string { return pair.Get(t, pair.Near, "http://"+address+"/metrics") }
	is := func(state string) {
		t.Helper()
		sacntest.Eventually(t, 30*time.Second, state, func() bool { v, _ := metric(scrape(), burnInState(state)); return v == 1 })
	}
	sacntest.Eventually(t, 30*time.Second, "sending", func() bool { v, _ := metricSum(t, scrape(), "frames_sent_total"); return v > 0 })
	sending := time.Now()
	clock, sets := takeWallClock(t, prog), 0
	set := func(text string) time.Time {
		t.Helper()
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		clock.set(at)
		sets++
		saidOnce(t, prog, sets, "clock was set")
		return at
	}
	post := func(path, body string) {
		t.Helper()
		resp, err := pair.Client(t, pair.Near).Post("http://"+address+path, "application/json", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode >= http.StatusMultipleChoices {
			t.Fatalf("%s: %s", path, resp.Status)
		}
	}

	set("2027-03-28T00:59:56Z") // 01:59:56
	is("waiting")
	is("running") // 03:00
	set("2027-03-28T00:00:10Z")
	is("waiting")
	set("2027-03-28T01:00:10Z")
	is("running")
	set("2027-10-31T00:59:56Z") // 02:59:56
	is("waiting")               // 02:00
	autumn := set("2027-10-31T01:30:00Z")
	is("running")
	post("/api/proofs", `{"string":"gable","verdict":"good","note":"before"}`)
	post("/api/dark", "{}")
	is("held")
	hourBack := set("2027-10-31T00:30:00Z")
	post("/api/proofs", `{"string":"gable","verdict":"fault","note":"after"}`)
	word := filepath.Join(dir, "word")
	sacntest.Write(t, word, "")
	if err := os.Chtimes(word, hourBack, hourBack.Add(2*time.Second)); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(word, filepath.Join(dir, "resume")); err != nil {
		t.Fatal(err)
	}
	is("running")
	served, _ := metric(scrape(), burnInServed)
	ended := time.Now()
	prog.Stop()

	saidOnce(t, prog, sets, "clock was set")
	if served <= 0 || served > time.Since(begun).Seconds() {
		t.Errorf("%v s served in %v", served, time.Since(begun))
	}
	frames, skipped := counts(t, prog.Stderr())
	if beats := float64(frames + skipped); beats < 40*ended.Sub(sending).Seconds()-1 || beats > 40*time.Since(begun).Seconds()+5 {
		t.Errorf("%d frames were sent and %d skipped in %v", frames, skipped, ended.Sub(sending))
	}
	if n := len(capture.Fields("acn.dmx.universe == 1", "frame.number")); n < frames || n > frames+3 { // the last three say goodbye (E1.31 clause 6.2.6)
		t.Errorf("%d packets at the far end, of %d frames", n, frames)
	}
	when := map[string]time.Time{}
	var index record.Index
	for _, l := range recorded(t, dir) {
		when[l.Note] = l.Time
		index.Add(l)
	}
	for note, at := range map[string]time.Time{"before": autumn, "after": hourBack} {
		if d := when[note].Sub(at); d < -time.Second || d > time.Minute {
			t.Errorf("%s is on record at %v, want %v", note, when[note], at)
		}
	}
	if s := index.Standings(); len(s) != 1 || s[0].Latest == nil || s[0].Latest.Note != "after" {
		t.Errorf("the latest is not what was recorded last: %+v", s)
	}
}
