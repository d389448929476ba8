//go:build !linux

package source

import (
	"errors"
	"net"
	"net/netip"

	"golang.org/x/net/ipv4"

	"yardproof/sacn"
)

// dontWait, among the flags of WriteBatch, means nothing here: no socket waits.
const dontWait = 1

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

// WriteBatch sends packet by packet. An error after the first packet is left to
// the next call.
func (u udpSocket) WriteBatch(ms []ipv4.Message, _ int) (n int, err error) {
	for i := range ms {
		if a, ok := ms[i].Addr.(*net.UDPAddr); ok {
			_, err = u.WriteToUDP(ms[i].Buffers[0], a)
		} else {
			_, err = u.Write(ms[i].Buffers[0])
		}
		if err != nil && i > 0 {
			return i, nil
		}
		if err != nil {
			return 0, err
		}
	}
	return len(ms), nil
}
