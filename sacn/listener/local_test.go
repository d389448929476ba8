package listener

import (
	"net/netip"
	"testing"
	"testing/synctest"
	"time"
)

// An address that came after the start is ours, one that is gone stays ours, and
// strangers cannot make us ask at every packet.
func TestLocalAddresses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		address := netip.MustParseAddr
		has, asked := []netip.Addr{address("10.77.0.1"), address("fe80::1")}, 0
		l := newLocalAddresses(func() []netip.Addr { asked++; return has })
		if !l.has(address("10.77.0.1")) || !l.has(address("::ffff:10.77.0.1")) || !l.has(address("fe80::1%yard0")) || asked != 1 {
			t.Errorf("ours are not; asked %d times", asked)
		}
		has = []netip.Addr{address("10.77.0.5")}
		if !l.has(address("10.77.0.5")) {
			t.Error("an address that came just now is somebody else's")
		}
		time.Sleep(time.Second)
		if !l.has(address("10.77.0.5")) || !l.has(address("10.77.0.1")) || asked != 2 {
			t.Errorf("after it was asked again, %d times", asked)
		}
		time.Sleep(time.Second)
		if !l.has(address("0.0.0.0")) || !l.has(address("::")) || !l.has(address("::ffff:0.0.0.0")) {
			t.Error("a host without an address is a stranger to itself")
		}
		for range 1000 {
			if l.has(address("10.77.0.9")) {
				t.Fatal("a stranger's address is ours")
			}
		}
		if asked != 3 {
			t.Errorf("asked %d times", asked)
		}
	})
}
