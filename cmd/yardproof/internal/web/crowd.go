package web

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"sync"
)

// Connections that are open at one time.
const (
	perAddress       = 32
	perNeighbourhood = 128 // of one IPv6 /64
	inAll            = 512 // loopback, where the laptop itself knocks, is not counted against it
	maxFamiliar      = 256 // addresses from which phones that were let in have come
)

// crowdListener keeps strangers from standing between a phone and dark. When a limit
// is reached the oldest connection over which no phone that was let in has asked
// anything makes room: who comes with a session is through in a few milliseconds, who
// only holds on is gone. Addresses from which such a phone has come give way only to
// themselves.
type crowdListener struct {
	net.Listener
	mu       sync.Mutex
	open     []*crowdConn // the oldest first
	familiar []netip.Addr // the latest last
}

func (l *crowdListener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		conn := &crowdConn{Conn: c, crowd: l, from: address(c.RemoteAddr().String())}
		out, ok := l.enter(conn)
		if out != nil {
			out.Close()
		}
		if ok {
			return conn, nil
		}
		c.Close()
	}
}

// enter takes a connection in, if need be for another that is to be closed.
func (l *crowdListener) enter(c *crowdConn) (out *crowdConn, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	same := func(o *crowdConn) bool { return o.from == c.from }
	near := func(o *crowdConn) bool { return neighbourhood(o.from) == neighbourhood(c.from) }
	far := func(o *crowdConn) bool { return !o.from.IsLoopback() }
	switch {
	case l.count(same) >= perAddress:
		out = l.stranger(same, true)
	case l.count(near) >= perNeighbourhood:
		out = l.stranger(near, false)
	case far(c) && l.count(far) >= inAll:
		out = l.stranger(far, false)
	default:
		l.open = append(l.open, c)
		return nil, true
	}
	if out == nil {
		return nil, false
	}
	l.open = append(slices.DeleteFunc(l.open, func(o *crowdConn) bool { return o == out }), c)
	return out, true
}

// size returns how many connections are open.
func (l *crowdListener) size() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.open)
}

func (l *crowdListener) count(which func(*crowdConn) bool) (n int) {
	for _, c := range l.open {
		if which(c) {
			n++
		}
	}
	return n
}

// stranger returns the oldest connection of which nothing good is known; nil: there
// is none.
func (l *crowdListener) stranger(which func(*crowdConn) bool, evenFamiliar bool) *crowdConn {
	for _, c := range l.open {
		if which(c) && !c.good && (evenFamiliar || !slices.Contains(l.familiar, c.from)) {
			return c
		}
	}
	return nil
}

// A crowdConn is one connection of the crowd.
type crowdConn struct {
	net.Conn
	crowd *crowdListener
	from  netip.Addr
	good  bool // a phone that was let in has asked something over it
}

func (c *crowdConn) Close() error {
	l := c.crowd
	l.mu.Lock()
	l.open = slices.DeleteFunc(l.open, func(o *crowdConn) bool { return o == c })
	l.mu.Unlock()
	return c.Conn.Close()
}

// vouch notes that a phone that was let in uses the connection.
func (c *crowdConn) vouch() {
	l := c.crowd
	l.mu.Lock()
	defer l.mu.Unlock()
	if c.good {
		return
	}
	c.good = true
	l.familiar = append(slices.DeleteFunc(l.familiar, func(a netip.Addr) bool { return a == c.from }), c.from)
	if len(l.familiar) > maxFamiliar {
		l.familiar = slices.Delete(l.familiar, 0, 1)
	}
}

// connKey is where a request's context holds its connection.
type connKey struct{}

func withConn(ctx context.Context, c net.Conn) context.Context {
	if t, ok := c.(*tls.Conn); ok {
		c = t.NetConn()
	}
	return context.WithValue(ctx, connKey{}, c)
}

func vouch(r *http.Request) {
	if c, ok := r.Context().Value(connKey{}).(*crowdConn); ok {
		c.vouch()
	}
}

// address returns the address of a peer, without its port and zone.
func address(of string) netip.Addr {
	ap, _ := netip.ParseAddrPort(of) // else: nobody's
	return ap.Addr().Unmap().WithZone("")
}

// neighbourhood is what one host can choose its addresses from.
func neighbourhood(a netip.Addr) netip.Prefix {
	bits := a.BitLen()
	if a.Is6() && !a.IsLoopback() {
		bits = 64
	}
	p, _ := a.Prefix(bits)
	return p
}
