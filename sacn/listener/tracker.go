package listener

import (
	"container/list"
	"net/netip"
	"time"

	"yardproof/sacn"
)

// Arrival is how a packet came in.
type Arrival struct {
	At           time.Time  // when; the kernel's stamp where there is one
	ClockStepped bool       // the wall clock was stepped meanwhile: At is good for timeouts only
	From         netip.Addr // the sender
	Group        netip.Addr // the destination, if multicast; else the zero Addr
	Truncated    bool       // longer than any E1.31 packet
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
	Universes  *UniverseSet          // nil: all
	Only       sacn.CID              // follow this source alone; zero: all
	Except     sacn.CID              // leave out this source, our own; zero: none
	Local      func(netip.Addr) bool // whether an address is this host's, from which alone Only and Except send; nil: from any
	MaxSources int                   // 0: DefaultMaxSources
	MaxStreams int                   // sources times universes; 0: DefaultMaxStreams
}

// Tracker counts packets per source and universe. It neither reads a clock nor
// a socket, allocates nothing for a packet of a stream it knows, and is not
// safe for concurrent use.
type Tracker struct {
	cfg TrackerConfig

	base      time.Time            // arrival of the first packet
	sources   map[sacn.CID]*source // the newest of each CID
	known     int                  // sources
	recent    *list.List           // of *source, the latest heard first
	nextID    uint32
	universes [256]*[256]universe // by high and low octet
	streams   int                 // in them
	syncs     map[uint64]*syncs   // by key

	malformed        [sacn.ErrPage + 1]uint64 // by sacn.DecodeError
	wrongGroup       uint64
	unasked          uint64
	evicted, refused uint64

	deaf      bool          // nothing can be heard now
	deafSince moment        // if so
	deafTime  time.Duration // finished times of it

	epoch      uint32 // counts the polls of the socket's drops
	dropping   bool   // the interval before this one had drops
	localDrops uint64

	conflicts  int               // remembered
	contenders []*stream         // scratch
	sharing    map[sacn.CID]bool // scratch

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
	heard         moment
	resumes       bool // the count is not known to go on
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
		cfg:     cfg,
		sources: make(map[sacn.CID]*source),
		sharing: make(map[sacn.CID]bool),
		recent:  list.New(),
		syncs:   make(map[uint64]*syncs),
	}
}

// Packet takes the payload of a UDP datagram, whatever it is.
func (t *Tracker) Packet(b []byte, a Arrival) {
	if t.base.IsZero() {
		t.base = a.At
	}
	if a.Truncated {
		t.malformed[sacn.ErrLength]++
		return
	}
	kind, err := sacn.PacketTypeOf(b)
	if err == nil {
		switch kind {
		case sacn.DataPacket:
			if err = t.data.Decode(b); err == nil {
				t.dataPacket(&t.data, &a, a.At.Sub(t.base))
			}
		case sacn.SyncPacket:
			if err = t.sync.Decode(b); err == nil {
				t.syncPacket(&t.sync, &a, a.At.Sub(t.base))
			}
		case sacn.DiscoveryPacket:
			if err = t.discovery.Decode(b); err == nil {
				t.discoveryPacket(&t.discovery, &a, a.At.Sub(t.base))
			}
		}
	}
	if reason, ok := err.(sacn.DecodeError); ok { // never wrapped by a decoder; errors.As would allocate
		t.malformed[reason]++
	}
}

// wanted reports whether a packet is to be counted at all: it is from a source
// that is followed, and its universe was asked for. A socket also hears the groups
// that other programs of the host have joined: their universes are left aside. The
// universe is the one in the packet, never that of the group (6.2.7): a packet on
// the group of another counts, and the fault of its sender is counted beside it.
func (t *Tracker) wanted(cid sacn.CID, universe uint16, a *Arrival) bool {
	if t.cfg.Only != (sacn.CID{}) && !t.sentBy(t.cfg.Only, cid, a.From) || t.cfg.Except != (sacn.CID{}) && t.sentBy(t.cfg.Except, cid, a.From) {
		return false
	}
	if a.Group.IsValid() {
		if cameFor, ours := sacn.GroupUniverse(a.Group); !ours || cameFor != universe {
			t.wrongGroup++
		}
	}
	if t.cfg.Universes != nil && universe != sacn.DiscoveryUniverse && !t.cfg.Universes.Has(universe) {
		t.unasked++
		return false
	}
	return true
}

// sentBy reports whether a packet is from a source of this host.
func (t *Tracker) sentBy(own, cid sacn.CID, from netip.Addr) bool {
	return cid == own && (t.cfg.Local == nil || t.cfg.Local(from))
}

// universe returns what is kept of a universe.
func (t *Tracker) universe(number uint16) *universe {
	page := &t.universes[number>>8]
	if *page == nil {
		*page = new([256]universe)
	}
	return &(*page)[number&0xff]
}

// of returns the stream of a source, or nil. There are hardly ever two to
// choose from.
func (u *universe) of(src *source) *stream {
	for _, s := range u.streams {
		if s.source == src {
			return s
		}
	}
	return nil
}

// key is for the synchronization packets of a source on an address.
func key(src *source, universe uint16) uint64 { return uint64(src.id)<<16 | uint64(universe) }

func (t *Tracker) dataPacket(d *sacn.Data, a *Arrival, now moment) {
	if !t.wanted(d.CID, d.Universe, a) {
		return
	}
	src := t.source(d.CID, a.From, now)
	if src == nil {
		return
	}
	u := t.universe(d.Universe)
	s := u.of(src)
	if s == nil {
		if !t.room(src, now) {
			return
		}
		s = &stream{source: src, universe: d.Universe}
		u.streams = append(u.streams, s)
		src.streams = append(src.streams, s)
		t.streams++
	}
	if family := familyOf(a.From); s.packets == 0 {
		s.family = family
	} else if s.family != family {
		if now-s.heard <= sacn.DataLossTimeout {
			return // the copy in the other family (9.1)
		}
		s.family = family
	}
	if src.name != d.Name {
		src.name = d.Name
	}
	shared := (s.packets == 0 || s.gone) && s.takeOver(u, now)
	if s.lastEpoch != t.epoch {
		s.lastEpoch, s.epochLost = t.epoch, 0
	}
	if s.packet(d, now, a.ClockStepped) || shared {
		t.contend(u, now)
	}
}

func (t *Tracker) syncPacket(p *sacn.Sync, a *Arrival, now moment) {
	if !t.wanted(p.CID, p.Address, a) {
		return
	}
	src := t.source(p.CID, a.From, now)
	if src == nil {
		return
	}
	k := key(src, p.Address)
	s := t.syncs[k]
	if s == nil {
		if !t.room(src, now) {
			return
		}
		s = new(syncs)
		t.syncs[k] = s
		src.syncs = append(src.syncs, k)
	}
	if s.packets == 0 || s.resumes || now-s.heard > sacn.DataLossTimeout {
		s.resumes = false
		s.seq.start(p.Sequence)
	} else {
		_, _, missing := s.seq.next(p.Sequence)
		s.lost = uint64(int64(s.lost) + int64(missing))
	}
	s.packets++
	s.heard = now
}

func (t *Tracker) discoveryPacket(d *sacn.Discovery, a *Arrival, now moment) {
	if !t.wanted(d.CID, sacn.DiscoveryUniverse, a) {
		return
	}
	src := t.source(d.CID, a.From, now)
	if src == nil {
		return
	}
	if src.name != d.Name {
		src.name = d.Name
	}
	if src.pages == nil {
		src.pages = new(pages)
	}
	src.pages.page(d, now)
}

// Deaf takes that nothing can be heard any more, or, with false, that it can
// again: what is not heard in between is no stream's loss and no outage.
func (t *Tracker) Deaf(deaf bool, at time.Time) {
	if deaf == t.deaf {
		return
	}
	if t.base.IsZero() {
		t.base = at
	}
	now := at.Sub(t.base)
	t.deaf = deaf
	if deaf {
		t.deafSince = now
		return
	}
	length := now - t.deafSince
	t.deafTime += length
	for e := t.recent.Front(); e != nil; e = e.Next() {
		src := e.Value.(*source)
		src.heard += length
		for _, s := range src.streams {
			s.heard += length
			s.deaf += length
			s.resumes = true
		}
	}
	for _, y := range t.syncs {
		y.heard += length
		y.resumes = true
	}
}

// LocalDrops takes how many packets the receiving socket itself has dropped
// since the last call, which is to be made every second or so. Loss that was
// noticed in that interval, or in the one after a drop, may be this host's and
// not the wire's; which universes were hit, the kernel does not say.
func (t *Tracker) LocalDrops(n uint64) {
	if n > 0 || t.dropping {
		for e := t.recent.Front(); e != nil; e = e.Next() {
			for _, s := range e.Value.(*source).streams {
				if s.lastEpoch == t.epoch {
					s.lostLocal += uint64(s.epochLost)
				}
			}
		}
	}
	t.dropping = n > 0
	t.localDrops += n
	t.epoch++
}
