package main

import (
	"os/exec"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

const address = "127.0.0.1:9531" // inside a namespace of its own

// TestAnotherSource has a second transmitter at the far end of the wire, first
// with the same priority, then with a higher one.
func TestAnotherSource(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	for _, tt := range []struct {
		theirs, says, metric string
	}{
		{"priority: 100", "the same as ours", `wins="tie"} 1`},
		{"priority: 150", "above ours: it wins", `wins="theirs"} 1`},
		{"priority: 50", "below ours", `wins="ours"} 1`},
	} {
		plan := sacntest.File(t, "show.yaml", "source: {name: show computer, "+tt.theirs+"}\nnetwork: {interface: yard0}\nstrings: [{name: a, universe: 1, pixels: 50}]\n")
		show := pair.Start(t, pair.Far, "run", plan, "--no-scan", "--state", t.TempDir())
		show.Says(30*time.Second, "page and metrics")
		ours := pair.Start(t, pair.Near, "run", "--universe", "1", "--pixels", "50", "--interface", "yard0", "--state", t.TempDir())
		sacntest.Eventually(t, 60*time.Second, "in the metrics: "+tt.metric, func() bool {
			return strings.Contains(pair.Get(t, pair.Near, "http://"+address+"/metrics"), tt.metric)
		})
		if said := ours.Stderr(); !strings.Contains(said, `check: "show computer" at 10.77.0.2 also sends on universe 1`) || !strings.Contains(said, tt.says) {
			t.Errorf("%s: it said %s", tt.theirs, said)
		}
		for _, p := range []*sacntest.Program{ours, show} {
			p.Stop()
		}
	}
}

func TestControllersAreAsked(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	pair.Start(t, pair.Near, "run", "../../testdata/first-light.yaml", "--no-scan", "--state", t.TempDir())
	sacntest.Eventually(t, 60*time.Second, "answered", func() bool {
		return strings.Contains(pair.Get(t, pair.Near, "http://"+address+"/metrics"), `yardproof_controller_up{controller="boathouse",plan="First light"} 1`)
	})
	got := pair.Get(t, pair.Near, "http://"+address+"/metrics")
	for _, absent := range []string{"yardproof_wire_", "yardproof_conflicts"} {
		if strings.Contains(got, absent) {
			t.Errorf("%s is exported though nothing watches", absent)
		}
	}
}

func TestWatchRefused(t *testing.T) {
	for args, want := range map[string]string{
		"--watch lo":    "with the cable cut",
		"--watch nope9": "nope9",
	} {
		code, _, stderr := call(t, append([]string{"run", "--demo", "--http", "127.0.0.1:0", "--for", "1s"}, strings.Fields(args)...)...)
		if code != 2 || !strings.Contains(stderr, want) {
			t.Errorf("%s: exit %d, said %s", args, code, stderr)
		}
	}
}

// TestWatchSurvivesItsInterface replaces the interface, memberships and all, by one
// of the same index, before anybody can see that it is gone; and then lets another
// source begin.
func TestWatchSurvivesItsInterface(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	pair.Start(t, pair.Near, "run", "--universe", "1", "--pixels", "50", "--interface", "yard0", "--state", t.TempDir())
	scrape := func() string { return pair.Get(t, pair.Near, "http://"+address+"/metrics") }
	sacntest.Eventually(t, 60*time.Second, "watched", func() bool { return strings.Contains(scrape(), `wins="theirs"} 0`) })
	batch := sacntest.File(t, "batch", "link del yard0\nlink add yard0 index 2 type veth peer name yard0 netns "+pair.Far+"\naddr add 10.77.0.1/24 dev yard0\nlink set yard0 up\n")
	for _, args := range []string{"-n " + pair.Near + " -batch " + batch, "-n " + pair.Far + " addr add 10.77.0.2/24 dev yard0", "-n " + pair.Far + " link set yard0 up"} {
		sacntest.Output(t, exec.Command("ip", strings.Fields(args)...))
	}
	plan := sacntest.File(t, "show.yaml", "source: {name: show computer, priority: 150}\nnetwork: {interface: yard0}\nstrings: [{name: a, universe: 1, pixels: 50}]\n")
	pair.Start(t, pair.Far, "run", plan, "--no-scan", "--state", t.TempDir())
	sacntest.Eventually(t, 50*time.Second, "the other source is heard on the interface that came back", func() bool {
		return strings.Contains(scrape(), "yardproof_announced_sources{plan=\"\"} 1")
	})
	sacntest.Eventually(t, 50*time.Second, "and wins", func() bool { return strings.Contains(scrape(), `wins="theirs"} 1`) })
}
