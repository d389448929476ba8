//go:build linux

package listener

import (
	"context"
	"math"
	"net"
	"net/netip"
	"testing"
	"time"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

// inside runs f on a thread that has entered a network namespace. Sockets that
// f makes stay there; goroutines that it starts do not.
func inside(t testing.TB, ns string, f func()) {
	t.Helper()
	if err := new(sacntest.Pair).Inside(ns, func() error { f(); return nil }); err != nil {
		t.Fatal(err)
	}
}

// sender sends data packets from the near end of a pair.
type sender struct {
	t    testing.TB
	conn net.PacketConn
	ipv6 bool
	d    sacn.Data
	next map[uint16]uint8
	sent int
}

func newSender(t testing.TB, ns string, v6 bool) *sender {
	t.Helper()
	if v6 {
		return senderOn(t, ns, sacntest.Interface, sacntest.NearAddr6, v6)
	}
	return senderOn(t, ns, sacntest.Interface, sacntest.NearAddr4, v6)
}

func senderOn(t testing.TB, ns, ifname, address string, v6 bool) *sender {
	t.Helper()
	s := &sender{t: t, ipv6: v6, next: make(map[uint16]uint8),
		d: sacn.Data{CID: cid(1), Name: mustName("quay laptop"), Priority: 100, Slots: make([]byte, 512)}}
	inside(t, ns, func() {
		ifi, err := net.InterfaceByName(ifname)
		if err != nil {
			t.Error(err)
			return
		}
		s.conn, err = net.ListenPacket("udp", net.JoinHostPort(address, "0"))
		switch {
		case err != nil:
		case v6:
			err = ipv6.NewPacketConn(s.conn).SetMulticastInterface(ifi)
		default:
			err = ipv4.NewPacketConn(s.conn).SetMulticastInterface(ifi)
		}
		if err != nil {
			t.Error(err)
		}
	})
	if s.conn == nil || t.Failed() {
		t.FailNow()
	}
	t.Cleanup(func() { s.conn.Close() })
	eventually(t, "a route", func() bool { // IPv6 takes a moment after an interface has come up
		_, err := s.conn.WriteTo([]byte("to nobody"), net.UDPAddrFromAddrPort(netip.AddrPortFrom(s.group(sacn.MaxUniverse), 9)))
		return err == nil
	})
	return s
}

// sendQuery sends a general membership query from the near end: IGMPv3 as RFC
// 3376 section 4.1 lays it out, MLDv2 as RFC 3810 section 5.1 does.
func sendQuery(t *testing.T, ns string, v6 bool) {
	t.Helper()
	inside(t, ns, func() {
		ifi, err := net.InterfaceByName(sacntest.Interface)
		if err != nil {
			t.Error(err)
			return
		}
		if v6 {
			c, err := net.ListenPacket("ip6:ipv6-icmp", "::")
			if err != nil {
				t.Error(err)
				return
			}
			defer c.Close()
			query := make([]byte, 28)
			query[0], query[5], query[24], query[25] = 130, 100, 2, 125
			p := ipv6.NewPacketConn(c)
			p.SetMulticastInterface(ifi)
			if _, err := p.WriteTo(query, &ipv6.ControlMessage{HopLimit: 1}, &net.IPAddr{IP: net.ParseIP("ff02::1"), Zone: ifi.Name}); err != nil {
				t.Error(err)
			}
			return
		}
		c, err := net.ListenPacket("ip4:igmp", "0.0.0.0")
		if err != nil {
			t.Error(err)
			return
		}
		defer c.Close()
		query := []byte{0x11, 100, 0, 0, 0, 0, 0, 0, 2, 125, 0, 0}
		sum := 0
		for i := 0; i < len(query); i += 2 {
			sum += int(query[i])<<8 | int(query[i+1])
		}
		sum = ^(sum>>16 + sum&0xffff)
		query[2], query[3] = byte(sum>>8), byte(sum)
		p := ipv4.NewPacketConn(c)
		p.SetMulticastInterface(ifi)
		if _, err := p.WriteTo(query, &ipv4.ControlMessage{IfIndex: ifi.Index}, &net.IPAddr{IP: net.IPv4(224, 0, 0, 1)}); err != nil {
			t.Error(err)
		}
	})
}

func (s *sender) group(universe uint16) netip.Addr {
	if s.ipv6 {
		return sacn.MulticastAddr6(universe)
	}
	return sacn.MulticastAddr4(universe)
}

// packet makes the next packet of a universe.
func (s *sender) packet(universe uint16) []byte {
	s.t.Helper()
	s.d.Universe, s.d.Sequence = universe, s.next[universe]
	s.next[universe]++
	b, err := s.d.AppendTo(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	return b
}

func (s *sender) raw(b []byte, to netip.Addr) {
	s.t.Helper()
	if _, err := s.conn.WriteTo(b, net.UDPAddrFromAddrPort(netip.AddrPortFrom(to, sacn.Port))); err != nil {
		s.t.Fatalf("send: %v", err)
	}
	s.sent++
}

func (s *sender) send(universes ...uint16) {
	for _, u := range universes {
		s.raw(s.packet(u), s.group(u))
	}
}

// running starts a listener at the far end, and returns what ends it.
func running(t testing.TB, p *sacntest.Pair, cfg Config) *Listener {
	t.Helper()
	var l *Listener
	var err error
	cfg.Interface = sacntest.Interface
	inside(t, p.Far, func() { l, err = Open(cfg) })
	if err != nil {
		t.Fatal(err)
	}
	run(t, l.Run)
	return l
}

// run runs a task until the test ends, and fails the test with its error.
func run(t testing.TB, task func(context.Context) error) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- task(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

func eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	sacntest.Eventually(t, 10*time.Second, what, holds)
}

func streamsOf(r Report) []Stream {
	var all []Stream
	for _, src := range r.Sources {
		all = append(all, src.Streams...)
	}
	return all
}

func packets(r Report) (n, lost uint64) {
	for _, s := range streamsOf(r) {
		n, lost = n+s.Packets, lost+s.Lost
	}
	return n, lost
}

func families(t *testing.T, f func(t *testing.T, v6 bool)) {
	t.Run("IPv4", func(t *testing.T) { f(t, false) })
	t.Run("IPv6", func(t *testing.T) { f(t, true) })
}

func TestListener(t *testing.T) {
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		universes := make([]uint16, 50) // three holding sockets
		for i := range universes {
			universes[i] = uint16(i+1) * 1200
		}
		l := running(t, p, Config{IPv6: v6, Universes: universes})
		s := newSender(t, p.Near, v6)
		for range 40 {
			s.send(universes...)
		}
		foreign := s.packet(universes[0])
		s.raw(foreign, s.group(universes[1]))
		s.raw(make([]byte, 1400), s.group(universes[1]))
		pages, err := sacn.DiscoveryPages(cid(1), s.d.Name, universes)
		if err != nil {
			t.Fatal(err)
		}
		s.raw(pages[0], s.group(sacn.DiscoveryUniverse))
		eventually(t, "all packets", func() bool { r := l.Snapshot(); return len(r.Sources) > 0 && r.Sources[0].Announces })
		r := l.Snapshot()
		n, lost := packets(r)
		if n != 2001 || lost != 0 || len(r.Sources) != 1 || len(r.Sources[0].Streams) != 50 || r.Malformed[ReasonGroup] != 1 || r.MalformedTotal() != 2 || r.LocalDrops != 0 {
			t.Errorf("%d packets, %d lost, malformed %v, local drops %d", n, lost, r.Malformed, r.LocalDrops)
		}
		near := sacntest.NearAddr4
		if v6 {
			near = sacntest.NearAddr6
		}
		if r.Sources[0].Address.String() != near || r.Sources[0].Announced.Len() != 50 {
			t.Errorf("%+v", r.Sources[0])
		}
		if !r.Socket.DropsKnown || r.Socket.Buffer < minBuffer || !r.Querier.Known {
			t.Errorf("socket %+v, querier %+v", r.Socket, r.Querier)
		}
	})
}

func TestSecondSource(t *testing.T) {
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		l := running(t, p, Config{IPv6: v6, Universes: []uint16{1, 2, 3}})
		ours, theirs := newSender(t, p.Near, v6), newSender(t, p.Near, v6)
		theirs.d.CID, theirs.d.Name = cid(2), mustName("show computer")
		ours.send(1, 2, 3)
		for universe, priority := range map[uint16]uint8{1: 99, 2: 100, 3: 101} {
			theirs.d.Priority = priority
			theirs.send(universe)
		}
		eventually(t, "three conflicts", func() bool { return len(l.Snapshot().Conflicts) == 3 })
		c := l.Snapshot().Conflicts
		if c[0].Winner != cid(1) || c[0].Tie || !c[1].Tie || c[2].Winner != cid(2) || c[2].Tie {
			t.Errorf("%+v", c)
		}
	})
}

// From the kernel to the counts, nothing is allocated for a packet. What else goes
// on in this process allocates now and then, but not in every round.
func TestAllocReceive(t *testing.T) {
	families(t, func(t *testing.T, v6 bool) {
		p := sacntest.NewPair(t)
		universes := []uint16{1, 2, 3, 4}
		var l *Listener
		var err error
		inside(t, p.Far, func() { l, err = Open(Config{Interface: sacntest.Interface, IPv6: v6, Universes: universes}) })
		if err != nil {
			t.Fatal(err)
		}
		s := newSender(t, p.Near, v6)
		const rounds, runs = 4, 3
		for range (rounds*(runs+1) + 2) * batchLen / len(universes) {
			s.send(universes...)
		}
		receive := func() {
			idle := 0
			for n := 0; n < batchLen; n += l.sock.n {
				if err := l.sock.read(); err != nil {
					t.Fatal(err)
				}
				if l.sock.n == 0 {
					if idle++; idle == 100 { // of readTimeout
						t.Fatal("the packets do not come")
					}
				}
				l.sock.deliver(l.tracker)
			}
		}
		receive() // the streams begin
		least := math.Inf(1)
		for range rounds {
			least = min(least, testing.AllocsPerRun(runs, receive))
		}
		if least != 0 {
			t.Errorf("%v allocations for %d packets", least, batchLen)
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if err := l.Run(ctx); err != nil { // closes everything
			t.Error(err)
		}
	})
}
