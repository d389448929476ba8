package sacn

import (
	"net/netip"
	"strings"
	"testing"
)

// TestGroups checks the mappings of clauses 9.3.1 and 9.3.2.
func TestGroups(t *testing.T) {
	for _, tt := range []struct {
		universe uint16
		v4, v6   string
	}{
		{1, "239.255.0.1", "ff18::8300:1"},
		{255, "239.255.0.255", "ff18::8300:ff"},
		{256, "239.255.1.0", "ff18::8300:100"},
		{7962, "239.255.31.26", "ff18::8300:1f1a"},
		{63999, "239.255.249.255", "ff18::8300:f9ff"},
		{64214, "239.255.250.214", "ff18::8300:fad6"},
	} {
		if got := MulticastAddr4(tt.universe).String(); got != tt.v4 {
			t.Errorf("universe %d: IPv4 group %s, want %s", tt.universe, got, tt.v4)
		}
		if got := MulticastAddr6(tt.universe).String(); got != tt.v6 {
			t.Errorf("universe %d: IPv6 group %s, want %s", tt.universe, got, tt.v6)
		}
		for _, group := range []netip.Addr{MulticastAddr4(tt.universe), MulticastAddr6(tt.universe), netip.MustParseAddr("::ffff:" + tt.v4)} {
			if u, ok := GroupUniverse(group); !ok || u != tt.universe {
				t.Errorf("group %s: universe %d %v, want %d", group, u, ok, tt.universe)
			}
		}
	}
	for _, other := range []string{"239.254.0.1", "224.0.0.1", "ff18::8301:1", "ff02::1", "192.0.2.1"} {
		if u, ok := GroupUniverse(netip.MustParseAddr(other)); ok {
			t.Errorf("%s is taken for the group of universe %d", other, u)
		}
	}
}

// TestAcceptWorked has the worked values of clause 6.7.2; TestAcceptAll all the
// others, against the rule as the clause words it.
func TestAcceptWorked(t *testing.T) {
	for _, tt := range []struct {
		last, next uint8
		step       int
		want       bool
	}{
		{10, 10, 0, false}, {10, 11, 1, true}, {10, 9, -1, false}, {10, 247, -19, false}, {10, 246, -20, true},
		{255, 0, 1, true}, {0, 255, -1, false}, {0, 237, -19, false}, {0, 236, -20, true}, {0, 127, 127, true}, {0, 128, -128, true},
	} {
		if step, ok := SequenceDelta(tt.last, tt.next), AcceptSequence(tt.last, tt.next); step != tt.step || ok != tt.want {
			t.Errorf("%d then %d: step %d, accepted %v; want %d, %v", tt.last, tt.next, step, ok, tt.step, tt.want)
		}
	}
}

func TestAcceptAll(t *testing.T) {
	for last := range 256 {
		for next := range 256 {
			d := next - last // to the nearest turn, -128 to 127
			switch {
			case d > 127:
				d -= 256
			case d < -128:
				d += 256
			}
			discard := -20 < d && d <= 0
			if got := AcceptSequence(uint8(last), uint8(next)); got == discard {
				t.Errorf("%d then %d: accepted %v, difference %d", last, next, got, d)
			}
		}
	}
}

func TestCID(t *testing.T) {
	a, b := NewCID(), NewCID()
	if a == b {
		t.Error("two CIDs are equal")
	}
	if a[6]>>4 != 4 || a[8]>>6 != 2 {
		t.Errorf("%s is no version 4 UUID of the RFC 9562 variant", a)
	}
	back, err := ParseCID(a.String())
	if err != nil || back != a {
		t.Errorf("%s came back as %s, %v", a, back, err)
	}
	for _, bad := range []string{"", "c0ffee00-1234-4abc-8def-0123456789a", "c0ffee00-1234-4abc-8def-0123456789ag", "c0ffee0001234-4abc-8def-0123456789ab"} {
		if _, err := ParseCID(bad); err == nil {
			t.Errorf("CID %q was accepted", bad)
		}
	}
}

func TestName(t *testing.T) {
	longest := strings.Repeat("x", 61) + "é" // 63 octets
	n, err := NewName(longest)
	if err != nil || n.String() != longest || n[63] != 0 {
		t.Errorf("63 octets: %q, %v", n, err)
	}
	for bad, want := range map[string]string{
		longest + "x":             "64 octets long",
		strings.Repeat("é", 32):   "64 octets long",
		"quay\x00laptop":          "NUL",
		"quay\xff":                "not UTF-8",
		strings.Repeat("ab", 100): "the field holds 63",
	} {
		if _, err := NewName(bad); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one with %q", bad, err, want)
		}
	}
	if full := (Name{0: 'a', 63: 'z'}); full.String() != "a" {
		t.Errorf("a name ends at its first NUL, got %q", full)
	}
}
