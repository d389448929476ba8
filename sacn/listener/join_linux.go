package listener

import (
	"errors"
	"fmt"
	"net"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

// perHolder is how many memberships one holding socket keeps: the default of
// net.ipv4.igmp_max_memberships.
const perHolder = 20

// memberships holds group memberships on sockets that are never read. A socket
// bound to the wildcard address hears every group that any socket of the host
// has joined (IP_MULTICAST_ALL and IPV6_MULTICAST_ALL are on by default), so
// this passes the kernel's limit per socket; and a receiving socket without
// memberships of its own receives faster.
type memberships struct {
	ifi     *net.Interface
	ipv6    bool
	sockets []int
}

// join joins the groups of universes on an interface. Elsewhere it needs the
// receiving socket; here it does not.
//
// The kernel finds a group to be left by walking the interface's list, which
// begins with the latest. Sockets are closed in the order of their making, also
// when the program is killed; so they join in the opposite order, or leaving
// 63,999 groups would take minutes.
func join(_ *socket, ifi *net.Interface, ipv6 bool, universes []uint16) (*memberships, error) {
	m := &memberships{ifi: ifi, ipv6: ipv6}
	for range (len(universes) + perHolder - 1) / perHolder {
		if err := m.socket(universes[0]); err != nil {
			m.close()
			return nil, err
		}
	}
	for next := len(m.sockets) - 1; len(universes) > 0; next-- {
		fd := -1
		if next >= 0 {
			fd = m.sockets[next]
		} else if err := m.socket(universes[0]); err != nil {
			m.close()
			return nil, err
		} else {
			fd = m.sockets[len(m.sockets)-1]
		}
		n, err := m.fill(fd, universes)
		if err != nil && (n == 0 || !errors.Is(err, unix.ENOBUFS)) { // a lower limit a socket is no error yet
			m.close()
			return nil, fmt.Errorf("join the group of universe %d on %s: %w%s", universes[n], ifi.Name, err, remedy(err))
		}
		universes = universes[n:]
	}
	return m, nil
}

// fill joins groups on one socket, and returns how many.
func (m *memberships) fill(fd int, universes []uint16) (n int, err error) {
	for n < min(perHolder, len(universes)) {
		if err := m.set(fd, universes[n]); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// socket makes one more holding socket.
func (m *memberships) socket(universe uint16) error {
	family := unix.AF_INET
	if m.ipv6 {
		family = unix.AF_INET6
	}
	fd, err := unix.Socket(family, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return fmt.Errorf("join the group of universe %d on %s: socket %d: %w%s", universe, m.ifi.Name, len(m.sockets)+1, err, remedy(err))
	}
	m.sockets = append(m.sockets, fd)
	return nil
}

// remedy names the setting behind an error of joining, and what raises it.
func remedy(err error) string {
	switch {
	case errors.Is(err, unix.EMFILE):
		return "; one socket for 20 universes is needed: raise the limit with ulimit -n 8192, or LimitNOFILE=8192 in the unit"
	case errors.Is(err, unix.ENFILE):
		return "; the machine is out of file handles: sysctl -w fs.file-max=1000000"
	case errors.Is(err, unix.ENOBUFS):
		return "; the kernel allows too few memberships: sysctl -w net.ipv4.igmp_max_memberships=20"
	case errors.Is(err, unix.ENOMEM):
		return "; the kernel allows too little memory for a socket's options: sysctl -w net.core.optmem_max=131072"
	case errors.Is(err, unix.ENODEV):
		return "; the interface is gone or has no address of this family"
	}
	return ""
}

func (m *memberships) set(fd int, universe uint16) error {
	if m.ipv6 {
		return unix.SetsockoptIPv6Mreq(fd, unix.IPPROTO_IPV6, unix.IPV6_JOIN_GROUP,
			&unix.IPv6Mreq{Multiaddr: sacn.MulticastAddr6(universe).As16(), Interface: uint32(m.ifi.Index)})
	}
	return unix.SetsockoptIPMreqn(fd, unix.IPPROTO_IP, unix.IP_ADD_MEMBERSHIP,
		&unix.IPMreqn{Multiaddr: sacn.MulticastAddr4(universe).As4(), Ifindex: int32(m.ifi.Index)})
}

// close leaves all groups.
func (m *memberships) close() {
	for _, fd := range m.sockets {
		unix.Close(fd)
	}
	m.sockets = nil
}
