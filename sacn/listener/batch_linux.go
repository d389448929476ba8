package listener

import (
	"fmt"
	"net/netip"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

// batchLen is how many datagrams one system call may return.
const batchLen = 128

// datagram is room for one datagram and what the kernel says of it.
type datagram struct {
	payload [sacn.MaxDiscoveryLen + 64]byte // an IP and a UDP header fit beside the longest packet
	from    unix.RawSockaddrAny
	control [128]byte
	iov     unix.Iovec
}

// batch reads datagrams many at a time. It calls recvmmsg itself, since
// ReadBatch of golang.org/x/net allocates an address for each datagram; and its
// socket is a blocking one, since Go's poller would wake a thread for every
// datagram, also while nobody waits for them.
type batch struct {
	fd   int
	hdrs []unix.Mmsghdr
	room []datagram
	n    int // datagrams of the last read

	ifreq   *unix.Ifreq // presence's
	address [6]byte     // of the hardware that presence saw last

	now   time.Time // of the last read
	clock clock
}

// readTimeout is how often a read returns without a datagram, for its caller
// to see whether it is to end.
const readTimeout = 100 * time.Millisecond

// newBatch takes over a bound socket.
func newBatch(fd int) (*batch, error) {
	timeout := unix.NsecToTimeval(int64(readTimeout))
	if err := unix.SetsockoptTimeval(fd, unix.SOL_SOCKET, unix.SO_RCVTIMEO, &timeout); err != nil {
		return nil, fmt.Errorf("SO_RCVTIMEO: %w", err)
	}
	b := &batch{fd: fd, hdrs: make([]unix.Mmsghdr, batchLen), room: make([]datagram, batchLen)}
	for i := range b.hdrs {
		d := &b.room[i]
		d.iov.Base = &d.payload[0]
		d.iov.SetLen(len(d.payload))
		h := &b.hdrs[i].Hdr
		h.Name = (*byte)(unsafe.Pointer(&d.from))
		h.Iov = &d.iov
		h.SetIovlen(1)
		h.Control = &d.control[0]
	}
	b.n = batchLen // all are to be made ready
	return b, nil
}

// ifreqAddress is an ifreq with a hardware address (netdevice(7)).
type ifreqAddress struct {
	_       [unix.IFNAMSIZ + 2]byte // name, family
	address [6]byte
}

// presence looks an interface up, in the namespace of the socket: its index, and
// why nothing can be heard on it; "" when all is well.
func (b *batch) presence(name string) (index int, why string) {
	if b.ifreq == nil {
		r, err := unix.NewIfreq(name)
		if err != nil {
			return 0, "gone" // no interface has such a name
		}
		b.ifreq = r
	}
	r := b.ifreq
	if unix.IoctlIfreq(b.fd, unix.SIOCGIFINDEX, r) != nil {
		return 0, "gone"
	}
	index = int(r.Uint32())
	// Deleted and made again between two looks, it may have the same index.
	if unix.IoctlIfreq(b.fd, unix.SIOCGIFHWADDR, r) != nil {
		return 0, "gone"
	}
	address := (*ifreqAddress)(unsafe.Pointer(r)).address
	if was := b.address; was != address {
		if b.address = address; was != [6]byte{} {
			return 0, "gone"
		}
	}
	if unix.IoctlIfreq(b.fd, unix.SIOCGIFFLAGS, r) != nil {
		return 0, "gone"
	}
	switch flags := r.Uint16(); {
	case flags&unix.IFF_UP == 0:
		why = "down"
	case flags&unix.IFF_RUNNING == 0:
		why = "without carrier"
	}
	return index, why
}

func (b *batch) close() { unix.Close(b.fd) }

// read waits for datagrams, but not longer than readTimeout: there may be none.
func (b *batch) read() error {
	for i := range b.hdrs[:b.n] {
		h := &b.hdrs[i].Hdr
		h.Namelen = unix.SizeofSockaddrAny
		h.SetControllen(len(b.room[i].control))
	}
	full := b.full()
	b.n = 0
	n, _, errno := unix.Syscall6(unix.SYS_RECVMMSG, uintptr(b.fd), uintptr(unsafe.Pointer(&b.hdrs[0])), uintptr(len(b.hdrs)), unix.MSG_WAITFORONE, 0, 0)
	switch errno {
	case 0:
		b.n = int(n)
	case unix.EAGAIN, unix.EINTR:
		return nil
	default:
		return fmt.Errorf("recvmmsg: %w", errno)
	}
	b.now = time.Now()
	b.clock.see(b.now, full)
	return nil
}

// full reports whether more may be waiting.
func (b *batch) full() bool { return b.n == len(b.hdrs) }

// gather is how long a reader lets datagrams collect after it has emptied the
// socket. Waking for each one costs more than all the rest of the work; since
// the kernel stamps arrivals, the wait changes no measurement.
const gather = 2 * time.Millisecond

// pause lets datagrams collect, unless there are more or none. It sleeps in the
// kernel: the thread is the reader's own anyhow, and Go's timers would wake another.
func (b *batch) pause() {
	if b.n > 0 && !b.full() {
		wait := unix.NsecToTimespec(int64(gather))
		unix.Nanosleep(&wait, nil)
	}
}

// arrival is what the kernel said of datagram i.
type arrival struct {
	Arrival
	ifindex int
	pkttype uint8 // of a packet socket
}

func (b *batch) payload(i int) []byte {
	return b.room[i].payload[:min(int(b.hdrs[i].Len), len(b.room[i].payload))]
}

func (b *batch) arrival(i int) arrival {
	h, d := &b.hdrs[i].Hdr, &b.room[i]
	a := arrival{Arrival: Arrival{At: b.now, Truncated: h.Flags&unix.MSG_TRUNC != 0}}
	switch d.from.Addr.Family {
	case unix.AF_INET:
		a.From = netip.AddrFrom4((*unix.RawSockaddrInet4)(unsafe.Pointer(&d.from)).Addr)
	case unix.AF_INET6:
		a.From = netip.AddrFrom16((*unix.RawSockaddrInet6)(unsafe.Pointer(&d.from)).Addr)
	case unix.AF_PACKET:
		ll := (*unix.RawSockaddrLinklayer)(unsafe.Pointer(&d.from))
		a.ifindex, a.pkttype = int(ll.Ifindex), ll.Pkttype
	}
	control := d.control[:h.Controllen]
	for len(control) >= unix.SizeofCmsghdr {
		c, data, rest, err := unix.ParseOneSocketControlMessage(control)
		if err != nil {
			break
		}
		control = rest
		switch {
		case c.Level == unix.SOL_SOCKET && c.Type == unix.SCM_TIMESTAMPNS && len(data) >= int(unsafe.Sizeof(unix.Timespec{})):
			stamp := (*unix.Timespec)(unsafe.Pointer(&data[0])).Nano()
			if a.ClockStepped = b.clock.stepped; !a.ClockStepped {
				a.At = b.now.Add(time.Duration(stamp - b.now.UnixNano()))
			}
		case c.Level == unix.IPPROTO_IP && c.Type == unix.IP_PKTINFO && len(data) >= unix.SizeofInet4Pktinfo:
			info := (*unix.Inet4Pktinfo)(unsafe.Pointer(&data[0]))
			a.to(netip.AddrFrom4(info.Addr), int(info.Ifindex))
		case c.Level == unix.IPPROTO_IPV6 && c.Type == unix.IPV6_PKTINFO && len(data) >= unix.SizeofInet6Pktinfo:
			info := (*unix.Inet6Pktinfo)(unsafe.Pointer(&data[0]))
			a.to(netip.AddrFrom16(info.Addr), int(info.Ifindex))
		}
	}
	return a
}

func (a *arrival) to(addr netip.Addr, ifindex int) {
	a.ifindex = ifindex
	if addr.IsMulticast() {
		a.Group = addr
	}
}

// meminfo returns the size of the receive buffer as the kernel counts it, and
// how many datagrams the socket has dropped (SO_MEMINFO, linux/sock_diag.h).
func (b *batch) meminfo() (rcvbuf uint32, drops uint32, err error) {
	const vars, rcvbufVar, dropsVar = 9, 1, 8
	var info [vars]uint32
	size := uint32(unsafe.Sizeof(info))
	_, _, errno := unix.Syscall6(unix.SYS_GETSOCKOPT, uintptr(b.fd), unix.SOL_SOCKET, unix.SO_MEMINFO,
		uintptr(unsafe.Pointer(&info)), uintptr(unsafe.Pointer(&size)), 0)
	if errno != 0 {
		err = fmt.Errorf("SO_MEMINFO: %w", errno)
	}
	return info[rcvbufVar], info[dropsVar], err
}
