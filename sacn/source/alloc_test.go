//go:build !race

package source

import (
	"fmt"
	"net"
	"net/netip"
	"testing"

	"yardproof/sacn"
)

// A whole tick allocates nothing, on real sockets. The race detector makes
// sync.Pool, which x/net uses, drop things at random, so this is not in its build.
func TestAllocTick(t *testing.T) {
	for _, n := range []int{1, 100, 1000} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			s := openLoopback(t, Scene{Streams: multicasts(n), Render: count})
			if a := testing.AllocsPerRun(50, tick(t, s)); a != 0 {
				t.Errorf("%v allocations a tick", a)
			}
			if st := s.Stats(); st.Packets != uint64(51*(n+1)) {
				t.Errorf("%d packets were sent in 51 ticks: %+v", st.Packets, st.SendErrors)
			}
		})
	}
	t.Run("unicast", func(t *testing.T) {
		// Somebody must listen: refusals are errors, and those may allocate.
		scene := Scene{Render: count}
		for i := range 20 {
			scene.Streams = append(scene.Streams, Stream{Universe: uint16(1 + i), Slots: 512, Unicast: sink(t, byte(2+i))})
		}
		s := openLoopback(t, scene)
		if a := testing.AllocsPerRun(50, tick(t, s)); a != 0 {
			t.Errorf("%v allocations a tick", a)
		}
	})
}

// sink takes and ignores what is sent to 127.0.0.n.
func sink(t *testing.T, n byte) netip.Addr {
	a := netip.AddrFrom4([4]byte{127, 0, 0, n})
	c, err := net.ListenUDP("udp4", net.UDPAddrFromAddrPort(netip.AddrPortFrom(a, sacn.Port)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return a
}
