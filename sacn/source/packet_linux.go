package source

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"

	"golang.org/x/sys/unix"

	"yardproof/sacn"
)

const (
	virtualHeader  = 10 // struct virtio_net_hdr: what is left to the card
	ethernetHeader = 14
	ipv4Header     = 20
	ipv6Header     = 40
	udpHeader      = 8
	checkOffset    = 6 // of the checksum in the UDP header
)

// packetSocket sends whole Ethernet frames. No neighbour and no route is looked
// up: a group's hardware address follows from the group. What the kernel would
// have written in front of the payload is written here, once: the checksum,
// which alone depends on the payload, is left to the card or, where the card
// cannot, to the kernel (PACKET_VNET_HDR, packet(7)), as it is with UDP sockets.
//
// Frames pass the interface's queue as all others do. PACKET_QDISC_BYPASS would
// save that, but then a burst longer than the card's own ring is lost, and what
// limits or counts traffic on this host does not see it.
type packetSocket struct {
	*udpSocket            // of frames
	claim      *udpSocket // holds the UDP port that the frames name
	head       []byte     // of every frame, without destination, lengths and checksums
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
	// 0: the kernel reads the type in the frame, and tags it on a VLAN's interface.
	if err := unix.Bind(fd, &unix.SockaddrLinklayer{Ifindex: state.index}); err != nil {
		return nil, fmt.Errorf("binding to interface %s: %w", cfg.Interface, err)
	}
	if err := unix.SetsockoptInt(fd, unix.SOL_PACKET, unix.PACKET_VNET_HDR, 1); err != nil {
		return nil, fmt.Errorf("leaving checksums to interface %s: %w", cfg.Interface, err)
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
	h := make([]byte, virtualHeader, headroom)
	e := make([]byte, ethernetHeader)
	copy(e[6:], hardware)
	ip := ipv4Header
	if from.Addr().Is4() {
		e[0], e[2] = 0x01, 0x5e // RFC 1112, 6.4: and the group's low 23 bits
		binary.BigEndian.PutUint16(e[12:], unix.ETH_P_IP)
		// RFC 791. Not to be fragmented, so the identification stays 0 (RFC 6864, 4.1).
		h = append(append(h, e...), 0x45, 0, 0, 0, 0, 0, 0x40, 0, byte(ttl), unix.IPPROTO_UDP, 0, 0)
	} else {
		ip = ipv6Header
		e[0], e[1] = 0x33, 0x33 // RFC 2464, 7: and the group's last four octets
		binary.BigEndian.PutUint16(e[12:], unix.ETH_P_IPV6)
		h = append(append(h, e...), 0x60, 0, 0, 0, 0, 0, unix.IPPROTO_UDP, byte(ttl)) // RFC 8200, 3; no flow label
	}
	h[0] = unix.VIRTIO_NET_HDR_F_NEEDS_CSUM
	binary.NativeEndian.PutUint16(h[6:], uint16(ethernetHeader+ip)) // from here on
	binary.NativeEndian.PutUint16(h[8:], checkOffset)               // to there
	h = append(h, from.Addr().AsSlice()...)
	h = append(h, make([]byte, from.Addr().BitLen()/8)...)
	h = binary.BigEndian.AppendUint16(h, from.Port())
	h = binary.BigEndian.AppendUint16(h, sacn.Port)
	return append(h, 0, 0, 0, 0)
}

func (p *packetSocket) messages(packets [][]byte, groups []netip.Addr) messages {
	frames := make([][]byte, len(packets))
	for i, b := range packets {
		frames[i] = p.frame(b, groups[i].AsSlice())
	}
	return newHeaders(p.udpSocket, frames, nil)
}

// frame writes what stands before a packet into the room that is left for it
// there, and returns what to send.
func (p *packetSocket) frame(packet, group []byte) []byte {
	f := packet[headroom-len(p.head):]
	copy(f, p.head)
	length := len(packet) - headroom + udpHeader
	eth, udp := f[virtualHeader:], f[len(p.head)-udpHeader:len(p.head)]
	ip := f[virtualHeader+ethernetHeader : len(p.head)-udpHeader]
	copy(ip[len(ip)-len(group):], group)
	if len(ip) == ipv4Header {
		eth[3], eth[4], eth[5] = group[1]&0x7f, group[2], group[3]
		binary.BigEndian.PutUint16(ip[2:], uint16(len(ip)+length))
		binary.BigEndian.PutUint16(ip[10:], ^sum(0, ip))
	} else {
		copy(eth[2:], group[12:])
		binary.BigEndian.PutUint16(ip[4:], uint16(length))
	}
	binary.BigEndian.PutUint16(udp[4:], uint16(length))
	// The sum of the pseudo header, to which the rest is added (RFC 768; RFC 8200,
	// 8.1): both addresses, length and protocol.
	binary.BigEndian.PutUint16(udp[checkOffset:], sum(uint32(length+unix.IPPROTO_UDP), ip[len(ip)-2*len(group):]))
	return f
}

// sum adds an even number of octets to a one's complement sum (RFC 1071).
func sum(s uint32, b []byte) uint16 {
	for ; len(b) > 0; b = b[2:] {
		s += uint32(binary.BigEndian.Uint16(b))
	}
	s = s>>16 + s&0xffff
	return uint16(s>>16 + s)
}

func (p *packetSocket) Close() error {
	if p.claim != nil {
		p.claim.Close()
	}
	return p.udpSocket.Close()
}
