//go:build !linux

package listener

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"

	"yardproof/sacn"
)

// Where the kernel is not Linux, one socket does everything, a packet at a
// time: no arrival stamps, no group check, no count of its own drops.

type socket struct {
	conn *net.UDPConn
	buf  [sacn.MaxDiscoveryLen + 1]byte
	n    int
	from netip.AddrPort
}

func open(_ *net.Interface, v6 bool, buffer int) (*socket, error) {
	network := "udp4"
	if v6 {
		network = "udp6"
	}
	c, err := new(net.ListenConfig).ListenPacket(context.Background(), network, fmt.Sprintf(":%d", sacn.Port))
	if err != nil {
		return nil, err
	}
	udp := c.(*net.UDPConn)
	if err := udp.SetReadBuffer(buffer); err != nil {
		udp.Close()
		return nil, err
	}
	return &socket{conn: udp}, nil
}

// read waits for a packet, but not for ever: there may be none.
func (s *socket) read() (err error) {
	s.conn.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
	s.n, s.from, err = s.conn.ReadFromUDPAddrPort(s.buf[:])
	if errors.Is(err, os.ErrDeadlineExceeded) {
		s.n = -1
		return nil
	}
	return err
}

func (s *socket) deliver(t *Tracker) {
	if s.n >= 0 {
		t.Packet(s.buf[:s.n], Arrival{At: time.Now(), From: s.from.Addr().Unmap(), Truncated: s.n == len(s.buf)})
	}
}

func (s *socket) pause() {} // arrival times are read times, so nothing is let wait

func (s *socket) move(*net.Interface) {}

// presence looks an interface up: its index, and why nothing can be heard on it;
// "" when all is well.
func (s *socket) presence(name string) (index int, why string) {
	ifi, err := net.InterfaceByName(name)
	switch {
	case err != nil:
		return 0, "gone"
	case ifi.Flags&net.FlagUp == 0:
		why = "down"
	case ifi.Flags&net.FlagRunning == 0:
		why = "without carrier"
	}
	return ifi.Index, why
}

func (s *socket) close() { s.conn.Close() }

func (s *socket) meminfo() (rcvbuf, drops uint32, err error) { return 0, 0, errors.ErrUnsupported }

type memberships struct{ leave []func() }

// join joins groups on the receiving socket itself.
func join(s *socket, ifi *net.Interface, v6 bool, universes []uint16) (*memberships, error) {
	m := new(memberships)
	for _, u := range universes {
		var err error
		if v6 {
			p, g := ipv6.NewPacketConn(s.conn), &net.UDPAddr{IP: sacn.MulticastAddr6(u).AsSlice()}
			err = p.JoinGroup(ifi, g)
			m.leave = append(m.leave, func() { p.LeaveGroup(ifi, g) })
		} else {
			p, g := ipv4.NewPacketConn(s.conn), &net.UDPAddr{IP: sacn.MulticastAddr4(u).AsSlice()}
			err = p.JoinGroup(ifi, g)
			m.leave = append(m.leave, func() { p.LeaveGroup(ifi, g) })
		}
		if err != nil {
			return nil, fmt.Errorf("join the group of universe %d on %s: %w", u, ifi.Name, err)
		}
	}
	return m, nil
}

func (m *memberships) close() {
	for _, leave := range m.leave {
		leave()
	}
}

func openQuerier(*net.Interface, bool) *querier {
	return &querier{st: QuerierState{Since: time.Now(), Reason: "not supported on this system"}}
}
