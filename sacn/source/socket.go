package source

import (
	"errors"
	"net"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
)

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
