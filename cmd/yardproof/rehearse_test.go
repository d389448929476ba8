package main

import (
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// A rehearsal lights every lamp of a plan with controllers on a network, groups and
// addresses, and not one packet of it leaves the machine: the wire to the
// controllers carries the one that says that the capture works. Its controllers hear
// the end too: nobody is told that packets were refused.
func TestRehearsalStaysInside(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	sacntest.NeedTool(t, "bash", "curl")
	plan := sacntest.File(t, "quay.yaml", "network: {interface: yard0, sync_universe: 7000}\n"+
		"controllers: [{name: box, address: "+sacntest.FarAddr4+"}, {name: hut}]\n"+
		"strings: [{name: rail, controller: box, universe: 1, pixels: 5}, {name: roof, controller: hut, universe: 2, pixels: 5}]\n")
	wire := pair.Capture(t, pair.Far)
	p := pair.Start(t, pair.Near, "rehearse", plan, "--pattern", "ends", "--state", t.TempDir())
	sacntest.Eventually(t, 60*time.Second, "every lamp lit", func() bool {
		look := pair.Get(t, pair.Near, "http://"+address+"/rehearsal/look")
		for len(look) >= 3 && look[:3] != "\x00\x00\x00" {
			look = look[3:]
			if look == "" {
				return true
			}
		}
		return false
	})
	p.Stop()
	if talk := p.Stderr(); !strings.Contains(talk, "the streams are terminated\n") {
		t.Errorf("it ends with %s", talk)
	}
	sacntest.Output(t, pair.Command(t.Context(), pair.Near, "bash", "-c", "echo here > /dev/udp/"+sacntest.FarAddr4+"/5568"))
	if got := wire.Fields("udp.dstport == 5568", "ip.dst", "udp.length"); len(got) != 1 || got[0][1] != "13" {
		t.Errorf("on the wire: %v", got)
	}
}

func TestHiddenFaultsAreToldAtTheEnd(t *testing.T) {
	code, out, talk := call(t, "rehearse", "--demo", "--hidden", "2", "--seed", "5", "--for", "1ms", "--http", "127.0.0.1:0")
	if code != 0 || !strings.HasPrefix(out, "evening 5: found 0 of 2 faults in 0 minutes") || strings.Count(out, "\nmissed  ") != 2 {
		t.Errorf("%d %s %s", code, out, talk)
	}
}
