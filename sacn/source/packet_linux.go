package source

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"
	"net"
	"net/netip"
	"os"

	"golang.org/x/net/ipv4"
	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

const (
	ethernetHeader = 14
	ipv4Header     = 20
	ipv6Header     = 40
	udpHeader      = 8
	longestHead    = ethernetHeader + ipv6Header + udpHeader
)

// packetSocket sends whole Ethernet frames. No neighbour and no route is looked
// up: a group's hardware address follows from the group. What the kernel would
// have written in front of the payload is written here, and a slice's headers
// share a few kilobytes that stay in the processor's nearest cache.
//
// Frames pass the interface's queue as all others do. PACKET_QDISC_BYPASS would
// save that, but then a burst longer than the card's own ring is lost, and what
// limits or counts traffic on this host does not see it.
type packetSocket struct {
	*udpSocket            // of frames
	claim      *udpSocket // holds the UDP port that the frames name
	head       []byte     // of every frame, without destination, lengths and checksums
	frames     []ipv4.Message
}

// dialPacket opens the way out for groups. Source address and port are those
// that the kernel gives a socket on its way to a group.
func dialPacket(cfg Config, state linkState) (_ socket, err error) {
	fd, err := unix.Socket(unix.AF_PACKET, unix.SOCK_RAW|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, 0) // 0: receives nothing
	switch {
	case errors.Is(err, unix.EPERM), errors.Is(err, unix.EAFNOSUPPORT):
		return nil, usagef("packet sockets are not permitted here (%v); run as root or with CAP_NET_RAW, under systemd with the drop-in send-packet.conf, or leave --send packet out", err)
	case err != nil:
		return nil, os.NewSyscallError("socket", err)
	}
	p := &packetSocket{udpSocket: &udpSocket{fd: fd}}
	defer func() {
		if err != nil {
			p.Close()
		}
	}()
	p.batch = ipv4.NewPacketConn(p.udpSocket)
	// 0: the kernel reads the type in the frame, and tags it on a VLAN's interface.
	if err := unix.Bind(fd, &unix.SockaddrLinklayer{Ifindex: state.index}); err != nil {
		return nil, fmt.Errorf("binding to interface %s: %w", cfg.Interface, err)
	}
	unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_SNDBUF, sendBuffer) // as in socketOptions
	claim, err := dial(cfg, state, netip.Addr{})
	if err != nil {
		return nil, err
	}
	p.claim = claim.(*udpSocket)
	from, err := localAddr(p.claim.fd, cfg.IPv6)
	if errors.Is(err, unix.EADDRNOTAVAIL) { // IPv6 may still be looking for duplicates
		return nil, linkf("interface %s has no address that can be used yet; wait a moment, or give it one", cfg.Interface)
	} else if err != nil {
		return nil, fmt.Errorf("the address of interface %s: %w", cfg.Interface, err)
	}
	p.head = packetHead(state.hardware, from, cfg.TTL)
	p.frames = make([]ipv4.Message, maxSlice)
	for i := range p.frames {
		p.frames[i].Buffers = [][]byte{make([]byte, len(p.head)), nil}
	}
	return p, nil
}

// localAddr connects a socket to a group and returns what it would send from.
func localAddr(fd int, is6 bool) (netip.AddrPort, error) {
	group := sacn.MulticastAddr4(sacn.DiscoveryUniverse)
	if is6 {
		group = sacn.MulticastAddr6(sacn.DiscoveryUniverse)
	}
	if err := unix.Connect(fd, sockaddr(group, 0)); err != nil {
		return netip.AddrPort{}, os.NewSyscallError("connect", err)
	}
	sa, err := unix.Getsockname(fd)
	switch sa := sa.(type) {
	case *unix.SockaddrInet4:
		return netip.AddrPortFrom(netip.AddrFrom4(sa.Addr), uint16(sa.Port)), nil
	case *unix.SockaddrInet6:
		return netip.AddrPortFrom(netip.AddrFrom16(sa.Addr), uint16(sa.Port)), nil
	}
	return netip.AddrPort{}, os.NewSyscallError("getsockname", err)
}

// packetHead returns what all frames begin with.
func packetHead(hardware net.HardwareAddr, from netip.AddrPort, ttl int) []byte {
	h := make([]byte, ethernetHeader, longestHead)
	if from.Addr().Is4() {
		h[0], h[2] = 0x01, 0x5e // RFC 1112, 6.4: and the group's low 23 bits
		binary.BigEndian.PutUint16(h[12:], unix.ETH_P_IP)
		// RFC 791. Not to be fragmented, so the identification stays 0 (RFC 6864, 4.1).
		h = append(h, 0x45, 0, 0, 0, 0, 0, 0x40, 0, byte(ttl), unix.IPPROTO_UDP, 0, 0)
	} else {
		h[0], h[1] = 0x33, 0x33 // RFC 2464, 7: and the group's last four octets
		binary.BigEndian.PutUint16(h[12:], unix.ETH_P_IPV6)
		h = append(h, 0x60, 0, 0, 0, 0, 0, unix.IPPROTO_UDP, byte(ttl)) // RFC 8200, 3; no flow label
	}
	copy(h[6:], hardware)
	h = append(h, from.Addr().AsSlice()...)
	h = append(h, make([]byte, from.Addr().BitLen()/8)...)
	h = binary.BigEndian.AppendUint16(h, from.Port())
	h = binary.BigEndian.AppendUint16(h, sacn.Port)
	return append(h, 0, 0, 0, 0)
}

// address writes the headers of a payload for a group.
func (p *packetSocket) address(h []byte, group net.IP, payload []byte) {
	copy(h, p.head)
	ip, udp := h[ethernetHeader:len(h)-udpHeader], h[len(h)-udpHeader:]
	length := udpHeader + len(payload)
	copy(ip[len(ip)-len(group):], group)
	if len(ip) == ipv4Header {
		h[3], h[4], h[5] = group[1]&0x7f, group[2], group[3]
		binary.BigEndian.PutUint16(ip[2:], uint16(len(ip)+length))
		binary.BigEndian.PutUint16(ip[10:], ^fold(sum(0, ip)))
	} else {
		copy(h[2:], group[12:])
		binary.BigEndian.PutUint16(ip[4:], uint16(length))
	}
	binary.BigEndian.PutUint16(udp[4:], uint16(length))
	// RFC 768 with the pseudo header, RFC 8200, 8.1: both addresses, length and protocol.
	s := sum(uint64(bits.ReverseBytes16(uint16(length+unix.IPPROTO_UDP))), ip[len(ip)-2*len(group):])
	check := ^fold(sum(sum(s, udp), payload))
	if check == 0 {
		check = 0xffff // 0 would mean: none
	}
	binary.BigEndian.PutUint16(udp[6:], check)
}

// sum adds octets to a one's complement sum, eight at a time: in the order of
// octets that costs nothing (RFC 1071, 2 B); fold puts it right.
// What comes before must have been of even length.
func sum(s uint64, b []byte) uint64 {
	var carry uint64
	for ; len(b) >= 64; b = b[64:] {
		w := b[:64]
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w), carry)
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w[8:]), carry)
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w[16:]), carry)
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w[24:]), carry)
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w[32:]), carry)
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w[40:]), carry)
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w[48:]), carry)
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(w[56:]), carry)
	}
	for ; len(b) >= 8; b = b[8:] {
		s, carry = bits.Add64(s, binary.LittleEndian.Uint64(b), carry)
	}
	for ; len(b) >= 2; b = b[2:] {
		s, carry = bits.Add64(s, uint64(binary.LittleEndian.Uint16(b)), carry)
	}
	if len(b) == 1 {
		s, carry = bits.Add64(s, uint64(b[0]), carry)
	}
	s, carry = bits.Add64(s, 0, carry)
	return s + carry
}

func fold(s uint64) uint16 {
	s = s>>32 + s&0xffffffff
	for s > 0xffff {
		s = s>>16 + s&0xffff
	}
	return bits.ReverseBytes16(uint16(s))
}

// WriteBatch puts the headers in front of the messages and sends them.
func (p *packetSocket) WriteBatch(ms []ipv4.Message, flags int) (int, error) {
	ms = ms[:min(len(ms), len(p.frames))]
	for i := range ms {
		b := p.frames[i].Buffers
		b[1] = ms[i].Buffers[0]
		p.address(b[0], ms[i].Addr.(*net.UDPAddr).IP, b[1])
	}
	return p.udpSocket.WriteBatch(p.frames[:len(ms)], flags)
}

func (p *packetSocket) Close() error {
	if p.claim != nil {
		p.claim.Close()
	}
	return p.udpSocket.Close()
}
