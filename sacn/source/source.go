// Package source sends E1.31 streams: it owns the sockets, the frame clock, the
// pacing of packets inside a frame, universe discovery and the termination of
// streams. It refuses to know what the slots mean; a callback fills them.
//
// One goroutine on a thread of its own renders and sends. Another follows the
// interface (its carrier, its addresses, its very existence) and replaces the
// sockets underneath. Counters are atomic, so whoever reads them delays nothing.
package source

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/netip"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"yardproof/sacn"
)

// Config is what all streams of a source share.
type Config struct {
	CID         sacn.CID
	Name        sacn.Name
	Priority    uint8 // 0-200
	Preview     bool
	ForceSync   bool
	SyncAddress uint16 // 0: no synchronization packets

	Interface string // name; must exist, be up and have an address
	IPv6      bool
	TTL       int  // multicast hops, 1-255
	Loopback  bool // deliver to this host as well (IP_MULTICAST_LOOP); nothing does with Packet
	Packet    bool // send to groups by whole Ethernet frames (AF_PACKET): Linux only, takes CAP_NET_RAW
	Realtime  bool // send before whatever else this host computes (SCHED_FIFO), where that is permitted
	Patient   bool // open though the interface cannot carry frames yet; they go out once it can

	Rate      float64 // frames a second, from [MinRate] to [sacn.MaxRate] of the longest stream
	AllowFast bool    // the user insists on a rate above it, up to [FastestRate]
	Spread    float64 // share of the frame period that a frame's packets are spread over, 0-1

	FirstSequence uint8        // of the first frame's packets
	Log           *slog.Logger // nil: none
}

// Stream is one universe to send to one place.
type Stream struct {
	Universe uint16
	Slots    int        // 1-512
	Unicast  netip.Addr // the zero Addr: multicast to the universe's group

	// Controller tells whose streams are kept apart inside a frame, so that no
	// controller gets all of its packets in one burst. "": not known; then a
	// unicast address stands for the controller.
	Controller string
}

// Frame is one tick of the clock as the renderer sees it.
type Frame struct {
	Number   uint64    // frames since the start, skipped ones included
	Deadline time.Time // when its first packet is due
}

// Scene is a set of streams and what fills them. It is replaced as a whole.
type Scene struct {
	Streams []Stream

	// Render writes frame f into slots; slots[i] belongs to Streams[i], begins as
	// the dark frame has it and keeps what was written before. It runs before the frame's
	// deadline, on the sending goroutine, and must not block.
	Render func(f Frame, slots [][]byte)

	// Dark writes the scene's dark frame, with which a stream ends. nil: zeros.
	Dark func(slots [][]byte)
}

// Source sends a scene until it is told to stop.
type Source struct {
	cfg    Config
	period time.Duration
	env    environment
	log    *slog.Logger

	routes  *routes
	pending atomic.Pointer[show]
	started chan struct{}
	begin   sync.Once
	stats   counters

	counting sync.Mutex                   // of who counts; the counts are atomic
	counts   map[Destination]*streamCount // since the beginning; what was replaced stays
	ordered  []Destination                // of counts, as people read them; shorter: not sorted yet
	fresh    []streamCount                // not used yet; side by side, as they are written to

	// What follows belongs to the sending goroutine.
	show     *show
	leaving  []leaving
	slices   []*slice // of the present frame, in sending order
	data     uint64   // live data packets of the present frame that the kernel took
	failed   bool     // something of the present frame was not taken
	crowded  bool     // something of the last frame was not taken: begin elsewhere
	patient  bool     // the present frame may still wait for a full queue
	seq      uint8
	discover time.Time // when the next universe discovery is due
}

// Open checks the configuration and makes the sockets. Nothing is sent yet. A
// configuration or an interface that cannot serve gives a [*UsageError].
func Open(cfg Config, scene Scene) (*Source, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	state, err := cfg.checkInterface()
	if usage, ok := errors.AsType[*UsageError](err); err != nil && !(cfg.Patient && ok && usage.Link) {
		return nil, err
	}
	return open(cfg, scene, state, realEnvironment(cfg))
}

// CheckInterface tells what keeps the interface from carrying frames now, as a
// [*UsageError]; nil when nothing does.
func (s *Source) CheckInterface() error {
	_, err := s.cfg.checkInterface()
	return err
}

// open is Open with the outside world as a parameter.
func open(cfg Config, scene Scene, state linkState, env environment) (*Source, error) {
	s := &Source{
		cfg:     cfg,
		period:  time.Duration(float64(time.Second) / cfg.Rate),
		env:     env,
		log:     cfg.Log,
		started: make(chan struct{}),
		seq:     cfg.FirstSequence,
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	s.routes = &routes{dial: env.dial, all: map[netip.Addr]*route{}}
	s.counts = map[Destination]*streamCount{}
	show, err := s.prepare(scene)
	if err != nil {
		return nil, err
	}
	if state.state <= LinkNoCarrier {
		if err := s.routes.setUp(state); err != nil {
			s.routes.takeDown()
			return nil, fmt.Errorf("sending out of %s: %w", cfg.Interface, err)
		}
	}
	s.show = show
	show.begin()
	s.stats.streams.Store(int64(len(scene.Streams)))
	s.stats.groups.Store(int64(show.groups))
	s.stats.link.Store(int32(state.state))
	s.stats.epoch = time.Now()
	s.stats.sequence.Store(uint32(cfg.FirstSequence - 1)) // as if that had been sent
	return s, nil
}

// Run sends frames until ctx ends; then three dark frames and three terminated
// ones on the frame clock, and returns nil. It closes the sockets. A source runs once.
func (s *Source) Run(ctx context.Context) error {
	following, stop := context.WithCancel(context.WithoutCancel(ctx))
	var others sync.WaitGroup
	others.Go(func() { s.follow(following) })
	sent := make(chan struct{})
	go func() {
		defer close(sent)
		s.env.realtime()
		s.send(ctx)
		s.ended(s.show)
	}()
	<-sent
	stop()
	others.Wait()
	s.routes.takeDown()
	return nil
}

// Replace changes streams and renderer between two frames. Universes that are
// gone go dark for three frames and are terminated on the three after. A scene that cannot
// be sent is refused with an error, and the present one goes on. Safe for
// concurrent use.
func (s *Source) Replace(scene Scene) error {
	show, err := s.prepare(scene)
	if err != nil {
		return err
	}
	if missed := s.pending.Swap(show); missed != nil {
		s.routes.release(missed.held)
	}
	return nil
}

// Check tells whether Replace would take a scene of these streams, for those who
// must know before they make one.
func (s *Source) Check(streams []Stream) error { return s.cfg.checkStreams(streams) }

// Started is closed when the first frame has gone out.
func (s *Source) Started() <-chan struct{} { return s.started }

// Stats returns the counters as they are now. Safe for concurrent use.
func (s *Source) Stats() Stats { return s.stats.snapshot() }

// Streams returns the counters of every stream that was ever to be sent, by universe
// and destination. Safe for concurrent use.
func (s *Source) Streams() []StreamStats { return s.AppendStreams(nil) }

// AppendStreams appends what [Source.Streams] returns, for those who look every second:
// at ten thousand universes a list is most of a megabyte.
func (s *Source) AppendStreams(list []StreamStats) []StreamStats {
	s.counting.Lock()
	defer s.counting.Unlock()
	if len(s.ordered) < len(s.counts) {
		s.ordered = slices.SortedFunc(maps.Keys(s.counts), func(a, b Destination) int {
			return cmp.Or(cmp.Compare(a.Universe, b.Universe), a.Unicast.Compare(b.Unicast))
		})
	}
	list = slices.Grow(list, len(s.ordered))
	for _, to := range s.ordered {
		c := s.counts[to]
		list = append(list, StreamStats{
			Destination: to, Sent: c.sent.Load(), Failed: c.failed.Load(),
			Present: c.present.Load(), Terminated: c.terminated.Load(),
		})
	}
	return list
}

// counter returns what counts a stream; it goes on after a Replace.
func (s *Source) counter(to Destination) *streamCount {
	s.counting.Lock()
	defer s.counting.Unlock()
	c := s.counts[to]
	if c == nil {
		if len(s.fresh) == 0 {
			s.fresh = make([]streamCount, 128)
		}
		c, s.fresh = &s.fresh[0], s.fresh[1:]
		s.counts[to] = c
	}
	return c
}
