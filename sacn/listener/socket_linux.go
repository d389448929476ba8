package listener

import (
	"errors"
	"fmt"
	"net"

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
	family := unix.AF_INET
	if ipv6 {
		family = unix.AF_INET6
	}
	fd, err := unix.Socket(family, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return nil, fmt.Errorf("socket: %w", err)
	}
	if err := bind(fd, ipv6, buffer); err != nil {
		unix.Close(fd)
		return nil, err
	}
	b, err := newBatch(fd)
	if err != nil {
		unix.Close(fd)
		return nil, err
	}
	return &socket{batch: b, ifi: ifi}, nil
}

func bind(fd int, ipv6 bool, buffer int) error {
	// So that several programs of one host can listen.
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_REUSEADDR, 1); err != nil {
		return fmt.Errorf("SO_REUSEADDR: %w", err)
	}
	var address unix.Sockaddr = &unix.SockaddrInet4{Port: sacn.Port}
	level, pktinfo := unix.IPPROTO_IP, unix.IP_PKTINFO
	if ipv6 {
		if err := unix.SetsockoptInt(fd, unix.IPPROTO_IPV6, unix.IPV6_V6ONLY, 1); err != nil {
			return fmt.Errorf("IPV6_V6ONLY: %w", err)
		}
		address = &unix.SockaddrInet6{Port: sacn.Port}
		level, pktinfo = unix.IPPROTO_IPV6, unix.IPV6_RECVPKTINFO
	}
	if err := unix.SetsockoptInt(fd, level, pktinfo, 1); err != nil {
		return fmt.Errorf("IP_PKTINFO: %w", err)
	}
	if err := setBuffer(fd, buffer); err != nil {
		return err
	}
	if err := unix.Bind(fd, address); errors.Is(err, unix.EADDRINUSE) {
		return fmt.Errorf("port %d is taken: %w; another program has it to itself: stop that", sacn.Port, err)
	} else if err != nil {
		return fmt.Errorf("bind to port %d: %w", sacn.Port, err)
	}
	return nil
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

// move makes the socket take what comes in on another interface.
func (s *socket) move(ifi *net.Interface) { s.ifi = ifi }

// deliver hands the datagrams of the last read that came in on the interface
// to the tracker.
func (s *socket) deliver(t *Tracker) {
	for i := range s.n {
		if a := s.arrival(i); a.ifindex == s.ifi.Index {
			t.Packet(s.payload(i), a.Arrival)
		}
	}
}
