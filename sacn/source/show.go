package source

import (
	"cmp"
	"net"
	"net/netip"
	"slices"

	"golang.org/x/net/ipv4"

	"yardproof/sacn"
)

// maxPart is the most packets that leave in one go: a burst of 1000 overflows a
// default receive buffer.
const maxPart = 128

// show is a look made ready for the wire. All memory that a frame needs is in it.
type show struct {
	look      Look
	packets   []packet // as look.Streams
	slots     [][]byte // as look.Streams
	parts     []*part
	sync      *part // nil: no synchronization
	discovery *part
	held      []*wire // to be released, once for each time it is listed
	groups    int     // multicast groups, discovery and synchronization included
}

// packet is one stream's packet and where it goes.
type packet struct {
	sacn.Template
	wire *wire
	dest net.Addr // nil on a connected socket
}

// part is what leaves together: a run of packets for each of one or more sockets.
type part struct{ runs []run }

// run is a part's packets for one socket.
type run struct {
	wire    *wire
	packets []sacn.Template // nil: not data
	msgs    []ipv4.Message
	bytes   int
}

// prepare builds everything that sending a look needs, sockets included.
func (s *Source) prepare(look Look) (_ *show, err error) {
	if err := s.cfg.checkLook(look); err != nil {
		return nil, err
	}
	var options sacn.Options
	if s.cfg.Preview {
		options |= sacn.Preview
	}
	if s.cfg.ForceSync {
		options |= sacn.ForceSync
	}
	sh := &show{look: look}
	defer func() {
		if err != nil {
			s.wires.release(sh.held)
		}
	}()
	type place struct {
		universe uint16
		unicast  netip.Addr
	}
	seen := map[place]bool{}
	sent := map[uint16]bool{}   // universes
	groups := map[uint16]bool{} // multicast groups
	for _, st := range look.Streams {
		if seen[place{st.Universe, st.Unicast}] {
			return nil, usagef("universe %d is listed twice", st.Universe)
		}
		seen[place{st.Universe, st.Unicast}] = true
		sent[st.Universe] = true
		t, err := sacn.NewTemplate(&sacn.Data{
			CID: s.cfg.CID, Name: s.cfg.Name, Priority: s.cfg.Priority, SyncAddress: s.cfg.SyncAddress,
			Options: options, Universe: st.Universe, Slots: make([]byte, st.Slots),
		})
		if err != nil {
			return nil, err
		}
		p := packet{Template: t, wire: s.hold(sh, st.Unicast)}
		if !st.Unicast.IsValid() {
			p.dest = s.group(st.Universe)
			groups[st.Universe] = true
		}
		sh.packets = append(sh.packets, p)
		sh.slots = append(sh.slots, t.Slots())
	}
	sh.parts = parts(sh.packets, interleave(look.Streams))

	multicast := s.hold(sh, netip.Addr{})
	if a := s.cfg.SyncAddress; a != 0 {
		b, err := (&sacn.Sync{CID: s.cfg.CID, Address: a}).AppendTo(nil)
		if err != nil {
			return nil, err
		}
		sh.sync = plainPart(multicast, s.group(a), b)
		sent[a], groups[a] = true, true // 12: what is announced includes the synchronization address
	}
	var list []uint16
	for u := range sent {
		list = append(list, u)
	}
	slices.Sort(list)
	pages, err := sacn.DiscoveryPages(s.cfg.CID, s.cfg.Name, list)
	if err != nil {
		return nil, err
	}
	sh.discovery = plainPart(multicast, s.group(sacn.DiscoveryUniverse), pages...)
	sh.groups = len(groups) + 1
	return sh, nil
}

func (s *Source) hold(sh *show, unicast netip.Addr) *wire {
	w := s.wires.get(unicast)
	sh.held = append(sh.held, w)
	return w
}

func (s *Source) group(universe uint16) net.Addr {
	g := sacn.Group4(universe)
	if s.cfg.IPv6 {
		g = sacn.Group6(universe)
	}
	return net.UDPAddrFromAddrPort(netip.AddrPortFrom(g, sacn.Port))
}

// interleave returns an order in which each controller's streams are spread
// evenly over the frame, so that neighbours belong to different controllers.
func interleave(streams []Stream) []int {
	type owner struct {
		name    string
		unicast netip.Addr
	}
	of := func(st Stream) owner {
		if st.Controller != "" {
			return owner{name: st.Controller}
		}
		return owner{unicast: st.Unicast}
	}
	size := map[owner]int{}
	for _, st := range streams {
		size[of(st)]++
	}
	at := make([]float64, len(streams)) // place in the frame, 0-1
	nth := map[owner]int{}
	order := make([]int, len(streams))
	for i, st := range streams {
		o := of(st)
		at[i] = (float64(nth[o]) + 0.5) / float64(size[o])
		nth[o]++
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(at[a], at[b]) })
	return order
}

// parts cuts packets, taken in the given order, into equal parts.
func parts(packets []packet, order []int) []*part {
	n := (len(order) + maxPart - 1) / maxPart
	all := make([]*part, n)
	for k := range all {
		all[k] = newPart(packets, order[len(order)*k/n:len(order)*(k+1)/n])
	}
	return all
}

func newPart(packets []packet, order []int) *part {
	pt := &part{}
	at := map[*wire]int{} // index in runs
	for _, i := range order {
		p := packets[i]
		k, ok := at[p.wire]
		if !ok {
			k = len(pt.runs)
			at[p.wire] = k
			pt.runs = append(pt.runs, run{wire: p.wire})
		}
		r := &pt.runs[k]
		r.packets = append(r.packets, p.Template)
		r.msgs = append(r.msgs, ipv4.Message{Buffers: [][]byte{p.Template}, Addr: p.dest})
		r.bytes += len(p.Template)
	}
	return pt
}

func plainPart(w *wire, dest net.Addr, packets ...[]byte) *part {
	r := run{wire: w}
	for _, b := range packets {
		r.msgs = append(r.msgs, ipv4.Message{Buffers: [][]byte{b}, Addr: dest})
		r.bytes += len(b)
	}
	return &part{runs: []run{r}}
}

// dark fills the slots with the look's dark frame.
func (sh *show) dark() {
	for _, b := range sh.slots {
		clear(b)
	}
	if sh.look.Dark != nil {
		sh.look.Dark(sh.slots)
	}
}

// leaving is a set of streams that has frames left to be sent in: dark ones,
// since receivers ignore the slots of a terminated packet (6.2.6), then
// terminated ones.
type leaving struct {
	show   *show // to be released after that
	parts  []*part
	frames int
}

func (l leaving) terminate() {
	for _, pt := range l.parts {
		for _, r := range pt.runs {
			for _, p := range r.packets {
				p.Terminate()
			}
		}
	}
}

// without returns the goodbye of the streams that the other show lacks. The show
// is not to be used after that.
func (sh *show) without(next *show) leaving {
	type place struct {
		wire     *wire
		universe uint16
	}
	of := func(s *show, i int) place {
		return place{wire: s.packets[i].wire, universe: s.look.Streams[i].Universe}
	}
	stays := map[place]bool{}
	for i := range next.packets {
		stays[of(next, i)] = true
	}
	var order []int
	for i := range sh.packets {
		if !stays[of(sh, i)] {
			order = append(order, i)
		}
	}
	if order == nil {
		return leaving{show: sh}
	}
	sh.dark()
	return leaving{sh, parts(sh.packets, order), 2 * farewell}
}
