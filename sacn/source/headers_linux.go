package source

import (
	"encoding/binary"
	"net"
	"net/netip"
	"os"
	"unsafe"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

// headers are messages as sendmmsg(2) takes them. They are written once and stay
// as they are from frame to frame, which WriteBatch of golang.org/x/net cannot do:
// it writes them anew for every call, a twentieth of all that sending costs.
type headers struct {
	socket *udpSocket
	list   []unix.Mmsghdr
}

// newHeaders takes the groups that packets go to; without, where a connected or a
// packet socket sends them.
func newHeaders(u *udpSocket, packets [][]byte, groups []netip.Addr) *headers {
	h := &headers{u, make([]unix.Mmsghdr, len(packets))}
	vectors := make([]unix.Iovec, len(packets))
	var names []unix.RawSockaddrInet6 // the longer of the two
	if groups != nil {
		names = make([]unix.RawSockaddrInet6, len(packets))
	}
	port := binary.NativeEndian.Uint16(binary.BigEndian.AppendUint16(nil, sacn.Port)) // in the byte order of the network
	for i, b := range packets {
		vectors[i].Base = &b[0]
		vectors[i].SetLen(len(b))
		m := &h.list[i].Hdr
		m.Iov = &vectors[i]
		m.SetIovlen(1)
		if groups == nil || !groups[i].IsValid() {
			continue
		}
		m.Name = (*byte)(unsafe.Pointer(&names[i]))
		if groups[i].Is4() {
			*(*unix.RawSockaddrInet4)(unsafe.Pointer(&names[i])) = unix.RawSockaddrInet4{Family: unix.AF_INET, Port: port, Addr: groups[i].As4()}
			m.Namelen = unix.SizeofSockaddrInet4
		} else {
			names[i] = unix.RawSockaddrInet6{Family: unix.AF_INET6, Port: port, Addr: groups[i].As16()}
			m.Namelen = unix.SizeofSockaddrInet6
		}
	}
	return h
}

// send waits for a full queue, but not for ever.
func (h *headers) send(from, to int, patient bool) (int, error) {
	u := h.socket
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.fd < 0 {
		return 0, net.ErrClosed
	}
	n, errno := h.write(from, to)
	if errno == unix.EAGAIN && patient {
		if ready, _ := unix.Poll([]unix.PollFd{{Fd: int32(u.fd), Events: unix.POLLOUT}}, fullQueueWait); ready > 0 {
			n, errno = h.write(from, to)
		}
	}
	switch errno {
	case 0:
		return n, nil
	case unix.EAGAIN:
		return 0, os.ErrDeadlineExceeded
	}
	return 0, os.NewSyscallError("sendmmsg", errno)
}

func (h *headers) write(from, to int) (int, unix.Errno) {
	n, _, errno := unix.Syscall6(unix.SYS_SENDMMSG, uintptr(h.socket.fd), uintptr(unsafe.Pointer(&h.list[from])), uintptr(to-from), unix.MSG_DONTWAIT, 0, 0)
	return int(n), errno
}
