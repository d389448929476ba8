//go:build !linux

package source

import (
	"errors"
	"net"
	"net/netip"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"

	"yardproof/sacn"
)

// udpSocket sends packets one by one: x/net has no batches here.
type udpSocket struct{ *net.UDPConn }

// dial opens a socket with the interface's own address, by which these systems
// choose the way out: the multicast socket for the zero Addr, else one connected
// to a controller.
func dial(cfg Config, state linkState, unicast netip.Addr) (socket, error) {
	unicast = unicast.Unmap()
	network, is6 := "udp4", cfg.IPv6
	if unicast.IsValid() {
		is6 = unicast.Is6()
	}
	if is6 {
		network = "udp6"
	}
	if is6 && unicast.IsLinkLocalUnicast() {
		unicast = unicast.WithZone(cfg.Interface)
	}
	local := &net.UDPAddr{}
	for _, a := range state.addrs {
		if a.Is6() == is6 {
			local.IP = a.AsSlice()
			break
		}
	}
	if unicast.IsValid() {
		conn, err := net.DialUDP(network, local, net.UDPAddrFromAddrPort(netip.AddrPortFrom(unicast, sacn.Port)))
		return udpSocket{conn}, err
	}
	conn, err := net.ListenUDP(network, local)
	if err != nil {
		return nil, err
	}
	if err := multicastOptions(conn, cfg, state); err != nil {
		conn.Close()
		return nil, err
	}
	return udpSocket{conn}, nil
}

func dialPacket(Config, linkState) (socket, error) { return nil, errors.ErrUnsupported } // checkPacket refused it

func (u udpSocket) messages(packets [][]byte, groups []netip.Addr) messages {
	return plain{u.UDPConn, packets, groups}
}

// plain are messages that are sent one by one, by a socket that never waits.
type plain struct {
	conn    *net.UDPConn
	packets [][]byte
	groups  []netip.Addr
}

// send leaves an error after the first packet to the next call.
func (p plain) send(from, to int, _ bool) (int, error) {
	for i := from; i < to; i++ {
		var err error
		if b := p.packets[i][headroom:]; p.groups[i].IsValid() {
			_, err = p.conn.WriteToUDPAddrPort(b, netip.AddrPortFrom(p.groups[i], sacn.Port))
		} else {
			_, err = p.conn.Write(b)
		}
		if err != nil && i > from {
			return i - from, nil
		}
		if err != nil {
			return 0, err
		}
	}
	return to - from, nil
}

// multicastOptions chooses the way out for groups.
func multicastOptions(conn net.PacketConn, cfg Config, state linkState) error {
	ifi := &net.Interface{Index: state.index, Name: cfg.Interface}
	if cfg.IPv6 {
		p := ipv6.NewPacketConn(conn)
		return errors.Join(p.SetMulticastInterface(ifi), p.SetMulticastHopLimit(cfg.TTL), p.SetMulticastLoopback(cfg.Loopback))
	}
	p := ipv4.NewPacketConn(conn)
	return errors.Join(p.SetMulticastInterface(ifi), p.SetMulticastTTL(cfg.TTL), p.SetMulticastLoopback(cfg.Loopback))
}
