package listener

import (
	"net"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
)

// openQuerier makes a raw socket for membership queries; without the right to
// it, the state says so.
func openQuerier(ifi *net.Interface, v6 bool) *querier {
	q := &querier{st: QuerierState{Since: time.Now()}}
	q.ifindex.Store(int64(ifi.Index))
	open := openIGMP
	if v6 {
		open = openMLD
	}
	if err := open(q); err != nil {
		q.st.Reason = err.Error()
		return q
	}
	q.st.Known = true
	return q
}

func openIGMP(q *querier) error {
	const membershipQuery = 0x11 // RFC 3376 section 4
	c, err := net.ListenPacket("ip4:igmp", "0.0.0.0")
	if err != nil {
		return err
	}
	p := ipv4.NewPacketConn(c)
	if err := p.SetControlMessage(ipv4.FlagInterface, true); err != nil {
		c.Close()
		return err
	}
	q.conn = c
	q.read = func(b []byte) (bool, error) {
		n, cm, _, err := p.ReadFrom(b)
		return n > 0 && b[0] == membershipQuery && cm != nil && int64(cm.IfIndex) == q.ifindex.Load(), err
	}
	return nil
}

func openMLD(q *querier) error {
	c, err := net.ListenPacket("ip6:ipv6-icmp", "::")
	if err != nil {
		return err
	}
	p := ipv6.NewPacketConn(c)
	var only ipv6.ICMPFilter
	only.SetAll(true)
	only.Accept(ipv6.ICMPTypeMulticastListenerQuery)
	if err := p.SetICMPFilter(&only); err != nil {
		c.Close()
		return err
	}
	if err := p.SetControlMessage(ipv6.FlagInterface, true); err != nil {
		c.Close()
		return err
	}
	q.conn = c
	q.read = func(b []byte) (bool, error) {
		_, cm, _, err := p.ReadFrom(b)
		return cm != nil && int64(cm.IfIndex) == q.ifindex.Load(), err
	}
	return nil
}
