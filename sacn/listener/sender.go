package listener

import (
	"container/list"
	"net/netip"
	"slices"

	"yardproof/sacn"
)

// source is everything under one CID that comes from one machine.
type source struct {
	cid     sacn.CID
	id      uint32 // for keys
	name    sacn.Name
	from    [2]netip.Addr // by family: it may send in both
	latest  family
	heard   moment
	streams []*stream
	syncs   []uint64      // keys
	pages   *pages        // nil: no discovery packet yet
	older   *source       // the next one with this CID, made before
	recent  *list.Element // in Tracker.recent
}

// family is an IP version.
type family uint8

const (
	ip4 family = iota
	ip6
)

func familyOf(a netip.Addr) family {
	if a.Is4() || a.Is4In6() {
		return ip4
	}
	return ip6
}

// address is where the source was heard from last.
func (src *source) address() netip.Addr { return src.from[src.latest] }

// kin reports whether the CID was heard from elsewhere too.
func (src *source) kin(t *Tracker) bool { return src.older != nil || t.sources[src.cid] != src }

// source finds the source of a packet, or makes it. It is nil when there is no
// room.
func (t *Tracker) source(cid sacn.CID, from netip.Addr, now moment) *source {
	family := familyOf(from)
	var src *source
	if e := t.recent.Front(); e != nil { // most packets are from the source of the one before
		src = e.Value.(*source)
	}
	if src == nil || src.cid != cid || src.from[family] != from {
		for src = t.sources[cid]; src != nil && src.from[family] != from; src = src.older {
			if !src.from[family].IsValid() && now-src.heard <= sacn.DataLossTimeout {
				src.from[family] = from // the same in its other family
				break
			}
		}
	}
	if src == nil {
		if t.known >= t.cfg.MaxSources && !t.evict(nil, now) {
			t.refused++
			return nil
		}
		t.nextID++
		t.known++
		src = &source{cid: cid, id: t.nextID, older: t.sources[cid]}
		src.from[family] = from
		src.recent = t.recent.PushFront(src)
		t.sources[cid] = src
	}
	src.heard, src.latest = now, family
	t.recent.MoveToFront(src.recent)
	return src
}

// takeOver sees a stream begin, or come back after its source had gone on from
// another address. If that is so short a time ago that there must be two
// senders, they share the CID; else the address has changed, again.
func (s *stream) takeOver(u *universe, now moment) (shared bool) {
	back := s.gone && now-s.left <= sacn.DataLossTimeout
	s.gone = false
	var last *stream // of the address that is left now
	for _, o := range u.streams {
		if o == s || o.gone || o.source.cid != s.source.cid {
			continue
		}
		if back {
			shared = true
		} else {
			o.gone, o.left, last = true, now, o
		}
	}
	if last != nil {
		s.succeed(last, now)
	}
	return shared
}

// succeed makes a stream the one that goes on where another was heard last.
func (s *stream) succeed(o *stream, now moment) {
	switch silence := now - o.heard; {
	case s.packets > 0:
		s.deaf += o.heard - s.heard
		s.heard, s.ended, s.resumes = o.heard, o.ended, true
	case silence > sacn.DataLossTimeout && !o.ended:
		s.outages++
		s.outage += silence
		s.dead -= silence // it was before the first packet of s
	}
}

// before returns what the source of a stream sent on its universe from addresses
// that it has left. Of several senders with one CID it is the first one's.
func (t *Tracker) before(s *stream) (gone []*stream) {
	if !s.source.kin(t) {
		return nil
	}
	first := true
	for _, o := range t.universe(s.universe).streams {
		switch {
		case o.source.cid != s.source.cid:
		case o.gone:
			gone = append(gone, o)
		case first && o != s:
			return nil
		default:
			first = false
		}
	}
	return gone
}

// left reports whether a source sends from another address now, and nothing from
// this one.
func (t *Tracker) left(src *source) bool {
	if slices.ContainsFunc(src.streams, func(s *stream) bool { return !s.gone }) {
		return false
	}
	for o := t.sources[src.cid]; o != nil; o = o.older {
		if o.heard > src.heard {
			return true
		}
	}
	return false
}

// room makes sure that one more stream may be kept for src.
func (t *Tracker) room(src *source, now moment) bool {
	if t.streams+len(t.syncs) < t.cfg.MaxStreams || t.evict(src, now) {
		return true
	}
	t.refused++
	return false
}

// evict forgets the source that has been silent longest. One that is heard is
// never given up for one that is new: a flood of forged CIDs must not wipe out
// what is being measured.
func (t *Tracker) evict(except *source, now moment) bool {
	e := t.recent.Back()
	if e == nil {
		return false
	}
	src := e.Value.(*source)
	if src == except || now-src.heard <= sacn.DataLossTimeout {
		return false
	}
	for _, s := range src.streams {
		u := t.universe(s.universe)
		i := slices.Index(u.streams, s)
		u.streams = slices.Delete(u.streams, i, i+1)
	}
	t.streams -= len(src.streams)
	for _, k := range src.syncs {
		delete(t.syncs, k)
	}
	if newest := t.sources[src.cid]; newest != src {
		for newest.older != src {
			newest = newest.older
		}
		newest.older = src.older
	} else if src.older != nil {
		t.sources[src.cid] = src.older
	} else {
		delete(t.sources, src.cid)
	}
	t.known--
	t.recent.Remove(e)
	t.evicted++
	return true
}
