package transmit

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"yardproof/sacn/source"
)

// A full universe takes 704 octets on the wire, of which a gigabit carries
// 177,556 a second: 1e9 / (8 x 704), with the sizes of IEEE 802.3, RFC 791, RFC 768.
func TestOnWire(t *testing.T) {
	full := source.Stream{Universe: 1, Slots: 512}
	if got := onWire(full, 1, false) / 8; got != 704 {
		t.Errorf("%g octets, want 704", got)
	}
	if got := math.Floor(1e9 / onWire(full, 1, false)); got != 177556 {
		t.Errorf("%g packets a second, want 177556", got)
	}
	if got := onWire(full, 1, true) / 8; got != 724 { // RFC 8200: 20 more
		t.Errorf("%g octets over IPv6, want 724", got)
	}
}

func TestCrowded(t *testing.T) {
	plan := func(controllers, universes int) (list []source.Stream) {
		for c := range controllers {
			for range universes {
				list = append(list, source.Stream{Universe: uint16(len(list) + 1), Slots: 512, Controller: fmt.Sprint("c", c)})
			}
		}
		return list
	}
	const gigabit = 1e9
	for _, c := range []struct {
		controllers, universes int
		want                   string // "": nothing is said
	}{
		{1, 1, ""},
		{100, 31, ""}, // 3,100 universes: 69.8 %
		{100, 32, "the plan needs 0.721 Gbit/s, 72 % of the 1 Gbit/s of eth9: bursts may lose packets; use a faster interface, or share the controllers among 2 transmitters with --only-controllers"},
		{500, 20, "the plan needs 2.25 Gbit/s, 225 % of the 1 Gbit/s of eth9: packets will be lost; use a faster interface, or share the controllers among 4 transmitters with --only-controllers"},
		{3, 2000, "the controllers among 3 transmitters"}, // two of them do not fit one port
		{1, 5000, "packets will be lost; use a faster interface"},
	} {
		got := crowded(plan(c.controllers, c.universes), 40, false, "eth9", gigabit)
		if c.want == "" && got != "" || !strings.Contains(got, c.want) {
			t.Errorf("%d controllers of %d universes: %q, want %q", c.controllers, c.universes, got, c.want)
		}
	}
}

// The loopback interface has no speed, nor has one that is not there.
func TestLinkSpeed(t *testing.T) {
	for _, name := range []string{"lo", "not-there"} {
		if speed, ok := linkSpeed(name); ok {
			t.Errorf("%s: %g", name, speed)
		}
	}
}
