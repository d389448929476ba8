package source

import (
	"errors"
	"net"
	"net/netip"
	"syscall"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"

	"yardproof/sacn"
)

// fullQueueWait is how long a run of packets waits for a full send queue.
const fullQueueWait = 10 * time.Millisecond

// udpSocket is a socket that sends batches.
type udpSocket struct {
	*net.UDPConn
	batch batchWriter
}

type batchWriter interface {
	WriteBatch(ms []ipv4.Message, flags int) (int, error)
}

// WriteBatch waits for a full queue, but not for ever: then the error is
// os.ErrDeadlineExceeded.
func (u *udpSocket) WriteBatch(ms []ipv4.Message, flags int) (int, error) {
	n, err := u.batch.WriteBatch(ms, flags|dontWait)
	if n == 0 && errors.Is(err, syscall.EAGAIN) {
		u.SetWriteDeadline(time.Now().Add(fullQueueWait))
		n, err = u.batch.WriteBatch(ms, flags)
	}
	return n, err
}

// dial opens a socket that leaves by the interface and no other: the multicast
// socket for the zero Addr, else one connected to a controller.
func dial(cfg Config, state linkState, unicast netip.Addr) (socket, error) {
	is6 := cfg.IPv6
	if unicast.IsValid() {
		unicast = unicast.Unmap()
		is6 = unicast.Is6()
		if unicast.IsLinkLocalUnicast() && is6 {
			unicast = unicast.WithZone(cfg.Interface)
		}
	}
	conn, err := bindUDP(cfg.Interface, state, is6, unicast)
	if err != nil {
		return nil, err
	}
	if !unicast.IsValid() {
		err = multicastOptions(conn, cfg, state)
	}
	if err != nil {
		conn.Close()
		return nil, err
	}
	return &udpSocket{conn, newBatchWriter(conn, is6)}, nil
}

// multicastOptions chooses the way out for groups.
func multicastOptions(conn *net.UDPConn, cfg Config, state linkState) error {
	ifi := &net.Interface{Index: state.index, Name: cfg.Interface}
	if cfg.IPv6 {
		p := ipv6.NewPacketConn(conn)
		return errors.Join(p.SetMulticastInterface(ifi), p.SetMulticastHopLimit(cfg.TTL), p.SetMulticastLoopback(cfg.Loopback))
	}
	p := ipv4.NewPacketConn(conn)
	return errors.Join(p.SetMulticastInterface(ifi), p.SetMulticastTTL(cfg.TTL), p.SetMulticastLoopback(cfg.Loopback))
}

func remote(unicast netip.Addr) string {
	return netip.AddrPortFrom(unicast, sacn.Port).String()
}

func network(is6 bool) string {
	if is6 {
		return "udp6"
	}
	return "udp4"
}
