// Package farend is the far end of the wire: what a listener heard, held against what
// a plan sends, as an answer for programs and as text for people. It refuses to know
// sockets and flags.
package farend

import (
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"time"

	"yardproof/config"
	"yardproof/sacn/listener"
)

// Expected is what should be heard.
type Expected struct {
	Universes []uint16            // joined
	Strings   map[uint16][]string // of a plan, by universe
	Unicast   []uint16            // sent to one controller each: they cannot be heard here
}

// Expect returns what should be heard of a plan on a computer with some addresses: of
// its multicast universes and of those that are sent to one of the addresses, or of
// those that are asked for.
func Expect(plan *config.Plan, asked []uint16, here []netip.Addr) Expected {
	e := Expected{Universes: asked, Strings: map[uint16][]string{}}
	m := plan.Map()
	for _, u := range m.Universes {
		if u.Address.IsValid() && !slices.Contains(here, u.Address.Unmap().WithZone("")) {
			e.Unicast = append(e.Unicast, u.Number)
		} else if len(asked) == 0 {
			e.Universes = append(e.Universes, u.Number)
		}
	}
	for i, s := range m.Strings {
		for _, seg := range s.Segments {
			if list := e.Strings[seg.Universe]; !slices.Contains(list, plan.Strings[i].Name) {
				e.Strings[seg.Universe] = append(list, plan.Strings[i].Name)
			}
		}
	}
	return e
}

// FarEnd is a listener and what is expected of it.
type FarEnd struct {
	read     func() listener.Report
	expected Expected
	begun    time.Time
}

// New returns a far end that begins to count now.
func New(read func() listener.Report, expected Expected) *FarEnd {
	return &FarEnd{read: read, expected: expected, begun: time.Now()}
}

// Answer is what is known now.
func (far *FarEnd) Answer() *Answer {
	r := far.read()
	a := &Answer{
		Interface: r.Interface, Seconds: round(r.At.Sub(far.begun).Seconds(), 3), Joined: len(far.expected.Universes),
		Sources: []Source{}, Conflicts: []Conflict{}, Missing: []Missing{}, Discovered: []Discovered{}, Findings: []string{}, Notes: []string{}, NotMeasured: append([]uint16{}, far.expected.Unicast...),
		Malformed: r.MalformedTotal(), Reasons: make(map[string]int64),
	}
	for reason, n := range r.Malformed {
		a.Reasons[reason] = int64(n)
	}
	if r.Socket.DropsKnown {
		a.LocalDrops = &r.LocalDrops
	}
	heard := new(listener.UniverseSet)
	for i := range r.Sources {
		src := &r.Sources[i]
		if src.Announces {
			a.Discovered = append(a.Discovered, Discovered{src.CID.String(), src.Name, src.Announced.List()})
		}
		if len(src.Streams) == 0 {
			continue
		}
		hs := Source{CID: src.CID.String(), Name: src.Name, Address: src.Address.String()}
		for j := range src.Streams {
			s := &src.Streams[j]
			heard.Add(s.Universe)
			hs.Universes = append(hs.Universes, Stream{
				Universe: s.Universe, Priority: s.Priority, Packets: s.Packets, Lost: s.Lost, LostLocal: s.LostLocal, OutOfOrder: s.OutOfOrder, Duplicates: s.Duplicates,
				LossPercent: round(s.LossPercent(), 4), RateHz: round(s.MeanRate, 2), JitterMS: milliseconds(s.Jitter), LongestGapMS: milliseconds(s.LongestGap),
				Outages: s.Outages, OutageSeconds: round(s.Outage.Seconds(), 3), Restarts: s.Restarts, Preview: s.Preview, Terminated: s.Terminated, Live: s.Live,
				SyncAddress: s.SyncAddress, Synchronised: s.Synced, rateNow: s.Rate, silent: r.At.Sub(s.Last),
			})
		}
		a.Sources = append(a.Sources, hs)
	}
	for _, c := range r.Conflicts {
		a.Conflicts = append(a.Conflicts, conflictOf(c))
	}
	for _, u := range far.expected.Universes {
		if !heard.Has(u) {
			a.Missing = append(a.Missing, Missing{u, append([]string{}, far.expected.Strings[u]...)})
		}
	}
	a.NotMeasured = slices.DeleteFunc(a.NotMeasured, heard.Has)
	a.find(&r)
	a.note(&r, far)
	return a
}

func conflictOf(c listener.Conflict) Conflict {
	out := Conflict{Universe: c.Universe, Active: c.Active(), SameCID: c.SameCID}
	var who []string
	for _, p := range c.Sources {
		out.Sources = append(out.Sources, p.CID.String())
		out.Addresses = append(out.Addresses, p.Address.String())
		who = append(who, fmt.Sprintf("%q at %s (priority %d)", p.Name, p.Address, p.Priority))
	}
	out.says = strings.Join(who, " and ")
	if out.SameCID {
		out.says = fmt.Sprintf("%s use one CID, %s: receivers take them for one and discard packets of either; give each its own state directory",
			sendersText(len(who)), c.Sources[0].CID) + ": " + out.says
		return out
	}
	if c.Tie {
		out.says += ": the same priority, either may win"
		return out
	}
	cid := c.Winner.String()
	out.Winner = &cid
	for _, p := range c.Sources {
		if p.CID == c.Winner {
			out.says += fmt.Sprintf("; %q wins", p.Name)
		}
	}
	return out
}

// sendersText says how many of n senders share a CID.
func sendersText(n int) string {
	if n == 2 {
		return "two senders"
	}
	return fmt.Sprintf("of %d senders some", n)
}

// conflictLines are the conflicts, those of the same sources in one line.
func (a *Answer) conflictLines(active bool) []string {
	var says []string
	where := make(map[string][]uint16)
	for _, c := range a.Conflicts {
		if active && !c.Active {
			continue
		}
		if where[c.says] == nil {
			says = append(says, c.says)
		}
		where[c.says] = append(where[c.says], c.Universe)
	}
	for i, s := range says {
		says[i] = universesText(where[s]) + ": " + s
	}
	return says
}
