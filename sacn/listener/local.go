package listener

import (
	"net"
	"net/netip"
	"sync"
	"time"
)

// localAddresses are those of this host. One that was is kept: packets from it may
// be on their way. It is safe for concurrent use.
type localAddresses struct {
	read func() []netip.Addr

	mu      sync.Mutex
	ours    map[netip.Addr]bool
	foreign netip.Addr // the latest one that was found not to be ours
	asked   time.Time
}

// askEvery bounds how often strangers can make us ask for the addresses.
const askEvery = 250 * time.Millisecond

func newLocalAddresses(read func() []netip.Addr) *localAddresses {
	l := &localAddresses{read: read, ours: make(map[netip.Addr]bool)}
	l.refresh(time.Now())
	return l
}

func (l *localAddresses) refresh(now time.Time) {
	l.asked = now
	for _, a := range l.read() {
		l.ours[a] = true
	}
}

// has reports whether an address is ours. In doubt it is: an address that came
// just now is not somebody else's. A host that has no address sends to itself from
// the unspecified one, which no other may (RFC 1122, 3.2.1.3 a).
func (l *localAddresses) has(a netip.Addr) bool {
	if a = a.Unmap().WithZone(""); a.IsUnspecified() {
		return true
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.ours[a] {
		return true
	}
	now := time.Now()
	if now.Sub(l.asked) < askEvery {
		return a != l.foreign
	}
	l.refresh(now)
	if l.ours[a] {
		return true
	}
	l.foreign = a
	return false
}

// Addresses are those of this host; none when the system does not tell.
func Addresses() []netip.Addr {
	list, _ := net.InterfaceAddrs() // none: those that are known stay
	var out []netip.Addr
	for _, n := range list {
		if p, err := netip.ParsePrefix(n.String()); err == nil {
			out = append(out, p.Addr().Unmap().WithZone(""))
		}
	}
	return out
}
