package listener

import (
	"container/list"
	"net/netip"
	"time"

	"yardproof/sacn"
)

// Arrival is how a packet came in.
type Arrival struct {
	At        time.Time  // when; the kernel's stamp where there is one
	Rough     bool       // the wall clock was stepped meanwhile: At is good for timeouts only
	From      netip.Addr // the sender
	Group     netip.Addr // the destination, if multicast; else the zero Addr
	Truncated bool       // longer than any E1.31 packet
}

// ReasonGroup is the reason for a packet that came in on the group of another
// universe, beside those of [sacn.DecodeErrors].
const ReasonGroup = "group"

// Limits of a tracker, which keep floods of forged CIDs from filling memory.
const (
	DefaultMaxSources = 1024
	DefaultMaxStreams = 1 << 17 // each some 300 octets
)

// TrackerConfig says what a tracker follows.
type TrackerConfig struct {
	Universes  *Set     // nil: all
	Only       sacn.CID // follow this source alone; zero: all
	Except     sacn.CID // leave out this source, our own; zero: none
	MaxSources int      // 0: DefaultMaxSources
	MaxStreams int      // sources times universes; 0: DefaultMaxStreams
}

// Tracker counts packets per source and universe. It neither reads a clock nor
// a socket, allocates nothing for a packet of a stream it knows, and is not
// safe for concurrent use.
type Tracker struct {
	cfg TrackerConfig

	sources   map[sacn.CID]*list.Element // of *source
	recent    *list.List                 // the latest heard first
	nextID    uint32
	streams   map[uint64]*stream
	universes map[uint16]*universe
	syncs     map[uint64]*syncs

	malformed        [16]uint64 // by sacn.DecodeError; 0 is ReasonGroup
	unasked          uint64
	evicted, refused uint64

	epoch      uint32 // counts the polls of the socket's drops
	dropping   bool   // the interval before this one had drops
	localDrops uint64

	conflicts  int       // remembered
	contenders []*stream // scratch

	data      sacn.Data // here, so that they are not allocated
	sync      sacn.Sync
	discovery sacn.Discovery
}

// universe is who sends on a universe.
type universe struct {
	streams  []*stream
	conflict *conflict
}

// syncs is the synchronization packets of one source on one address.
type syncs struct {
	seq           sequence
	packets, lost uint64
	heard         time.Time
}

// NewTracker returns an empty tracker.
func NewTracker(cfg TrackerConfig) *Tracker {
	if cfg.MaxSources == 0 {
		cfg.MaxSources = DefaultMaxSources
	}
	if cfg.MaxStreams == 0 {
		cfg.MaxStreams = DefaultMaxStreams
	}
	return &Tracker{
		cfg:       cfg,
		sources:   make(map[sacn.CID]*list.Element),
		recent:    list.New(),
		streams:   make(map[uint64]*stream),
		universes: make(map[uint16]*universe),
		syncs:     make(map[uint64]*syncs),
	}
}

// Packet takes the payload of a UDP datagram, whatever it is.
func (t *Tracker) Packet(b []byte, a Arrival) {
	if a.Truncated {
		t.malformed[sacn.ErrLength]++
		return
	}
	kind, err := sacn.KindOf(b)
	if err == nil {
		switch kind {
		case sacn.KindData:
			if err = t.data.Decode(b); err == nil {
				t.dataPacket(&t.data, &a)
			}
		case sacn.KindSync:
			if err = t.sync.Decode(b); err == nil {
				t.syncPacket(&t.sync, &a)
			}
		case sacn.KindDiscovery:
			if err = t.discovery.Decode(b); err == nil {
				t.discoveryPacket(&t.discovery, &a)
			}
		}
	}
	if reason, ok := err.(sacn.DecodeError); ok { // never wrapped by a decoder; errors.As would allocate
		t.malformed[reason]++
	}
}

// wanted reports whether a packet is to be counted at all: it came in on the
// group of its universe (9.3.1, 9.3.2) or by unicast, it is from a source that
// is followed, and its universe was asked for. The last matters because a
// socket also hears the groups that other programs of the host have joined.
func (t *Tracker) wanted(cid sacn.CID, universe uint16, group netip.Addr) bool {
	if t.cfg.Only != (sacn.CID{}) && cid != t.cfg.Only || t.cfg.Except != (sacn.CID{}) && cid == t.cfg.Except {
		return false
	}
	if group.IsValid() {
		if u, ok := sacn.GroupUniverse(group); !ok || u != universe {
			t.malformed[0]++
			return false
		}
	}
	if t.cfg.Universes != nil && universe != sacn.DiscoveryUniverse && !t.cfg.Universes.Has(universe) {
		t.unasked++
		return false
	}
	return true
}

func key(src *source, universe uint16) uint64 { return uint64(src.id)<<16 | uint64(universe) }

func (t *Tracker) dataPacket(d *sacn.Data, a *Arrival) {
	if !t.wanted(d.CID, d.Universe, a.Group) {
		return
	}
	src := t.source(d.CID, a)
	if src == nil {
		return
	}
	s := t.streams[key(src, d.Universe)]
	if s == nil {
		if !t.room(src, a.At) {
			return
		}
		s = &stream{source: src, universe: d.Universe}
		t.streams[key(src, d.Universe)] = s
		src.streams = append(src.streams, s)
		u := t.universes[d.Universe]
		if u == nil {
			u = new(universe)
			t.universes[d.Universe] = u
		}
		u.streams = append(u.streams, s)
	}
	if src.name != d.Name {
		src.name = d.Name
	}
	if s.lastEpoch != t.epoch {
		s.lastEpoch, s.epochLost = t.epoch, 0
	}
	if s.packet(d, a) {
		t.contend(d.Universe, a.At)
	}
}

func (t *Tracker) syncPacket(p *sacn.Sync, a *Arrival) {
	if !t.wanted(p.CID, p.Address, a.Group) {
		return
	}
	src := t.source(p.CID, a)
	if src == nil {
		return
	}
	k := key(src, p.Address)
	s := t.syncs[k]
	if s == nil {
		if !t.room(src, a.At) {
			return
		}
		s = new(syncs)
		t.syncs[k] = s
		src.syncs = append(src.syncs, k)
	}
	if s.packets == 0 || a.At.Sub(s.heard) > sacn.DataLossTimeout {
		s.seq.start(p.Sequence)
	} else {
		_, _, missing := s.seq.next(p.Sequence)
		s.lost = uint64(int64(s.lost) + int64(missing))
	}
	s.packets++
	s.heard = a.At
}

func (t *Tracker) discoveryPacket(d *sacn.Discovery, a *Arrival) {
	if !t.wanted(d.CID, sacn.DiscoveryUniverse, a.Group) {
		return
	}
	src := t.source(d.CID, a)
	if src == nil {
		return
	}
	if src.name != d.Name {
		src.name = d.Name
	}
	if src.pages == nil {
		src.pages = new(pages)
	}
	src.pages.page(d, a.At)
}

// source finds the source of a packet, or makes it. It is nil when there is no
// room.
func (t *Tracker) source(cid sacn.CID, a *Arrival) *source {
	if e := t.sources[cid]; e != nil {
		src := e.Value.(*source)
		src.heard = a.At
		if src.address != a.From {
			src.address = a.From
			src.moved++
		}
		t.recent.MoveToFront(e)
		return src
	}
	if len(t.sources) >= t.cfg.MaxSources && !t.evict(nil, a.At) {
		t.refused++
		return nil
	}
	t.nextID++
	src := &source{cid: cid, id: t.nextID, address: a.From, heard: a.At}
	t.sources[cid] = t.recent.PushFront(src)
	return src
}

// room makes sure that one more stream may be kept for src.
func (t *Tracker) room(src *source, now time.Time) bool {
	if len(t.streams)+len(t.syncs) < t.cfg.MaxStreams || t.evict(src, now) {
		return true
	}
	t.refused++
	return false
}

// evict forgets the source that has been silent longest. One that is heard is
// never given up for one that is new: a flood of forged CIDs must not wipe out
// what is being measured.
func (t *Tracker) evict(except *source, now time.Time) bool {
	e := t.recent.Back()
	if e == nil {
		return false
	}
	src := e.Value.(*source)
	if src == except || now.Sub(src.heard) <= sacn.DataLossTimeout {
		return false
	}
	for _, s := range src.streams {
		delete(t.streams, key(src, s.universe))
		u := t.universes[s.universe]
		for i := range u.streams {
			if u.streams[i] == s {
				u.streams = append(u.streams[:i], u.streams[i+1:]...)
				break
			}
		}
		if len(u.streams) == 0 && u.conflict == nil {
			delete(t.universes, s.universe)
		}
	}
	for _, k := range src.syncs {
		delete(t.syncs, k)
	}
	delete(t.sources, src.cid)
	t.recent.Remove(e)
	t.evicted++
	return true
}

// LocalDrops takes how many packets the receiving socket itself has dropped
// since the last call, which is to be made every second or so. Loss that was
// noticed in that interval, or in the one after a drop, may be this host's and
// not the wire's; which universes were hit, the kernel does not say.
func (t *Tracker) LocalDrops(n uint64) {
	if n > 0 || t.dropping {
		for _, s := range t.streams {
			if s.lastEpoch == t.epoch {
				s.lostLocal += uint64(s.epochLost)
			}
		}
	}
	t.dropping = n > 0
	t.localDrops += n
	t.epoch++
}
