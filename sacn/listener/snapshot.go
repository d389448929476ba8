package listener

import (
	"cmp"
	"net/netip"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"yardproof/sacn"
)

// Snapshot is everything a tracker knows at one moment. It shares nothing with
// the tracker.
type Snapshot struct {
	At        time.Time
	Sources   []Source   // by name, CID and address; two with one CID are two senders
	Conflicts []Conflict // by universe; those that are over included

	Malformed map[string]uint64 // every reason, those of sacn.DecodeErrors and ReasonGroup
	NotJoined uint64            // packets of universes that were not asked for
	Evicted   uint64            // sources forgotten to make room
	Refused   uint64            // packets of sources that there was no room for

	Deaf       time.Duration // for which this host could not hear: no stream's fault
	LocalDrops uint64        // packets the receiving socket dropped: this host's fault, not the wire's
}

// Source is what was measured of one source.
type Source struct {
	CID     sacn.CID
	Name    string     // clean
	Address netip.Addr // the latest
	Last    time.Time
	Streams []Stream // by universe

	Announces bool         // a complete discovery list came
	Announced *UniverseSet // its universes; a list would take sixteen times the memory of a forged one
	ListedAt  time.Time    // when it was complete
}

// MalformedTotal is the sum over all reasons.
func (s *Snapshot) MalformedTotal() uint64 {
	var n uint64
	for _, c := range s.Malformed {
		n += c
	}
	return n
}

// Snapshot returns what is known now.
func (t *Tracker) Snapshot(at time.Time) Snapshot {
	now := at.Sub(t.base)
	deaf := t.deafTime
	if t.deaf {
		deaf += now - t.deafSince
		now = t.deafSince // nothing is known of what came after
	}
	out := Snapshot{
		At: at, Deaf: deaf, Malformed: map[string]uint64{ReasonGroup: t.wrongGroup},
		NotJoined: t.unasked, Evicted: t.evicted, Refused: t.refused, LocalDrops: t.localDrops,
		Sources: make([]Source, 0, t.known),
	}
	for _, e := range sacn.DecodeErrors {
		out.Malformed[e.Reason()] = t.malformed[e]
	}
	for e := t.recent.Front(); e != nil; e = e.Next() {
		if src := e.Value.(*source); !t.left(src) {
			out.Sources = append(out.Sources, t.sourceSnapshot(src, now))
		}
	}
	slices.SortFunc(out.Sources, func(a, b Source) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), slices.Compare(a.CID[:], b.CID[:]), a.Address.Compare(b.Address))
	})
	for high, page := range t.universes {
		if page == nil {
			continue
		}
		for low := range page {
			if u := &page[low]; u.conflict != nil {
				out.Conflicts = append(out.Conflicts, u.snapshot(uint16(high<<8|low), now))
			}
		}
	}
	return out
}

func (t *Tracker) sourceSnapshot(src *source, now moment) Source {
	out := Source{
		CID: src.cid, Name: Clean(src.name.String()), Address: src.address(), Last: t.base.Add(src.heard),
		Streams: make([]Stream, 0, len(src.streams)),
	}
	for _, s := range src.streams {
		if s.gone {
			continue // counted where its source is now
		}
		st := s.snapshot(t.before(s), now, t.base)
		if y := t.syncs[key(src, s.sync)]; s.sync != 0 && y != nil {
			st.Synced = now-y.heard <= sacn.DataLossTimeout
		}
		out.Streams = append(out.Streams, st)
	}
	slices.SortFunc(out.Streams, func(a, b Stream) int { return cmp.Compare(a.Universe, b.Universe) })
	if src.pages != nil && src.pages.list != nil {
		announced := *src.pages.list
		out.Announces, out.Announced, out.ListedAt = true, &announced, t.base.Add(src.pages.complete)
	}
	return out
}

// Clean makes text from the wire fit for a terminal or a log: what cannot be
// printed, and octets that are no UTF-8, become U+FFFD.
func Clean(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return utf8.RuneError
		}
		return r
	}, s)
}
