package main

import (
	"fmt"
	"net"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// TestDiscoveryPagesOnTheWire sends more universes than a page of the list holds, 512
// (clause 8), and changes them by a reload: the lists at the far end are those of the plan.
func TestDiscoveryPagesOnTheWire(t *testing.T) {
	t.Parallel() // it waits more than it works
	pair := sacntest.NewPair(t)
	var ears *net.UDPConn
	if err := pair.Inside(pair.Far, func() error {
		ifi, err := net.InterfaceByName(sacntest.Interface)
		if err == nil {
			ears, err = net.ListenMulticastUDP("udp4", ifi, &net.UDPAddr{IP: net.IPv4(239, 255, 250, 214), Port: 5568}) // universe 64214, clause 9.3.1
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	defer ears.Close()
	plan := filepath.Join(t.TempDir(), "pier.yaml")
	put := func(strings string) {
		t.Helper()
		sacntest.Write(t, plan, "name: Pier\nnetwork: {interface: yard0, rate: 2}\nstrings: ["+strings+"]\n")
	}
	// hears waits for a list of these universes. Octets 118 and 119 are the page and the last
	// page; then come the universes, in their order.
	hears := func(first, last int) {
		t.Helper()
		b, list := make([]byte, 1500), []int(nil)
		ears.SetReadDeadline(time.Now().Add(90 * time.Second))
		for {
			n, err := ears.Read(b)
			if err != nil {
				t.Fatalf("no list of %d to %d: %v; the latest has %d", first, last, err, len(list))
			}
			if n < 122 || b[21] != 8 {
				continue // no discovery
			}
			if b[118] == 0 {
				list = nil
			}
			for at := 120; at < n; at += 2 {
				list = append(list, int(b[at])<<8|int(b[at+1]))
			}
			if size := (n - 120) / 2; size > 512 || b[118] < b[119] && size != 512 {
				t.Errorf("page %d of %d has %d universes", b[118], b[119], size)
			}
			if b[118] == b[119] && len(list) == last-first+1 && list[0] == first && list[len(list)-1] == last {
				return
			}
		}
	}
	put(fmt.Sprintf("{name: rail, universe: 1, pixels: %d}", 520*170))
	prog := pair.Start(t, pair.Near, "run", plan, "--no-scan", "--state", t.TempDir())
	hears(1, 520)
	put(fmt.Sprintf("{name: rail, universe: 101, pixels: %d}, {name: gable, universe: 616, pixels: %[1]d}", 515*170))
	prog.Signal(syscall.SIGHUP)
	hears(101, 1130)
	prog.Stop()
}
