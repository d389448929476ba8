// Package outage tells what became of each stream's packets from one look to the next,
// and for how long there were none: none that arrived, where the far end is heard, else
// none that the kernel took. It refuses to know why, and what is to be done.
package outage

import (
	"slices"
	"time"

	"yardproof/sacn"
	"yardproof/sacn/source"
)

// Reading is what a transmitter has counted since it started.
type Reading struct {
	Streams  []source.StreamStats // of those that are sent now
	Withheld uint64               // frames of which nothing left
	Arrived  map[uint16]uint64    // multicast packets at the far end, by universe; one that is not in it is not heard there
	Missed   map[uint16]uint64    // likewise, those that were sent and never arrived
	Blind    bool                 // the far end can hear nothing now
}

// Span is what became of one stream's packets between two looks.
type Span struct {
	source.Destination
	Sent, Failed, Arrived uint64
	Measured              bool          // what arrives is heard
	Due, Missing          uint64        // packets that were to come, and those of them that did not
	Silent                time.Duration // that its outages have grown by
	Out                   bool          // it is in one now
}

// Account follows the streams. An outage is a silence that receivers take for a network
// data loss (E1.31 6.7.1: 2.5 s); then all of it counts. The zero value is ready.
type Account struct {
	last    Reading
	streams map[source.Destination]*stream
	spans   []Span
}

type stream struct {
	now     source.StreamStats
	heard   time.Time     // since when there are no packets
	counted time.Duration // of that silence
	seen    bool          // at this look
}

// Look takes a reading. The first one of a stream is where it begins; so is the first
// after it was away. What it returns is good until the next look.
func (a *Account) Look(now time.Time, r Reading) []Span {
	if a.streams == nil {
		a.streams = map[source.Destination]*stream{}
	}
	withheld := grown(a.last.Withheld, r.Withheld)
	spans := slices.Grow(a.spans[:0], len(r.Streams))
	for _, st := range r.Streams {
		s := a.streams[st.Destination]
		if s == nil {
			a.streams[st.Destination] = &stream{now: st, heard: now, seen: true}
			continue
		}
		sp := Span{Destination: st.Destination, Sent: grown(s.now.Sent, st.Sent), Failed: grown(s.now.Failed, st.Failed)}
		s.now, s.seen = st, true
		refused := max(sp.Failed, withheld) // a frame that all streams were refused is withheld too
		came := sp.Sent
		if arrived, ok := r.Arrived[st.Universe]; ok && !st.Unicast.IsValid() {
			sp.Measured, sp.Arrived = true, grown(a.last.Arrived[st.Universe], arrived)
			came = sp.Arrived
			sp.Missing = grown(a.last.Missed[st.Universe], r.Missed[st.Universe])
		}
		sp.Missing += refused
		sp.Due = sp.Missing + came
		if came > 0 || sp.Measured && r.Blind {
			s.heard, s.counted = now, 0
		} else if silence := now.Sub(s.heard); silence > sacn.DataLossTimeout {
			sp.Silent, sp.Out = silence-s.counted, true
			s.counted = silence
		}
		spans = append(spans, sp)
	}
	for to, s := range a.streams {
		if !s.seen {
			delete(a.streams, to)
		}
		s.seen = false
	}
	r.Streams = nil // the caller's, who may use it again
	a.last, a.spans = r, spans
	return spans
}

// grown is by how much a counter grew; one that fell began anew, and how far it had
// come before is not known.
func grown(before, now uint64) uint64 {
	if now < before {
		return 0
	}
	return now - before
}
