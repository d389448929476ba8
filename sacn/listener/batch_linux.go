package listener

import (
	"errors"
	"fmt"
	"net/netip"
	"os"
	"syscall"
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
// ReadBatch of golang.org/x/net allocates an address for each datagram.
type batch struct {
	conn conn
	raw  syscall.RawConn
	hdrs []unix.Mmsghdr
	room []datagram

	n       int // datagrams of the last read
	err     error
	readNow func(fd uintptr) bool // bound once, so that it is not allocated

	now     time.Time     // of the last read
	clock   time.Duration // wall clock minus monotonic clock, then
	stepped bool          // it changed by more than a slew since the read before
	start   time.Time
}

// conn is what net.UDPConn and os.File have in common.
type conn interface {
	SyscallConn() (syscall.RawConn, error)
	SetReadDeadline(time.Time) error
	Close() error
}

func newBatch(c conn) (*batch, error) {
	raw, err := c.SyscallConn()
	if err != nil {
		return nil, err
	}
	b := &batch{conn: c, raw: raw, hdrs: make([]unix.Mmsghdr, batchLen), room: make([]datagram, batchLen)}
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
	b.readNow = b.recvmmsg
	b.start = time.Now()
	b.clock = time.Duration(b.start.UnixNano())
	return b, nil
}

func (b *batch) recvmmsg(fd uintptr) (done bool) {
	n, _, errno := unix.Syscall6(unix.SYS_RECVMMSG, fd, uintptr(unsafe.Pointer(&b.hdrs[0])), uintptr(len(b.hdrs)), unix.MSG_DONTWAIT, 0, 0)
	switch errno {
	case 0:
		b.n, b.err = int(n), nil
	case unix.EAGAIN:
		return false
	case unix.EINTR:
		b.n, b.err = 0, nil
	default:
		b.n, b.err = 0, errno
	}
	return true
}

// read waits for datagrams. Its error is os.ErrDeadlineExceeded when the
// connection's deadline has come.
func (b *batch) read() error {
	for i := range b.hdrs[:b.n] {
		h := &b.hdrs[i].Hdr
		h.Namelen = unix.SizeofSockaddrAny
		h.SetControllen(len(b.room[i].control))
	}
	full := b.n == len(b.hdrs)
	if err := b.raw.Read(b.readNow); err != nil {
		b.n = 0
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return os.ErrDeadlineExceeded
		}
		return err
	}
	if b.err != nil {
		return fmt.Errorf("recvmmsg: %w", b.err)
	}
	// A stamp is wall time; what is wanted is monotonic. The way across is the
	// present difference of the two clocks. When that has moved by more than
	// adjtime may slew, datagrams that waited in the socket may bear stamps of
	// the time before, and they may do so until the socket has been emptied.
	before, elapsed := b.clock, b.now
	b.now = time.Now()
	sinceStart := b.now.Sub(b.start)
	b.clock = time.Duration(b.now.UnixNano()) - sinceStart
	moved := (b.clock - before).Abs() > time.Millisecond+b.now.Sub(elapsed)/1000
	b.stepped = !elapsed.IsZero() && (moved || b.stepped && full)
	return nil
}

// arrival is what the kernel said of datagram i.
type arrival struct {
	Arrival
	ifindex int
	stamped bool
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
			a.stamped = true
			if b.stepped {
				a.Rough = true
				break
			}
			waited := b.now.UnixNano() - (*unix.Timespec)(unsafe.Pointer(&data[0])).Nano()
			a.At = b.now.Add(-time.Duration(waited))
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
	var errno syscall.Errno
	err = b.raw.Control(func(fd uintptr) {
		size := uint32(unsafe.Sizeof(info))
		_, _, errno = unix.Syscall6(unix.SYS_GETSOCKOPT, fd, unix.SOL_SOCKET, unix.SO_MEMINFO,
			uintptr(unsafe.Pointer(&info)), uintptr(unsafe.Pointer(&size)), 0)
	})
	if err == nil && errno != 0 {
		err = fmt.Errorf("SO_MEMINFO: %w", errno)
	}
	return info[rcvbufVar], info[dropsVar], err
}
