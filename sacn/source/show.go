package source

import (
	"cmp"
	"net/netip"
	"slices"

	"yardproof/sacn"
)

// maxSlice is the most packets that leave in one go: a burst of 1000 overflows a
// default receive buffer.
const maxSlice = 128

// show is a scene made ready for the wire. All memory that a frame needs is in it.
type show struct {
	scene     Scene
	packets   []packet // as scene.Streams
	slots     [][]byte // as scene.Streams
	slices    []*slice
	sync      *slice // nil: no synchronization
	discovery *slice
	held      []*route // to be released, once for each time it is listed
	groups    int      // multicast groups, discovery and synchronization included
}

// packet is one stream's packet and where it goes.
type packet struct {
	sacn.Template
	frame []byte // the packet, with headroom before it
	count *streamCount
	route *route
	group netip.Addr // the zero Addr on a connected socket
}

// slice is what leaves together: a batch of packets for each of one or more sockets.
type slice struct {
	batches []batch
	first   int   // batch to begin with
	phase   phase // of its streams, if that is further on than the source's
}

const (
	// headroom is what is left free before a packet, for a socket that sends whole frames.
	headroom = 72

	roomSize = headroom + sacn.MaxDataLen + 2 // a multiple of eight
)

// batch is a slice's packets for one socket.
type batch struct {
	route   *route
	packets []sacn.Template // nil: not data
	counts  []*streamCount  // of the packets
	frames  [][]byte        // of the packets, with headroom before each
	groups  []netip.Addr    // of the packets; the zero Addr on a connected socket
	socket  socket          // that the messages were made for
	msgs    messages        // the packets as the socket wants them
	bytes   int             // of the packets
	first   int             // message to begin with: where the last frame gave up
}

// add adds a packet that has headroom before it.
func (r *batch) add(frame []byte, group netip.Addr) {
	r.frames = append(r.frames, frame)
	r.groups = append(r.groups, group)
	r.bytes += len(frame) - headroom
}

// ready makes the messages for a socket, unless that is done.
func (r *batch) ready(sock socket) {
	if r.socket != sock {
		r.socket, r.msgs = sock, sock.messages(r.frames, r.groups)
	}
}

// prepare builds everything that sending a scene needs, sockets included.
func (s *Source) prepare(scene Scene) (_ *show, err error) {
	if err := s.cfg.checkScene(scene); err != nil {
		return nil, err
	}
	var options sacn.Options
	if s.cfg.Preview {
		options |= sacn.Preview
	}
	if s.cfg.ForceSync {
		options |= sacn.ForceSync
	}
	sh := &show{scene: scene}
	defer func() {
		if err != nil {
			s.routes.release(sh.held)
		}
	}()
	seen := map[Destination]bool{}
	sent := map[uint16]bool{}                         // universes
	groups := map[uint16]bool{}                       // multicast groups
	room := make([]byte, len(scene.Streams)*roomSize) // side by side: the processor fetches ahead
	for _, st := range scene.Streams {
		to := Destination{st.Universe, st.Unicast}
		if seen[to] {
			return nil, usagef("universe %d is listed twice", st.Universe)
		}
		seen[to] = true
		sent[st.Universe] = true
		d := sacn.Data{
			CID: s.cfg.CID, Name: s.cfg.Name, Priority: s.cfg.Priority, SyncAddress: s.cfg.SyncAddress,
			Options: options, Universe: st.Universe, Slots: make([]byte, st.Slots),
		}
		frame, err := d.AppendTo(room[:headroom:roomSize])
		if err != nil {
			return nil, err
		}
		room = room[roomSize:]
		p := packet{Template: frame[headroom:], frame: frame, count: s.counter(to), route: s.hold(sh, st.Unicast)}
		if !st.Unicast.IsValid() {
			p.group = s.group(st.Universe)
			groups[st.Universe] = true
		}
		sh.packets = append(sh.packets, p)
		sh.slots = append(sh.slots, p.Slots())
	}
	sh.dark() // whoever renders may leave a frame as it was
	sh.slices = cut(sh.packets, interleave(scene.Streams))

	multicast := s.hold(sh, netip.Addr{})
	if a := s.cfg.SyncAddress; a != 0 {
		b, err := (&sacn.Sync{CID: s.cfg.CID, Address: a}).AppendTo(nil)
		if err != nil {
			return nil, err
		}
		sh.sync = plainSlice(multicast, s.group(a), b)
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
	sh.discovery = plainSlice(multicast, s.group(sacn.DiscoveryUniverse), pages...)
	sh.groups = len(groups) + 1
	return sh, nil
}

func (s *Source) hold(sh *show, unicast netip.Addr) *route {
	w := s.routes.get(unicast)
	sh.held = append(sh.held, w)
	return w
}

func (s *Source) group(universe uint16) netip.Addr {
	if s.cfg.IPv6 {
		return sacn.MulticastAddr6(universe)
	}
	return sacn.MulticastAddr4(universe)
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

// cut cuts packets, taken in the given order, into equal slices.
func cut(packets []packet, order []int) []*slice {
	n := (len(order) + maxSlice - 1) / maxSlice
	all := make([]*slice, n)
	for k := range all {
		all[k] = newSlice(packets, order[len(order)*k/n:len(order)*(k+1)/n])
	}
	return all
}

func newSlice(packets []packet, order []int) *slice {
	pt := &slice{}
	at := map[*route]int{} // index in batches
	for _, i := range order {
		p := packets[i]
		k, ok := at[p.route]
		if !ok {
			k = len(pt.batches)
			at[p.route] = k
			pt.batches = append(pt.batches, batch{route: p.route})
		}
		r := &pt.batches[k]
		r.packets = append(r.packets, p.Template)
		r.counts = append(r.counts, p.count)
		r.add(p.frame, p.group)
	}
	return pt
}

func plainSlice(w *route, group netip.Addr, packets ...[]byte) *slice {
	r := batch{route: w}
	for _, b := range packets {
		r.add(append(make([]byte, headroom), b...), group)
	}
	return &slice{batches: []batch{r}}
}

// begin makes the streams those that are sent.
func (sh *show) begin() {
	for _, p := range sh.packets {
		p.count.present.Store(true)
		p.count.terminated.Store(0)
	}
}

// dark fills the slots with the scene's dark frame.
func (sh *show) dark() {
	for _, b := range sh.slots {
		clear(b)
	}
	if sh.scene.Dark != nil {
		sh.scene.Dark(sh.slots)
	}
}

// leaving is a set of streams that has frames left to be sent in: dark ones,
// since receivers ignore the slots of a terminated packet (6.2.6), then
// terminated ones.
type leaving struct {
	show   *show // to be released after that
	slices []*slice
	frames int
}

func (l leaving) terminate() {
	for _, pt := range l.slices {
		pt.phase = terminating
		for _, r := range pt.batches {
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
		route    *route
		universe uint16
	}
	of := func(s *show, i int) place {
		return place{route: s.packets[i].route, universe: s.scene.Streams[i].Universe}
	}
	stays := map[place]bool{}
	for i := range next.packets {
		stays[of(next, i)] = true
	}
	var order []int
	for i := range sh.packets {
		if !stays[of(sh, i)] {
			order = append(order, i)
			sh.packets[i].count.present.Store(false)
		}
	}
	if order == nil {
		return leaving{show: sh}
	}
	sh.dark()
	goodbye := cut(sh.packets, order)
	for _, pt := range goodbye {
		pt.phase = darkening // nobody is served by it
	}
	return leaving{sh, goodbye, 2 * terminationFrames}
}
