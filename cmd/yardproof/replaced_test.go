package main

import (
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/farend"
	"yardproof/sacn/sacntest"
)

// metricSum is the sum of a metric's series in a scrape; false: there are none.
func metricSum(t *testing.T, scrape, name string) (sum float64, ok bool) {
	t.Helper()
	for _, m := range regexp.MustCompile(`(?m)^yardproof_`+name+`(?:\{.*\})? (\S+)$`).FindAllStringSubmatch(scrape, -1) {
		f, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Error(err)
		}
		sum, ok = sum+f, true
	}
	return sum, ok
}

// saidOnce checks how often a program has said the lines that begin and end a fault.
func saidOnce(t *testing.T, p *sacntest.Program, faults int, lines ...string) {
	t.Helper()
	for _, line := range lines {
		sacntest.Eventually(t, 30*time.Second, "said: "+line, func() bool { return strings.Count(p.Stderr(), line) >= faults })
		if n := strings.Count(p.Stderr(), line); n != faults {
			t.Errorf("%q was said %d times in %d faults: %s", line, n, faults, p.Stderr())
		}
	}
}

// TestInterfaceIsReplaced deletes the interfaces of a transmitter and of a listener,
// and makes others of the same names and numbers. Both go on, say so in one line at
// each end, and the listener blames no stream.
func TestInterfaceIsReplaced(t *testing.T) {
	t.Parallel() // it waits more than it works
	for family, flag := range map[string]string{"IPv4": "--ipv6=false", "IPv6": "--ipv6"} {
		t.Run(family, func(t *testing.T) {
			t.Parallel()
			pair := sacntest.NewPair(t)
			dir := t.TempDir()
			plan := filepath.Join(dir, "quay.yaml")
			text := "network: {interface: yard0, family: " + strings.ToLower(family) + "}\nstrings: [{name: gable, universe: 1, pixels: 50}]\n"
			sacntest.Write(t, plan, text)
			far := pair.Start(t, pair.Far, "listen", "--interface", "yard0", "--universes", "1", flag, "--format", "json", "--http", "127.0.0.1:9532")
			near := pair.Start(t, pair.Near, "run", plan, "--no-scan", "--state", dir)
			heard := func(name string) float64 {
				n, _ := metricSum(t, pair.Get(t, pair.Far, "http://127.0.0.1:9532/metrics"), name)
				return n
			}
			sent := func(name string) float64 {
				n, _ := metricSum(t, pair.Get(t, pair.Near, "http://"+address+"/metrics"), name)
				return n
			}
			const received = "listener_packets_received_total"
			sacntest.Eventually(t, 30*time.Second, "heard", func() bool { return heard(received) > 10 })
			for faults := 1; faults <= 2; faults++ {
				pair.Unplug(t)
				saidOnce(t, far, faults, "nothing can be heard")
				saidOnce(t, near, faults, "interface cannot carry frames")
				if up, link := heard("listener_interface_up"), sent("link_up"); up != 0 || link != 0 {
					t.Errorf("without interfaces: %v and %v", up, link)
				}
				before := heard(received)
				pair.Plug(t)
				saidOnce(t, far, faults, "can be heard again")
				saidOnce(t, near, faults, "interface is up again")
				sacntest.Eventually(t, 30*time.Second, "heard again", func() bool { return heard(received) > before+10 })
				if up, link, deaf := heard("listener_interface_up"), sent("link_up"), heard("listener_deaf_seconds_total"); up != 1 || link != 1 || deaf <= 0 {
					t.Errorf("with interfaces: %v and %v, deaf for %v s", up, link, deaf)
				}
			}
			saidOnce(t, far, 2, "nothing can be heard")
			saidOnce(t, near, 2, "interface cannot carry frames")
			far.Signal(syscall.SIGINT)
			code := far.Wait(30 * time.Second)
			var a farend.Answer
			far.JSON(&a)
			if u := a.Sources[0].Universes[0]; u.Lost != 0 || code != 1 || len(a.Findings) != 1 || !strings.Contains(a.Findings[0], "this computer could not hear for") {
				t.Errorf("exit %d: %+v", code, a)
			}
		})
	}
}

// TestWatchedInterfaceIsReplaced takes the watched interface away, into another
// namespace and back, once with a reload meanwhile, and then makes another one.
// While there is none, no figure of it is exported, and that is said.
func TestWatchedInterfaceIsReplaced(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	ip := func(ns, line string) { t.Helper(); pair.Run(t, ns, "ip "+line) }
	plug := func() {
		for _, line := range []string{"link add tapa type veth peer name tapb", "link set tapa up", "link set tapb up", "addr add 10.78.0.1/24 dev tapa"} {
			ip(pair.Near, line)
		}
	}
	away := func() { ip(pair.Near, "link set tapb netns "+pair.Far) }
	back := func() {
		ip(pair.Far, "link set tapb netns "+pair.Near)
		ip(pair.Near, "link set tapb up")
	}
	plug()
	dir := t.TempDir()
	plan := filepath.Join(dir, "quay.yaml")
	text := "network: {interface: tapa}\nstrings: [{name: gable, universe: 1, pixels: 50}]\n"
	sacntest.Write(t, plan, text)
	prog := pair.Start(t, pair.Near, "run", plan, "--watch", "tapb", "--no-scan", "--state", dir)
	scrape := func() string { return pair.Get(t, pair.Near, "http://"+address+"/metrics") }
	heard := func() bool {
		n, _ := metricSum(t, scrape(), "wire_packets_received_total")
		return n > 20
	}
	sacntest.Eventually(t, 30*time.Second, "heard", heard)
	for i, fault := range []struct {
		begin, end func()
		reload     bool
	}{
		{begin: away, end: back},
		{begin: func() { ip(pair.Near, "link del tapb") }, end: plug},
		{begin: away, end: back, reload: true},
	} {
		fault.begin()
		saidOnce(t, prog, i+1, "cannot be watched")
		if fault.reload {
			prog.Signal(syscall.SIGHUP)
			saidOnce(t, prog, 1, "does not work now")
		}
		sacntest.Eventually(t, 30*time.Second, "known to be blind", func() bool {
			up, ok := metricSum(t, scrape(), "wire_watch_up")
			return ok && up == 0
		})
		if got := scrape(); strings.Count(got, "\nyardproof_wire_") != 1 {
			t.Errorf("more than that the watch is blind: %s", got)
		}
		fault.end()
		if fault.reload {
			saidOnce(t, prog, 1, "works again")
		} else {
			saidOnce(t, prog, i+1, "is watched again")
		}
		sacntest.Eventually(t, 30*time.Second, "heard again", heard)
		got := scrape()
		if up, _ := metricSum(t, got, "wire_watch_up"); up != 1 {
			t.Errorf("fault %d is over, and the watch is %v", i+1, up)
		}
		if lost, ok := metricSum(t, got, "wire_packets_lost_total"); !ok || lost > 40 {
			t.Errorf("fault %d: %v packets are called lost that nobody could hear", i+1, lost)
		}
	}
}
