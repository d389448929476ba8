//go:build !linux

package source

import (
	"net"
	"net/netip"

	"golang.org/x/net/ipv4"
)

const dontWait = 0

// oneByOne sends a batch packet by packet: x/net has no batches here.
type oneByOne struct{ conn *net.UDPConn }

func newBatchWriter(conn *net.UDPConn, _ bool) batchWriter { return oneByOne{conn} }

func (o oneByOne) WriteBatch(ms []ipv4.Message, _ int) (n int, err error) {
	for i := range ms {
		if a, ok := ms[i].Addr.(*net.UDPAddr); ok {
			_, err = o.conn.WriteToUDP(ms[i].Buffers[0], a)
		} else {
			_, err = o.conn.Write(ms[i].Buffers[0])
		}
		if err != nil {
			if i > 0 {
				err = nil // the next call reports it
			}
			return i, err
		}
	}
	return len(ms), nil
}

// bindUDP opens a socket with the interface's own address: these systems choose
// the way out by it.
func bindUDP(_ string, state linkState, is6 bool, unicast netip.Addr) (*net.UDPConn, error) {
	local := &net.UDPAddr{}
	for _, a := range state.addrs {
		if a.Is6() == is6 {
			local.IP = a.AsSlice()
			break
		}
	}
	if !unicast.IsValid() {
		return net.ListenUDP(network(is6), local)
	}
	to, err := net.ResolveUDPAddr(network(is6), remote(unicast))
	if err != nil {
		return nil, err
	}
	return net.DialUDP(network(is6), local, to)
}
