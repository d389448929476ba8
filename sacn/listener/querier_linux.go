package listener

import (
	"net"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
)

func openQuerier(ifi *net.Interface, v6 bool) *querier {
	q := &querier{ifi: ifi, ipv6: v6, st: QuerierState{Since: time.Now()}}
	network, address := "ip4:igmp", "0.0.0.0"
	if v6 {
		network, address = "ip6:ipv6-icmp", "::"
	}
	c, err := net.ListenPacket(network, address)
	if err == nil && v6 {
		var only ipv6.ICMPFilter
		only.SetAll(true)
		only.Accept(ipv6.ICMPTypeMulticastListenerQuery)
		p := ipv6.NewPacketConn(c)
		if err = p.SetICMPFilter(&only); err == nil {
			err = p.SetControlMessage(ipv6.FlagInterface, true)
		}
	} else if err == nil {
		err = ipv4.NewPacketConn(c).SetControlMessage(ipv4.FlagInterface, true)
	}
	if err != nil {
		if c != nil {
			c.Close()
		}
		q.st.Reason = err.Error()
		return q
	}
	q.conn, q.st.Known = c, true
	return q
}

// read waits for a message and reports whether it is a query on our interface.
func (q *querier) read(b []byte) (query bool, err error) {
	if q.ipv6 {
		_, cm, _, err := ipv6.NewPacketConn(q.conn).ReadFrom(b)
		return err == nil && cm != nil && cm.IfIndex == q.ifi.Index, err
	}
	const membershipQuery = 0x11 // RFC 3376 section 4
	n, cm, _, err := ipv4.NewPacketConn(q.conn).ReadFrom(b)
	return err == nil && cm != nil && cm.IfIndex == q.ifi.Index && n > 0 && b[0] == membershipQuery, err
}
