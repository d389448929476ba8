package source

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"syscall"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
	"golang.org/x/sys/unix"
)

const dontWait = unix.MSG_DONTWAIT

// sendBuffer is asked for; the kernel gives what net.core.wmem_max allows. A
// thousand packets that wait in a card's queue take about 1.3 MB.
const sendBuffer = 4 << 20

func newBatchWriter(conn *net.UDPConn, is6 bool) batchWriter {
	if is6 {
		return ipv6.NewPacketConn(conn)
	}
	return ipv4.NewPacketConn(conn)
}

// bindUDP opens a socket that can only leave by the interface (SO_BINDTODEVICE,
// free for all since Linux 5.7), whatever the routing table says. The price: an
// IPv4 destination without a route counts as a neighbour, and the kernel's own
// notice that no neighbour answered (it comes by loopback) does not arrive. That
// IP_UNICAST_IF has no such price does not help: connected sockets of older kernels
// ignore it (from memory), and a packet would leave by an interface nobody named.
func bindUDP(ifname string, state linkState, is6 bool, unicast netip.Addr) (*net.UDPConn, error) {
	control := func(_, _ string, c syscall.RawConn) error {
		var err error
		if e := c.Control(func(fd uintptr) { err = socketOptions(int(fd), ifname, is6) }); e != nil {
			return e
		}
		return err
	}
	if unicast.IsValid() {
		d := net.Dialer{Control: control}
		conn, err := d.Dial(network(is6), remote(unicast))
		if err != nil {
			return nil, err
		}
		return conn.(*net.UDPConn), nil
	}
	l := net.ListenConfig{Control: control}
	conn, err := l.ListenPacket(context.Background(), network(is6), ":0")
	if err != nil {
		return nil, err
	}
	return conn.(*net.UDPConn), nil
}

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
