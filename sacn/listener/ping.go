package listener

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/netip"
	"os"
	"sync"
	"time"

	"golang.org/x/net/icmp"
	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
)

// PingConfig says which hosts to ask for an echo.
type PingConfig struct {
	Targets  []netip.Addr
	Interval time.Duration // between two requests to one host; 0: 5 s
	Timeout  time.Duration // 0: 1 s; must be shorter than the interval
	Log      *slog.Logger  // nil: the default one
}

// PingTarget is what is known of one host. That it does not answer proves
// nothing: some controllers never do.
type PingTarget struct {
	Address  netip.Addr
	Sent     uint64
	Received uint64
	Lost     uint64        // not answered within the timeout, or not to be sent
	RTT      time.Duration // the latest; 0: none yet
	LastSeen time.Time     // zero: never
	Answers  bool          // the latest request was answered
}

// Ping asks hosts for ICMP echoes, each at its own moment of the interval.
type Ping struct {
	cfg  PingConfig
	log  *slog.Logger
	v4   *echoSocket // nil: no such target
	v6   *echoSocket
	mu   sync.Mutex
	all  []*pingTarget
	from map[netip.Addr]*pingTarget
}

type pingTarget struct {
	PingTarget
	sequence uint16
	waiting  bool // for the answer to sequence
	unsent   bool // the latest request could not be sent, which has been logged
	missed   int  // requests without an answer since the latest that had one
	silent   bool // it answered before and does not now, which has been logged
	sent     time.Time
}

// echoSocket is an ICMP socket of one family.
type echoSocket struct {
	conn     *icmp.PacketConn
	datagram bool // the kernel sets the identifier and sorts the replies
	id       int
	ipv6     bool
}

// OpenPing makes the sockets: datagram sockets where the kernel allows them,
// raw ones otherwise. Its error says how to allow either.
func OpenPing(cfg PingConfig) (*Ping, error) {
	if cfg.Interval == 0 {
		cfg.Interval = 5 * time.Second
	}
	if cfg.Timeout == 0 {
		cfg.Timeout = time.Second
	}
	if cfg.Timeout >= cfg.Interval {
		return nil, fmt.Errorf("a timeout of %v is not shorter than the interval, %v", cfg.Timeout, cfg.Interval)
	}
	p := &Ping{cfg: cfg, log: cfg.Log, from: make(map[netip.Addr]*pingTarget)}
	if p.log == nil {
		p.log = slog.Default()
	}
	for _, a := range cfg.Targets {
		a = a.Unmap()
		if p.from[a.WithZone("")] != nil {
			continue
		}
		sock := &p.v4
		if a.Is6() {
			sock = &p.v6
		}
		if *sock == nil {
			var err error
			if *sock, err = openEcho(a.Is6()); err != nil {
				p.close()
				return nil, err
			}
		}
		t := &pingTarget{PingTarget: PingTarget{Address: a}}
		p.all = append(p.all, t)
		p.from[a.WithZone("")] = t
	}
	return p, nil
}

func openEcho(v6 bool) (*echoSocket, error) {
	s := &echoSocket{datagram: true, id: rand.IntN(1 << 16), ipv6: v6}
	datagram, raw, any := "udp4", "ip4:icmp", "0.0.0.0"
	if v6 {
		datagram, raw, any = "udp6", "ip6:ipv6-icmp", "::"
	}
	var err error
	if s.conn, err = icmp.ListenPacket(datagram, any); err == nil {
		return s, nil
	}
	s.datagram = false
	raws, rawErr := icmp.ListenPacket(raw, any)
	if rawErr == nil {
		s.conn = raws
		return s, nil
	}
	return nil, fmt.Errorf("asking for an echo: %w; allow it with sysctl -w net.ipv4.ping_group_range=\"0 2147483647\", or give the program CAP_NET_RAW", err)
}

func (p *Ping) close() {
	for _, s := range []*echoSocket{p.v4, p.v6} {
		if s != nil {
			s.conn.Close()
		}
	}
}

// Run asks until ctx ends, and returns nil then.
func (p *Ping) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	var tasks sync.WaitGroup
	errs := make(chan error, 2)
	for _, s := range []*echoSocket{p.v4, p.v6} {
		if s == nil {
			continue
		}
		stop := context.AfterFunc(ctx, func() { s.conn.SetReadDeadline(time.Unix(1, 0)) })
		defer stop()
		tasks.Go(func() {
			if err := p.receive(ctx, s); err != nil {
				errs <- err
				cancel()
			}
		})
	}
	p.ask(ctx)
	cancel()
	tasks.Wait()
	p.close()
	select {
	case err := <-errs:
		return err
	default:
		return nil
	}
}

// ask sends to one target after the other, so that all have had a turn when
// the interval is over.
func (p *Ping) ask(ctx context.Context) {
	if len(p.all) == 0 {
		<-ctx.Done()
		return
	}
	tick := time.NewTicker(p.cfg.Interval / time.Duration(len(p.all)))
	defer tick.Stop()
	for i := 0; ; i = (i + 1) % len(p.all) {
		p.request(p.all[i])
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// request sends an echo request, after writing off the one before if it was
// never answered.
func (p *Ping) request(t *pingTarget) {
	sock, kind := p.v4, icmp.Type(ipv4.ICMPTypeEcho)
	if t.Address.Is6() {
		sock, kind = p.v6, ipv6.ICMPTypeEchoRequest
	}
	p.mu.Lock()
	if t.waiting {
		t.giveUp()
	}
	p.tell(t)
	t.sequence++
	msg := icmp.Message{Type: kind, Body: &icmp.Echo{ID: sock.id, Seq: int(t.sequence), Data: []byte("yardproof")}}
	t.sent, t.waiting = time.Now(), true
	t.Sent++
	p.mu.Unlock()

	b, err := msg.Marshal(nil) // the kernel fills in the checksum of IPv6
	if err == nil {
		_, err = sock.conn.WriteTo(b, sock.addr(t.Address))
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if err != nil && t.waiting {
		t.giveUp()
		if !t.unsent {
			p.log.Warn("no echo can be asked for", "of", t.Address, "error", err)
		}
	}
	t.unsent = err != nil
}

func (s *echoSocket) addr(a netip.Addr) net.Addr {
	if s.datagram {
		return &net.UDPAddr{IP: a.AsSlice(), Zone: a.Zone()}
	}
	return &net.IPAddr{IP: a.AsSlice(), Zone: a.Zone()}
}

// receive reads replies until ctx ends.
func (p *Ping) receive(ctx context.Context, s *echoSocket) error {
	protocol, want := 1, icmp.Type(ipv4.ICMPTypeEchoReply) // IANA protocol numbers of ICMP and ICMPv6
	if s.ipv6 {
		protocol, want = 58, ipv6.ICMPTypeEchoReply
	}
	b := make([]byte, 1500)
	for {
		n, from, err := s.conn.ReadFrom(b)
		now := time.Now()
		if ctx.Err() != nil {
			return nil
		}
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return nil
		}
		if err != nil {
			// A socket reports here what became of earlier requests: host unreachable, say.
			if _, ok := errors.AsType[*net.OpError](err); ok && !errors.Is(err, net.ErrClosed) {
				time.Sleep(10 * time.Millisecond)
				continue
			}
			return fmt.Errorf("receive ICMP echo replies: %w", err)
		}
		msg, err := icmp.ParseMessage(protocol, b[:n])
		if err != nil || msg.Type != want {
			continue
		}
		if echo, ok := msg.Body.(*icmp.Echo); ok && (s.datagram || echo.ID == s.id) {
			p.reply(addrOf(from), uint16(echo.Seq), now)
		}
	}
}

func addrOf(a net.Addr) netip.Addr {
	var ip net.IP
	switch a := a.(type) {
	case *net.UDPAddr:
		ip = a.IP
	case *net.IPAddr:
		ip = a.IP
	}
	addr, _ := netip.AddrFromSlice(ip)
	return addr.Unmap()
}

func (p *Ping) reply(from netip.Addr, sequence uint16, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	t := p.from[from]
	if t == nil || !t.waiting || t.sequence != sequence {
		return
	}
	rtt := now.Sub(t.sent)
	if rtt > p.cfg.Timeout {
		t.giveUp()
		return
	}
	t.waiting, t.Answers = false, true
	t.Received++
	t.RTT, t.LastSeen, t.missed = rtt, now, 0
	p.tell(t)
}

// tell says in a line that a host which has answered does not any more, and in another
// that it does again. One request may be lost; some hosts never answer.
func (p *Ping) tell(t *pingTarget) {
	const some = 2
	switch {
	case t.missed >= some && t.Received > 0 && !t.silent:
		t.silent = true
		p.log.Warn("a controller no longer answers; it, its cable or its address may be gone", "address", t.Address, "answered", t.LastSeen.Format(time.TimeOnly))
	case t.missed == 0 && t.silent:
		t.silent = false
		p.log.Info("the controller answers again", "address", t.Address)
	}
}

// Snapshot returns what is known now, in the order of the targets. Safe for
// concurrent use.
func (p *Ping) Snapshot() []PingTarget {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	out := make([]PingTarget, len(p.all))
	for i, t := range p.all {
		if t.waiting && now.Sub(t.sent) > p.cfg.Timeout {
			t.giveUp()
		}
		out[i] = t.PingTarget
	}
	return out
}

// giveUp counts the request that is waited for as lost.
func (t *pingTarget) giveUp() {
	t.waiting, t.Answers = false, false
	t.Lost++
	t.missed++
}
