package main

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/config/budget"
	"yardproof/sacn/sacntest"
)

// TestBytesOnTheWire compares the budget's network load with what nftables counts
// on the veth interface while the program sends. It counts IP packets: what it
// does not count are 38 octets of Ethernet, header, checksum, preamble and gap.
func TestBytesOnTheWire(t *testing.T) {
	t.Parallel() // it waits more than it works
	sacntest.NeedTool(t, "nft")
	const file, uncounted, universes = "../../testdata/wire.yaml", 38, 4
	const perSync, perDiscovery = 49 + 28, 120 + 2*(universes+1) + 28
	c, err := planfile.Read(file)
	if err != nil || c.Errors() > 0 {
		t.Fatal(err, c.Problems)
	}
	plan, b := c.Plan, c.Budget
	pair := sacntest.NewPair(t)
	nft := func(args string) string { t.Helper(); return pair.Run(t, pair.Near, "nft "+args) }
	nft("add table ip wire; add counter ip wire sent; add chain ip wire out { type filter hook output priority 0; }; " +
		"add rule ip wire out oifname " + sacntest.Interface + " udp dport 5568 counter name sent")
	prog := pair.Start(t, pair.Near, "run", file, "--pattern", "dark", "--state", t.TempDir(), "--for", "4s")
	prog.Ends(30 * time.Second)
	frames, _ := counts(t, prog.Stderr())
	var packets, bytes int
	said := nft("list counter ip wire sent")
	if _, err := fmt.Sscanf(said[strings.Index(said, "packets "):], "packets %d bytes %d", &packets, &bytes); err != nil {
		t.Fatalf("%v: %s", err, said)
	}

	syncs := frames - 3 // the last three frames end the streams, unsynchronized
	discoveries := packets - frames*universes - syncs
	if discoveries < 1 || discoveries > 3 {
		t.Fatalf("%d packets for %d frames", packets, frames)
	}
	announced := float64(8*budget.WireOctets(120+2*(universes+1), false)) / 10
	perFrame := (b.Network.BitsPerSecond-announced)/8/plan.Network.Rate - (universes+1)*uncounted
	want := float64(frames)*perFrame - 3*perSync + float64(discoveries*perDiscovery)
	if math.Abs(float64(bytes)-want) > 0.01 {
		t.Errorf("%d frames took %d bytes in %d packets on the interface, the budget makes it %g", frames, bytes, packets, want)
	}
	t.Logf("%d frames, %d packets, %d bytes, %d discoveries", frames, packets, bytes, discoveries)
}
