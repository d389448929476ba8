package config_test

import (
	"net/netip"
	"reflect"
	"testing"

	"yardproof/config"
	"yardproof/config/configtest"
)

// What is rehearsed is the plan, moved: nothing of it is sent to a real interface or
// a real controller, and the plan itself stays.
func TestRehearsed(t *testing.T) {
	const text = "name: Quay\nnetwork: {interface: eth7}\ncontrollers: [{name: box, address: 192.0.2.9}, {name: hut}]\n" +
		"strings: [{name: a, controller: box, port: p, universe: 1, pixels: 5}, {name: b, controller: box, port: p, after: a, universe: 1, channel: 16, pixels: 5}, {name: c, controller: hut, universe: 9, pixels: 5}]\n"
	p, before := configtest.Load(t, text), configtest.Load(t, text)
	here := netip.MustParseAddr("127.31.0.1")
	r := p.Rehearsed("lo", func(*config.Controller) netip.Addr { return here })
	if r.Name != "Rehearsal: Quay" || r.Network.Interface != "lo" || r.Network.IPv6 {
		t.Errorf("%s, %+v", r.Name, r.Network)
	}
	for _, u := range r.Map().Universes {
		if want := u.Number == 1; u.Address.IsValid() != want || want && u.Address != here {
			t.Errorf("universe %d is sent to %v", u.Number, u.Address)
		}
	}
	for i, s := range r.Strings {
		o := p.Strings[i]
		if s == o || s.Name != o.Name || s.Universe != o.Universe || s.Channel != o.Channel || s.Controller == o.Controller || s.Controller.Name != o.Controller.Name {
			t.Errorf("%+v was %+v", s, o)
		}
	}
	if after := r.Strings[1].After; after != r.Strings[0] {
		t.Errorf("b comes after %+v", after)
	}
	if !reflect.DeepEqual(p, before) {
		t.Error("the plan itself is changed")
	}
}
