package transmit

import (
	"net/netip"
	"strings"
	"testing"

	"yardproof/config"
)

func TestUsual(t *testing.T) {
	cable := laptop{name: "eth0", up: true, prefixes: []netip.Prefix{netip.MustParsePrefix("192.0.2.5/24")}}
	wifi := laptop{name: "wlan0", up: true, wireless: true, prefixes: []netip.Prefix{netip.MustParsePrefix("198.51.100.7/24")}}
	idle := wifi
	idle.up = false
	lo := laptop{name: "lo", up: true, loopback: true, prefixes: []netip.Prefix{netip.MustParsePrefix("127.0.0.1/8")}}
	controller := func(address string) *config.Plan {
		c := &config.Controller{Name: "boathouse"}
		if address != "" {
			c.Address = netip.MustParseAddr(address)
		}
		return &config.Plan{Controllers: []*config.Controller{c}}
	}
	for _, tt := range []struct {
		name   string
		plan   *config.Plan
		chosen string
		all    []laptop
		want   []string // a part of each line
	}{
		{"all well", controller("192.0.2.10"), "eth0", []laptop{lo, cable, idle}, nil},
		{"multicast", controller(""), "eth0", []laptop{cable}, nil},
		{"another subnet", controller("198.51.100.10"), "eth0", []laptop{cable}, []string{"boathouse at 198.51.100.10 is outside the subnets of eth0 [192.0.2.5/24]"}},
		{"both up", controller("192.0.2.10"), "eth0", []laptop{cable, wifi}, []string{"wlan0 (Wi-Fi) and eth0 (cable) are both up"}},
		{"wireless chosen", controller(""), "wlan0", []laptop{wifi}, []string{"wlan0 is wireless"}},
	} {
		got := usual(tt.plan, tt.chosen, tt.all)
		if len(got) != len(tt.want) {
			t.Errorf("%s: %q, want %d lines", tt.name, got, len(tt.want))
			continue
		}
		for i, want := range tt.want {
			if !strings.Contains(got[i], want) {
				t.Errorf("%s: %q lacks %q", tt.name, got[i], want)
			}
		}
	}
}

func TestInterfaces(t *testing.T) {
	all, err := interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range all {
		if l.loopback && inside(netip.MustParseAddr("127.0.0.1"), l.prefixes) {
			return
		}
	}
	t.Errorf("no loopback interface with 127.0.0.1 in %+v", all)
}
