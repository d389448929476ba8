package source

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// notices is an rtnetlink socket that hears of links, addresses and routes: a
// controller without a route is dialled when there is one.
type notices struct{ *os.File }

func newChanges() (changes, error) {
	fd, err := unix.Socket(unix.AF_NETLINK, unix.SOCK_RAW|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, unix.NETLINK_ROUTE)
	if err != nil {
		return nil, os.NewSyscallError("socket", err)
	}
	groups := uint32(unix.RTMGRP_LINK | unix.RTMGRP_IPV4_IFADDR | unix.RTMGRP_IPV6_IFADDR | unix.RTMGRP_IPV4_ROUTE | unix.RTMGRP_IPV6_ROUTE)
	if err := unix.Bind(fd, &unix.SockaddrNetlink{Family: unix.AF_NETLINK, Groups: groups}); err != nil {
		unix.Close(fd)
		return nil, os.NewSyscallError("bind", err)
	}
	return notices{os.NewFile(uintptr(fd), "rtnetlink")}, nil
}

// Wait does not read what the message says: the interface is looked up afresh,
// and then nothing depends on having missed none.
func (n notices) Wait() error {
	var b [8192]byte
	if _, err := n.Read(b[:]); err != nil && !errors.Is(err, unix.ENOBUFS) {
		return err
	}
	return nil
}

// advise reads the neighbour table's limit and looks for the groups' route.
func advise(cfg Config, state linkState) Advice {
	family := unix.AF_INET
	if cfg.IPv6 {
		family = unix.AF_INET6
	}
	limit, _ := neighbourLimit(family) // not readable: not known
	a := Advice{NeighbourLimit: limit}
	if !cfg.IPv6 {
		if ok, err := groupRoute(state.index); err == nil {
			a.Route = &ok
		}
	}
	return a
}

const (
	ndtaThresh3     = 4 // NDTA_THRESH3 of linux/neighbour.h, which x/sys lacks
	sizeofNdtmsg    = 4
	groupPrefixBits = 16 // 239.255.0.0/16
)

// neighbourLimit asks for gc_thresh3 (RTM_GETNEIGHTBL).
func neighbourLimit(family int) (int, error) {
	limit := 0
	err := dump(unix.RTM_GETNEIGHTBL, unix.RTM_NEWNEIGHTBL, family, sizeofNdtmsg, func(head []byte, attrs map[uint16][]byte) {
		if v := attrs[ndtaThresh3]; int(head[0]) == family && len(v) == 4 {
			limit = int(binary.NativeEndian.Uint32(v))
		}
	})
	return limit, err
}

// groupRoute reports whether a route other than the default one covers all
// groups and leaves by the interface.
func groupRoute(index int) (bool, error) {
	found := false
	group := netip.AddrFrom4([4]byte{239, 255})
	err := dump(unix.RTM_GETROUTE, unix.RTM_NEWROUTE, unix.AF_INET, unix.SizeofRtMsg, func(head []byte, attrs map[uint16][]byte) {
		dst, oif := attrs[unix.RTA_DST], attrs[unix.RTA_OIF]
		bits := int(head[1])
		if len(dst) != 4 || len(oif) != 4 || bits > groupPrefixBits {
			return
		}
		p := netip.PrefixFrom(netip.AddrFrom4([4]byte(dst)), bits)
		found = found || p.Contains(group) && int(binary.NativeEndian.Uint32(oif)) == index
	})
	return found, err
}

// dump asks rtnetlink for a table and calls each with the fixed head of every
// entry and its attributes.
func dump(ask, answer, family, head int, each func(head []byte, attrs map[uint16][]byte)) error {
	b, err := syscall.NetlinkRIB(ask, family)
	if err != nil {
		return os.NewSyscallError("netlink", err)
	}
	msgs, err := syscall.ParseNetlinkMessage(b)
	if err != nil {
		return fmt.Errorf("netlink: %w", err)
	}
	for _, m := range msgs {
		if int(m.Header.Type) == answer && len(m.Data) >= head {
			each(m.Data[:head], attributes(m.Data[head:]))
		}
	}
	return nil
}

func attributes(b []byte) map[uint16][]byte {
	attrs := map[uint16][]byte{}
	for len(b) >= unix.SizeofRtAttr {
		n := int(binary.NativeEndian.Uint16(b))
		if n < unix.SizeofRtAttr || n > len(b) {
			break
		}
		attrs[binary.NativeEndian.Uint16(b[2:])] = b[unix.SizeofRtAttr:n]
		b = b[min(len(b), (n+3)&^3):]
	}
	return attrs
}
