package source

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"sync"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

const (
	// sendBuffer is asked for; the kernel gives what net.core.wmem_max allows. A
	// thousand packets that wait in a card's queue take about 1.3 MB.
	sendBuffer = 4 << 20

	// fullQueueWait is how long a batch of packets waits for a full queue, in
	// milliseconds. The frame clock can afford it: a frame is skipped then.
	fullQueueWait = 10
)

// udpSocket sends batches by sendmmsg. It stays outside the runtime's poller on
// purpose: there, each packet that leaves the send queue wakes a thread that waits
// for sockets to become writable, which was a third of the engine's CPU time.
type udpSocket struct {
	mu sync.Mutex
	fd int // -1: closed
}

// dial opens a socket that leaves by the interface and no other: the multicast
// socket for the zero Addr, else one connected to a controller.
func dial(cfg Config, state linkState, unicast netip.Addr) (socket, error) {
	unicast = unicast.Unmap()
	is6 := cfg.IPv6
	if unicast.IsValid() {
		is6 = unicast.Is6()
	}
	family := unix.AF_INET
	if is6 {
		family = unix.AF_INET6
	}
	fd, err := unix.Socket(family, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, 0)
	if err != nil {
		return nil, os.NewSyscallError("socket", err)
	}
	u := &udpSocket{fd: fd}
	err = socketOptions(fd, cfg.Interface, is6)
	switch {
	case err != nil:
	case unicast.IsValid():
		err = os.NewSyscallError("connect", unix.Connect(fd, sockaddr(unicast, state.index)))
	default:
		err = multicastOptions(fd, cfg, state)
	}
	if err != nil {
		u.Close()
		return nil, err
	}
	return u, nil
}

func sockaddr(a netip.Addr, index int) unix.Sockaddr {
	if a.Is4() {
		return &unix.SockaddrInet4{Port: sacn.Port, Addr: a.As4()}
	}
	sa := &unix.SockaddrInet6{Port: sacn.Port, Addr: a.As16()}
	if a.IsLinkLocalUnicast() {
		sa.ZoneId = uint32(index)
	}
	return sa
}

// socketOptions binds the socket to the interface (SO_BINDTODEVICE, free for all
// since Linux 5.7), so that it leaves by no other whatever the routing table
// says. The price: an IPv4 destination without a route counts as a neighbour,
// and the kernel's own notice that no neighbour answered (it comes by loopback)
// does not arrive. IP_UNICAST_IF has no such price, but connected sockets of older
// kernels ignore it (from memory), and a packet would leave by an interface that
// nobody named.
func socketOptions(fd int, ifname string, is6 bool) error {
	if err := unix.BindToDevice(fd, ifname); err != nil {
		return fmt.Errorf("binding to interface %s: %w", ifname, err)
	}
	// Without this a full queue, and with it a lost packet, is reported to nobody.
	level, option := unix.IPPROTO_IP, unix.IP_RECVERR
	if is6 {
		level, option = unix.IPPROTO_IPV6, unix.IPV6_RECVERR
	}
	if err := unix.SetsockoptInt(fd, level, option, 1); err != nil {
		return fmt.Errorf("asking for send errors: %w", err)
	}
	// More or less buffer changes no result but the time until a queue is full.
	unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_SNDBUF, sendBuffer)
	return nil
}

// multicastOptions chooses the way out for groups.
func multicastOptions(fd int, cfg Config, state linkState) error {
	loop := 0
	if cfg.Loopback {
		loop = 1
	}
	if cfg.IPv6 {
		return os.NewSyscallError("setsockopt", errors.Join(
			unix.SetsockoptInt(fd, unix.IPPROTO_IPV6, unix.IPV6_MULTICAST_IF, state.index),
			unix.SetsockoptInt(fd, unix.IPPROTO_IPV6, unix.IPV6_MULTICAST_HOPS, cfg.TTL),
			unix.SetsockoptInt(fd, unix.IPPROTO_IPV6, unix.IPV6_MULTICAST_LOOP, loop)))
	}
	return os.NewSyscallError("setsockopt", errors.Join(
		unix.SetsockoptIPMreqn(fd, unix.IPPROTO_IP, unix.IP_MULTICAST_IF, &unix.IPMreqn{Ifindex: int32(state.index)}),
		unix.SetsockoptInt(fd, unix.IPPROTO_IP, unix.IP_MULTICAST_TTL, cfg.TTL),
		unix.SetsockoptInt(fd, unix.IPPROTO_IP, unix.IP_MULTICAST_LOOP, loop)))
}

func (u *udpSocket) messages(packets [][]byte, groups []netip.Addr) messages {
	bare := make([][]byte, len(packets))
	for i, b := range packets {
		bare[i] = b[headroom:]
	}
	return newHeaders(u, bare, groups)
}

// Close waits for a batch that is being sent, since the number of a closed file
// is soon another's.
func (u *udpSocket) Close() error {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.fd < 0 {
		return net.ErrClosed
	}
	fd := u.fd
	u.fd = -1
	return unix.Close(fd)
}
