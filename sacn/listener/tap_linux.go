package listener

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"net/netip"

	"golang.org/x/net/bpf"
	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

// tapSocket is a packet socket on one interface that lets E1.31's port pass.
type tapSocket struct {
	*batch
	ipv6 bool
}

// udpTo5568 accepts UDP datagrams to the port, first fragments only, of IPv4
// or of IPv6 without extension headers. The packet starts at its IP header.
func udpTo5568(ipv6 bool) []bpf.Instruction {
	if ipv6 {
		return []bpf.Instruction{
			bpf.LoadAbsolute{Off: 6, Size: 1},
			bpf.JumpIf{Cond: bpf.JumpNotEqual, Val: unix.IPPROTO_UDP, SkipTrue: 3},
			bpf.LoadAbsolute{Off: 42, Size: 2},
			bpf.JumpIf{Cond: bpf.JumpNotEqual, Val: sacn.Port, SkipTrue: 1},
			bpf.RetConstant{Val: 0xffff},
			bpf.RetConstant{Val: 0},
		}
	}
	return []bpf.Instruction{
		bpf.LoadAbsolute{Off: 9, Size: 1},
		bpf.JumpIf{Cond: bpf.JumpNotEqual, Val: unix.IPPROTO_UDP, SkipTrue: 6},
		bpf.LoadAbsolute{Off: 6, Size: 2},
		bpf.JumpIf{Cond: bpf.JumpBitsSet, Val: 0x1fff, SkipTrue: 4},
		bpf.LoadMemShift{Off: 0},
		bpf.LoadIndirect{Off: 2, Size: 2},
		bpf.JumpIf{Cond: bpf.JumpNotEqual, Val: sacn.Port, SkipTrue: 1},
		bpf.RetConstant{Val: 0xffff},
		bpf.RetConstant{Val: 0},
	}
}

func openTap(ifi *net.Interface, ipv6 bool, buffer int) (*tapSocket, error) {
	// Protocol 0 hears nothing until bind, when the filter is in place.
	fd, err := unix.Socket(unix.AF_PACKET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if errors.Is(err, unix.EPERM) {
		return nil, fmt.Errorf("packet socket: %w; run as root, or give the program CAP_NET_RAW (AmbientCapabilities=CAP_NET_RAW in the unit)", err)
	}
	if err != nil {
		return nil, fmt.Errorf("packet socket: %w", err)
	}
	if err := prepareTap(fd, ifi, ipv6, buffer); err != nil {
		unix.Close(fd)
		return nil, err
	}
	b, err := newBatch(fd)
	if err != nil {
		unix.Close(fd)
		return nil, err
	}
	return &tapSocket{batch: b, ipv6: ipv6}, nil
}

func prepareTap(fd int, ifi *net.Interface, ipv6 bool, buffer int) error {
	raw, err := bpf.Assemble(udpTo5568(ipv6))
	if err != nil {
		return fmt.Errorf("packet filter: %w", err)
	}
	filter := make([]unix.SockFilter, len(raw))
	for i, r := range raw {
		filter[i] = unix.SockFilter{Code: r.Op, Jt: r.Jt, Jf: r.Jf, K: r.K}
	}
	if err := unix.SetsockoptSockFprog(fd, unix.SOL_SOCKET, unix.SO_ATTACH_FILTER, &unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}); err != nil {
		return fmt.Errorf("packet filter: %w", err)
	}
	if err := setBuffer(fd, buffer); err != nil {
		return err
	}
	// The card, too, must let the groups pass.
	if err := unix.SetsockoptPacketMreq(fd, unix.SOL_PACKET, unix.PACKET_ADD_MEMBERSHIP,
		&unix.PacketMreq{Ifindex: int32(ifi.Index), Type: unix.PACKET_MR_ALLMULTI}); err != nil {
		return fmt.Errorf("all multicast on %s: %w", ifi.Name, err)
	}
	protocol := uint16(unix.ETH_P_IP)
	if ipv6 {
		protocol = unix.ETH_P_IPV6
	}
	var wire [2]byte
	binary.BigEndian.PutUint16(wire[:], protocol)
	if err := unix.Bind(fd, &unix.SockaddrLinklayer{Protocol: binary.NativeEndian.Uint16(wire[:]), Ifindex: ifi.Index}); err != nil {
		return fmt.Errorf("bind to %s: %w", ifi.Name, err)
	}
	return nil
}

// deliver hands what came in over the interface to the tracker. What goes out
// of it passes here as well, and is left aside.
func (s *tapSocket) deliver(t *Tracker) {
	for i := range s.n {
		a := s.arrival(i)
		if a.pkttype != unix.PACKET_HOST && a.pkttype != unix.PACKET_BROADCAST && a.pkttype != unix.PACKET_MULTICAST {
			continue
		}
		payload, from, to, ok := udpPayload(s.payload(i), s.ipv6)
		if !ok {
			continue
		}
		a.From = from
		if to.IsMulticast() {
			a.Group = to
		}
		t.Packet(payload, a.Arrival)
	}
}

// udpPayload finds the payload of an unfragmented UDP datagram in an IP packet.
func udpPayload(b []byte, ipv6 bool) (payload []byte, from, to netip.Addr, ok bool) {
	const udpHeader = 8
	var udp []byte
	switch {
	case ipv6 && len(b) >= 40 && b[0]>>4 == 6:
		from, to = netip.AddrFrom16([16]byte(b[8:])), netip.AddrFrom16([16]byte(b[24:]))
		udp = b[40:]
	case !ipv6 && len(b) >= 20 && b[0]>>4 == 4:
		header, total := int(b[0]&0xf)*4, int(binary.BigEndian.Uint16(b[2:]))
		if header < 20 || total > len(b) || total < header {
			return nil, from, to, false
		}
		from, to = netip.AddrFrom4([4]byte(b[12:])), netip.AddrFrom4([4]byte(b[16:]))
		udp = b[header:total]
	default:
		return nil, from, to, false
	}
	if len(udp) < udpHeader {
		return nil, from, to, false
	}
	if n := int(binary.BigEndian.Uint16(udp[4:])); n >= udpHeader && n <= len(udp) {
		return udp[udpHeader:n], from, to, true
	}
	return nil, from, to, false
}
