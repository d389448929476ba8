package listener

import (
	"context"
	"fmt"
	"net"
	"syscall"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

// socket is the one receiving socket of a listener: bound to the wildcard
// address, without memberships.
type socket struct {
	*batch
	ifi *net.Interface
}

// open binds the socket and asks for a receive buffer of so many octets.
func open(ifi *net.Interface, ipv6 bool, buffer int) (*socket, error) {
	network, level, pktinfo := "udp4", unix.IPPROTO_IP, unix.IP_PKTINFO
	if ipv6 {
		network, level, pktinfo = "udp6", unix.IPPROTO_IPV6, unix.IPV6_RECVPKTINFO
	}
	lc := net.ListenConfig{Control: func(_, _ string, raw syscall.RawConn) error {
		var err error
		controlErr := raw.Control(func(fd uintptr) { err = prepare(int(fd), buffer, level, pktinfo) })
		if controlErr != nil {
			return controlErr
		}
		return err
	}}
	c, err := lc.ListenPacket(context.Background(), network, fmt.Sprintf(":%d", sacn.Port))
	if err != nil {
		return nil, err
	}
	b, err := newBatch(c.(*net.UDPConn))
	if err != nil {
		c.Close()
		return nil, err
	}
	return &socket{batch: b, ifi: ifi}, nil
}

func prepare(fd, buffer, level, pktinfo int) error {
	// So that several programs of one host can listen.
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_REUSEADDR, 1); err != nil {
		return fmt.Errorf("SO_REUSEADDR: %w", err)
	}
	if err := unix.SetsockoptInt(fd, level, pktinfo, 1); err != nil {
		return fmt.Errorf("IP_PKTINFO: %w", err)
	}
	return setBuffer(fd, buffer)
}

// setBuffer asks for a receive buffer and for arrival times. What was given is
// read back later.
func setBuffer(fd, buffer int) error {
	// The forced form passes net.core.rmem_max, for those with CAP_NET_ADMIN.
	if unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, buffer) != nil {
		if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, buffer); err != nil {
			return fmt.Errorf("SO_RCVBUF: %w", err)
		}
	}
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1); err != nil {
		return fmt.Errorf("SO_TIMESTAMPNS: %w", err)
	}
	return nil
}

// deliver hands the datagrams of the last read that came in on the interface
// to the tracker.
func (s *socket) deliver(t *Tracker) {
	for i := range s.n {
		if a := s.arrival(i); a.ifindex == s.ifi.Index {
			t.Packet(s.payload(i), a.Arrival)
		}
	}
}

// full reports whether more may be waiting.
func (s *socket) full() bool { return s.n == batchLen }
