package main

import (
	"flag"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

var allFaults = flag.Bool("faults", false, "TestWireFaults goes through all faults, not the first alone")

// A wireFault happens to the program while it sends universe 1 to a group and universe 2 to
// a controller. A command begins with the end that it is given at.
type wireFault struct {
	name       string
	begin, end []string
	errno      string // by which the kernel refuses; "": the interface is known to be down, or its echoes tell
	spares     bool   // universe 1 loses nothing
}

func wireFaults() []wireFault {
	const port = " ip daddr " + sacntest.FarAddr4 + " udp dport 5568 "
	rule := func(does string) []string {
		return []string{"near nft add table ip yard", "near nft add chain ip yard out { type filter hook output priority 0; }", "near nft add rule ip yard out" + port + does}
	}
	// Whatever is sent back, who sent is told EPERM by the kernel.
	lift := []string{"near nft delete table ip yard"}
	return []wireFault{
		{"nobody answers ARP for a controller", []string{"far ip link set yard0 arp off", "near ip neigh flush dev yard0"}, []string{"far ip link set yard0 arp on"}, "", true},
		{"output to a controller is dropped", rule("drop"), lift, "EPERM", true},
		{"output to a controller is rejected: no port", rule("reject with icmp port-unreachable"), lift, "EPERM", true},
		{"output to a controller is rejected: no host", rule("reject with icmp host-unreachable"), lift, "EPERM", true},
		{"a switch takes a few packets", []string{"near tc qdisc add dev yard0 root tbf rate 200kbit burst 1500 limit 3000"}, []string{"near tc qdisc del dev yard0 root"}, "ENOBUFS", false},
		{"the cable is pulled", []string{"far ip link set yard0 down"}, []string{"far ip link set yard0 up"}, "", false},
		{"the interface is set down", []string{"near ip link set yard0 down"}, []string{"near ip link set yard0 up"}, "", false},
		{"the address goes", []string{"near ip addr flush dev yard0"}, []string{"near ip addr add " + sacntest.NearAddr4 + "/24 dev yard0"}, "", false},
	}
}

// TestWireFaults: each fault is one line when it begins and one when it is over, and shows
// in the metrics; what it does not touch keeps its beat; what it does is back within a
// second of its end.
func TestWireFaults(t *testing.T) {
	t.Parallel() // it waits more than it works
	faults := wireFaults()
	if !*allFaults {
		faults = faults[:1]
	}
	for _, f := range faults {
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			sacntest.NeedTool(t, "nft", "tc")
			pair := sacntest.NewPair(t)
			do := func(lines []string) {
				t.Helper()
				for _, line := range lines {
					end, line, _ := strings.Cut(line, " ")
					pair.Run(t, map[string]string{"near": pair.Near, "far": pair.Far}[end], line)
				}
			}
			// Nobody has the port there, and nobody says so.
			do([]string{"far nft add table ip yard", "far nft add chain ip yard in { type filter hook input priority 0; }", "far nft add rule ip yard in udp dport 5568 drop"})
			dir := t.TempDir()
			plan := filepath.Join(dir, "quay.yaml")
			text := "name: Quay\nnetwork: {interface: yard0}\ncontrollers: [{name: boathouse, address: " + sacntest.FarAddr4 + "}]\n" +
				"strings:\n- {name: gable, universe: 1, pixels: 170}\n- {name: roof, universe: 2, pixels: 170, controller: boathouse}\n"
			sacntest.Write(t, plan, text)
			capture := pair.Capture(t, pair.Far)
			prog := pair.Start(t, pair.Near, "run", plan, "--no-scan", "--state", dir)
			value := func(name string) float64 {
				v, _ := metricSum(t, pair.Get(t, pair.Near, "http://"+address+"/metrics"), name)
				return v
			}
			sacntest.Eventually(t, 30*time.Second, "sending", func() bool { return value("frames_sent_total") > 40 })

			begun, over, metric := "interface cannot carry frames", "interface is up again", "link_up"
			switch {
			case f.errno == "" && f.spares:
				begun, over, metric = "a controller no longer answers", "the controller answers again", "controller_up"
				sacntest.Eventually(t, 30*time.Second, "answered", func() bool { return value(metric) == 1 })
			case f.errno != "":
				begun, over, metric = "packets could not be sent", "packets are no longer refused", `send_errors_total\{errno="`+f.errno+`",plan="Quay"\}`
			}
			do(f.begin)
			saidOnce(t, prog, 1, begun)
			if v := value(metric); (v > 0) != (f.errno != "") {
				t.Errorf("the metrics say %s %v", metric, v)
			}
			do(f.end)
			ended := time.Now()
			saidOnce(t, prog, 1, over) // of a refused packet after ten seconds without another
			if v := value("link_up"); v != 1 || f.errno == "" && value(metric) != 1 {
				t.Errorf("it is over, and link_up is %v", v)
			}
			prog.Stop()
			saidOnce(t, prog, 1, begun, over)

			frames, _ := counts(t, prog.Stderr())
			heard := map[string][]time.Time{}
			for _, row := range capture.Fields("acn.dmx.universe && !icmp", "acn.dmx.universe", "frame.time_epoch") {
				heard[row[0]] = append(heard[row[0]], epoch(t, row[1]))
			}
			if n := len(heard["1"]); f.spares && n != frames {
				t.Errorf("%d packets of the universe that nothing happened to, in %d frames", n, frames)
			}
			first := func(universe string) time.Time {
				for _, at := range heard[universe] {
					if at.After(ended) {
						return at
					}
				}
				t.Fatalf("universe %s is not back: %s", universe, prog.Stderr())
				return time.Time{}
			}
			back, beats := first("2"), 0
			for _, at := range heard["1"] {
				if at.After(ended) && at.Before(back) {
					beats++
				}
			}
			t.Logf("%d frames; back after %v and %d packets of universe 1", frames, back.Sub(ended).Round(time.Millisecond), beats)
			if beats > 48 { // a second, and what the neighbour's answer takes
				t.Errorf("the controller's packets are back %d frames after the fault's end", beats)
			}
			if !f.spares {
				if late := fmt.Sprint(first("1").Sub(ended)); first("1").Sub(ended) > 10*time.Second {
					t.Errorf("universe 1 is back after %s", late)
				}
			}
		})
	}
}
