package main

import (
	"bytes"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/sacn/sacntest"
)

const burnInPlan = "../../testdata/burn-in.yaml"

// metric returns a metric's value in a scrape; false when it is absent.
func metric(scrape, series string) (float64, bool) {
	for line := range strings.Lines(scrape) {
		if text, ok := strings.CutPrefix(strings.TrimSpace(line), series+" "); ok {
			v, err := strconv.ParseFloat(text, 64)
			return v, err == nil
		}
	}
	return 0, false
}

func burnInState(state string) string {
	return `yardproof_burnin_state{plan="Quay burn-in",state="` + state + `"}`
}

const burnInServed = `yardproof_burnin_served_seconds{plan="Quay burn-in"}`

// TestBurnInSurvives kills the program, takes its network away before and while
// it runs, and looks at what it serves.
func TestBurnInSurvives(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	state := t.TempDir()
	scrape := func() string { return pair.Get(t, pair.Near, "http://"+address+"/metrics") }
	is := func(what string) func() bool {
		return func() bool { v, _ := metric(scrape(), burnInState(what)); return v == 1 }
	}
	link := func(to string) { t.Helper(); pair.Run(t, pair.Near, "ip link set yard0 "+to) }

	link("down")
	prog := pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state)
	prog.Says(20*time.Second, "waiting for the interface")
	// The page is there: dark can be pressed, and lifted, before there is any light.
	if v, _ := metric(scrape(), burnInState("stalled")); v != 1 {
		t.Errorf("while it waits its metrics are %s", scrape())
	}
	if now := pair.Get(t, pair.Near, "http://"+address+"/api/state"); !strings.Contains(now, "nothing is sent, waiting for the interface: interface yard0 is down") {
		t.Errorf("while it waits the page says %s", now)
	}
	press := func(what string) string {
		out, err := pair.Command(t.Context(), pair.Near, "curl", "-s", "-m", "5", "-H", "Content-Type: application/json", "-d", "{}", "http://"+address+"/api/"+what).CombinedOutput()
		if err != nil {
			t.Errorf("%s: %v: %s", what, err, out)
		}
		return string(out)
	}
	if now := press("dark"); !strings.Contains(now, `"kept":true`) {
		t.Errorf("dark is answered %s", now)
	}
	link("up")
	sacntest.Eventually(t, 20*time.Second, "held", is("held"))
	if !strings.Contains(scrape(), `yardproof_showing_info{pattern="dark",`) {
		t.Errorf("a hold from before the first frame: %s", scrape())
	}
	press("resume")
	sacntest.Eventually(t, 20*time.Second, "running", is("running"))
	if said := prog.Stderr(); !strings.Contains(said, "tick 100% 1m (added: a still picture hides a broken data line)") {
		t.Errorf("it does not say that a moving step was added: %s", said)
	}
	sacntest.Eventually(t, 20*time.Second, "three seconds served", func() bool { v, _ := metric(scrape(), burnInServed); return v >= 3 })

	link("down")
	sacntest.Eventually(t, 20*time.Second, "stalled", is("stalled"))
	before, _ := metric(scrape(), burnInServed)
	time.Sleep(2 * time.Second)
	if after, _ := metric(scrape(), burnInServed); after != before {
		t.Errorf("%v s served before, %v s after two seconds without a network", before, after)
	}
	link("up")
	sacntest.Eventually(t, 20*time.Second, "running again", is("running"))

	prog.Stop()
	prog = pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state)
	sacntest.Eventually(t, 20*time.Second, "going on", func() bool { v, ok := metric(scrape(), burnInServed); return ok && v >= before })
	prog.Signal(syscall.SIGKILL)
	prog.Wait(20 * time.Second)
	pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state)
	sacntest.Eventually(t, 20*time.Second, "going on after kill -9", func() bool { v, ok := metric(scrape(), burnInServed); return ok && v >= before })
	if v, _ := metric(scrape(), `yardproof_burnin_starts_total{plan="Quay burn-in"}`); v != 3 {
		t.Errorf("%v starts are counted, want 3", v)
	}

	if code, _, stderr := call(t, "looked", "--state", state, "all", "lit"); code != 0 {
		t.Errorf("looked: exit %d, %s", code, stderr)
	}
	sacntest.Eventually(t, 20*time.Second, "the look", func() bool {
		v, _ := metric(scrape(), `yardproof_burnin_looks_total{plan="Quay burn-in"}`)
		return v == 1
	})
}

// TestBurnInEnds runs a programme of seconds to its end.
func TestBurnInEnds(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	capture := pair.Capture(t, pair.Far)
	state := t.TempDir()
	prog := pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state, "--hours", "0.001", "--controller", "boathouse")
	prog.Ends(40 * time.Second)
	if out := prog.Stdout(); !regexp.MustCompile(`^burn-in of 1 string: 0\.0 h of 0\.0 h served, finished\n0 cycles, 1[0-9][0-9] frames`).MatchString(out) {
		t.Errorf("the summary is %q", out)
	}
	text := sacntest.Read(t, filepath.Join(state, record.FileName))
	var line record.Line
	sacntest.JSON(t, text, &line)
	if line.Kind != record.BurnIn || line.String != "gable" || line.Label != "C1" || !strings.Contains(line.Note, "served (sent, not measured); 0 cycles") {
		t.Errorf("on record: %+v", line)
	}
	lit, last := 0, map[int]dissected{}
	for _, p := range dissect(t, capture.Fields("acn.dmx.universe", dissectedFields...)) {
		dark := len(bytes.Trim(p.slots, "\x00")) == 0
		if p.universe == 1 && !dark {
			lit++
		}
		if p.universe == 2 && !dark {
			t.Fatal("a string that was not chosen is lit")
		}
		last[p.universe] = p
	}
	if lit < 100 {
		t.Errorf("the chosen string was lit in %d packets", lit)
	}
	for u, p := range last {
		if !p.terminated || len(bytes.Trim(p.slots, "\x00")) != 0 {
			t.Errorf("universe %d: the last packet is not dark and terminated", u)
		}
	}
	if len(last) != 2 {
		t.Errorf("%d universes were sent, want the whole plan's", len(last))
	}

	prog = pair.Start(t, pair.Near, "burn-in", burnInPlan, "--no-scan", "--state", state, "--hours", "0.001", "--controller", "boathouse")
	if code := prog.Wait(40 * time.Second); code != 0 || !strings.Contains(prog.Stderr(), "--again begins anew") || prog.Stdout() != "" {
		t.Errorf("after the end: exit %d, %s%s", code, prog.Stdout(), prog.Stderr())
	}
	if again := sacntest.Read(t, filepath.Join(state, record.FileName)); again != text {
		t.Errorf("the end was recorded twice: %s", again)
	}
}

func TestBurnInWrongUse(t *testing.T) {
	for args, want := range map[string]string{
		"burn-in": "name one plan file",
		"burn-in ../../testdata/first-light.yaml":      "no programme under burn_in:",
		"burn-in --controller shed " + burnInPlan:      `no string of the plan is on a controller "shed"`,
		"burn-in --hours -1 " + burnInPlan:             "--hours -1",
		"burn-in --string " + "mast " + burnInPlan:     `the plan has no string "mast"`,
		"looked --state " + t.TempDir() + "/none fine": "there is no state directory",
	} {
		code, stdout, stderr := call(t, strings.Fields(args)...)
		if code != 2 || !strings.Contains(stderr, want) || stdout != "" {
			t.Errorf("%s: exit %d, said %s", args, code, stderr)
		}
	}
}
