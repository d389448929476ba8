package budget

import (
	"fmt"
	"strings"
	"testing"

	"yardproof/config/configtest"
)

// IEEE 802.3 arithmetic: octets of a packet on the wire.
func TestWireOctets(t *testing.T) {
	for _, row := range []struct {
		payload int
		v6      bool
		want    int
	}{
		{638, false, 704}, // 512 slots
		{636, false, 702}, // 510 slots
		{638, true, 724},
		{126 + 9, false, 177 + 24}, // the worked packet, 177 octets as captured, with FCS, preamble and gap
		{0, false, 84},             // the shortest frame
		{49, false, 115},           // synchronization
	} {
		if got := WireOctets(row.payload, row.v6); got != row.want {
			t.Errorf("%d octets of payload, IPv6 %t: %d on the wire, want %d", row.payload, row.v6, got, row.want)
		}
	}
}

func TestNetwork(t *testing.T) {
	plan := func(network string, universes int) Network {
		var w strings.Builder
		address := "192.0.2.1"
		if strings.Contains(network, "ipv6") {
			address = "2001:db8::1"
		}
		fmt.Fprintf(&w, "network: {%s}\ncontrollers: [{name: a, address: \"%s\"}, {name: b}]\nstrings:\n", network, address)
		for i := range universes {
			fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 100, controller: %s, port: %d}\n", i, i+1, string("ab"[i%2]), i+1)
		}
		return New(configtest.Load(t, w.String())).Network
	}
	const discovery = (120 + 2*2 + 66) * 8 / 10.0 // two universes, every ten seconds
	n := plan("rate: 40", 2)
	near(t, "bits", n.BitsPerSecond, 2*225_280+discovery, 1e-6)
	near(t, "packets", n.PacketsPerSecond, 80.1, 1e-9)
	near(t, "bits to a", n.Controllers[0].BitsPerSecond, 225_280, 1e-6)
	near(t, "bits to everybody", n.Multicast.BitsPerSecond, 225_280+discovery, 1e-6)

	n = plan("rate: 44, sync_universe: 7", 2)
	near(t, "bits with synchronization", n.BitsPerSecond, 2*247_808+44*115*8+(120+2*3+66)*8/10.0, 1e-6)
	n = plan("slots: used", 1)
	near(t, "300 slots", n.Controllers[0].BitsPerSecond, 40*8*(126+300+66), 1e-6)
	n = plan("family: ipv6", 2)
	near(t, "over IPv6", n.Controllers[1].BitsPerSecond, 231_680, 1e-6)
}

// 310 universes of 512 slots at 40 Hz are under 70 % of 100 Mb/s, 311 are not.
func TestBusyPort(t *testing.T) {
	for universes, warned := range map[int]bool{310: false, 311: true} {
		var w strings.Builder
		w.WriteString("controllers: [{name: a, address: 192.0.2.1}]\nstrings:\n")
		for i := range universes {
			fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 1, controller: a, port: %d}\n", i, i+1, i+1)
		}
		b := New(configtest.Load(t, w.String()))
		if got := strings.Contains(fmt.Sprint(b.Problems), "100 Mb/s"); got != warned {
			t.Errorf("%d universes: warned %t, want %t: %v", universes, got, warned, b.Problems)
		}
	}
}
