//go:build !race

package source

import (
	"errors"
	"net"
	"net/netip"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

func TestAllocPacketTick(t *testing.T) {
	s := openPackets(t, Scene{Streams: multicasts(1000), Render: count})
	if a := testing.AllocsPerRun(50, tick(t, s)); a != 0 {
		t.Errorf("%v allocations a tick", a)
	}
	if st := s.Stats(); st.Packets != 51*1001 {
		t.Errorf("%d packets were sent in 51 ticks: %+v", st.Packets, st.SendErrors)
	}
}

func TestAllocUnicastTick(t *testing.T) {
	// Somebody must listen: refusals are errors, and those may allocate.
	scene := Scene{Render: count}
	for i := range 20 {
		scene.Streams = append(scene.Streams, Stream{Universe: uint16(1 + i), Slots: 512, Unicast: sink(t, byte(2+i))})
	}
	s := openLoopback(t, scene)
	if a := testing.AllocsPerRun(50, tick(t, s)); a != 0 {
		t.Errorf("%v allocations a tick", a)
	}
}

// sink takes and ignores what is sent to 127.0.0.n, beside whoever else hears the port.
func sink(t *testing.T, n byte) netip.Addr {
	a := netip.AddrFrom4([4]byte{127, 0, 0, n})
	share := net.ListenConfig{Control: func(_, _ string, raw syscall.RawConn) (err error) {
		e := raw.Control(func(fd uintptr) { err = unix.SetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_REUSEADDR, 1) })
		return errors.Join(err, e)
	}}
	c, err := share.ListenPacket(t.Context(), "udp4", netip.AddrPortFrom(a, sacn.Port).String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return a
}

// openPackets opens a source of frames on the loopback interface, which carries
// them although it is not Ethernet.
func openPackets(tb testing.TB, scene Scene) *Source {
	sacntest.NeedRoot(tb)
	s := openLoopback(tb, scene)
	s.cfg.Packet = true
	s.routes.dial = func(state linkState, _ netip.Addr) (socket, error) {
		state.hardware = make(net.HardwareAddr, 6)
		return dialPacket(s.cfg, state)
	}
	if err := s.routes.setUp(s.routes.present()); err != nil {
		tb.Fatal(err)
	}
	return s
}
