package listener

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	"yardproof/sacn"
)

// Config says where a listener listens.
type Config struct {
	Interface string
	IPv6      bool
	Universes []uint16     // to join; discovery is always joined
	Except    sacn.CID     // our own source, left out where it is this host that sends; zero: none
	Log       *slog.Logger // nil: the default one
}

// Receive buffer, in octets as the kernel counts them: 638 octets of payload
// cost up to 2304 with their bookkeeping (measured on veth).
const (
	octetsPerPacket = 2304
	minBuffer       = 16 << 20
	maxBuffer       = 64 << 20
	bufferPackets   = 10 // of each universe: a quarter of a second at 40 Hz
)

// wantedBuffer is the receive buffer to ask for.
func wantedBuffer(universes int) int {
	return min(max(minBuffer, bufferPackets*octetsPerPacket*universes), maxBuffer)
}

// Listener receives on one interface and keeps the counts.
type Listener struct {
	cfg     Config
	log     *slog.Logger
	sock    *socket
	held    *memberships // follow's, once it runs
	querier *querier
	since   time.Time

	mu      sync.Mutex // guards the rest
	ifi     *net.Interface
	tracker *Tracker
	state   SocketState
	deaf    string // why nothing can be heard now; "": it can
}

// SocketState is how well the host itself can receive.
type SocketState struct {
	Buffer     int  // octets the kernel granted
	Asked      int  // octets it was asked for, before it doubles them
	Needed     int  // octets that one packet of every universe takes, all at once
	DropsKnown bool // the kernel tells what the socket drops
}

// Report is what a listener knows at one moment.
type Report struct {
	Snapshot
	Interface string
	Since     time.Time
	Socket    SocketState
	Querier   QuerierState
	DeafNow   string // why nothing can be heard now: the interface is "gone", "down" or "without carrier"; "": it can
}

// Open binds the socket and joins the groups. Errors name the universe, the
// setting and the command that raises it, where a limit of the system is hit.
func Open(cfg Config) (*Listener, error) {
	all := new(UniverseSet)
	for _, u := range cfg.Universes {
		all.Add(u)
	}
	return openFor(cfg, all)
}

// openFor is Open with another set of universes to follow than to join.
func openFor(cfg Config, follow *UniverseSet) (*Listener, error) {
	l := &Listener{cfg: cfg, log: cfg.Log, since: time.Now(), tracker: NewTracker(TrackerConfig{Universes: follow, Except: cfg.Except, Local: newLocalAddresses(Addresses).has})}
	if l.log == nil {
		l.log = slog.Default()
	}
	var err error
	if l.ifi, err = findInterface(cfg.Interface); err != nil {
		return nil, err
	}
	l.state.Needed = min(octetsPerPacket*max(len(cfg.Universes), 1), 2*maxBuffer) // the kernel doubles what it is asked for
	l.state.Asked = wantedBuffer(len(cfg.Universes))
	l.sock, err = open(l.ifi, cfg.IPv6, l.state.Asked)
	if err != nil {
		return nil, fmt.Errorf("listen on %s: %w", cfg.Interface, err)
	}
	if l.held, err = join(l.sock, l.ifi, cfg.IPv6, l.groups()); err != nil {
		l.sock.close()
		return nil, err
	}
	rcvbuf, _, err := l.sock.meminfo()
	l.state.Buffer, l.state.DropsKnown = int(rcvbuf), err == nil
	if err == nil && l.state.Buffer < l.state.Needed {
		l.log.Warn("the receive buffer is small for so many universes: packets may be dropped by this host; raise the limit with sysctl -w net.core.rmem_max="+fmt.Sprint(l.state.Asked),
			"octets", l.state.Buffer, "needed", l.state.Needed, "universes", len(cfg.Universes))
	}
	l.querier = openQuerier(l.ifi, cfg.IPv6)
	return l, nil
}

// Run receives until ctx ends; then it leaves all groups and returns nil.
func (l *Listener) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	var tasks sync.WaitGroup
	defer func() {
		cancel()
		tasks.Wait()
		l.held.close()
		l.sock.close()
	}()
	tasks.Go(func() { l.poll(ctx) })
	tasks.Go(func() { l.follow(ctx) })
	tasks.Go(func() { l.querier.run(ctx) })
	for ctx.Err() == nil {
		if err := l.sock.read(); err != nil {
			return fmt.Errorf("receive on %s: %w", l.cfg.Interface, err)
		}
		l.mu.Lock()
		l.sock.deliver(l.tracker)
		l.mu.Unlock()
		l.sock.pause()
	}
	return nil
}

// poll asks each second what the socket itself has dropped. The kernel could
// also say so beside the next datagram, but late and without a universe.
func (l *Listener) poll(ctx context.Context) {
	if !l.state.DropsKnown {
		return
	}
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	var before uint32
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		_, drops, err := l.sock.meminfo()
		if err != nil {
			l.log.Warn("ask the socket for its drops", "err", err)
			return
		}
		fresh := drops - before // modulo 2^32, as the kernel counts
		before = drops
		if fresh > 0 {
			l.log.Warn("this host dropped packets on receipt: local, not the wire", "packets", fresh)
		}
		l.mu.Lock()
		l.tracker.LocalDrops(uint64(fresh))
		l.mu.Unlock()
	}
}

// followEvery is how often a listener looks whether its interface is still there.
const followEvery = 250 * time.Millisecond

// follow keeps the memberships in step with the interface, which may go and come
// back as another one, until ctx ends. A line says that nothing can be heard, and
// one that it can again.
func (l *Listener) follow(ctx context.Context) {
	tick := time.NewTicker(followEvery)
	defer tick.Stop()
	gone := false // since the groups were joined: they went with it, whatever its index is now
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		index, why := l.sock.presence(l.cfg.Interface)
		gone = gone || index == 0
		if why == "" && (gone || index != l.present().Index) {
			if err := l.rejoin(&net.Interface{Index: index, Name: l.cfg.Interface}); err != nil {
				why = err.Error()
			} else {
				gone = false
			}
		}
		l.mu.Lock()
		was := l.deaf
		l.deaf = why
		l.tracker.Deaf(why != "", time.Now())
		l.mu.Unlock()
		switch {
		case why == "" && was != "":
			l.log.Info("the interface can be heard again", "interface", l.cfg.Interface)
		case why != "" && was == "":
			l.log.Warn("nothing can be heard: what is missed now is no stream's fault", "interface", l.cfg.Interface, "state", why)
		}
	}
}

// present returns the interface that is listened on.
func (l *Listener) present() *net.Interface {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.ifi
}

// rejoin joins all groups on the interface that has come in place of the last.
func (l *Listener) rejoin(ifi *net.Interface) error {
	l.held.close()
	held, err := join(l.sock, ifi, l.cfg.IPv6, l.groups())
	if err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.held, l.ifi = held, ifi
	l.sock.move(ifi)
	l.querier.move(ifi)
	return nil
}

// groups are the universes to join.
func (l *Listener) groups() []uint16 {
	return append([]uint16{sacn.DiscoveryUniverse}, l.cfg.Universes...)
}

// Snapshot returns what is known now. Safe for concurrent use.
func (l *Listener) Snapshot() Report {
	q := l.querier.state()
	l.mu.Lock()
	defer l.mu.Unlock()
	return Report{
		Snapshot:  l.tracker.Snapshot(time.Now()),
		Interface: l.cfg.Interface, Since: l.since, Socket: l.state, Querier: q, DeafNow: l.deaf,
	}
}
