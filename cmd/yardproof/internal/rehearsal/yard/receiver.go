package yard

import (
	"cmp"
	"maps"
	"net/netip"
	"slices"
	"time"

	"yardproof/config"
	"yardproof/sacn"
)

// A controller receives universes and drives ports.
type controller struct {
	plan     *config.Controller // nil: strings without one
	receives map[uint16]*reception
	numbers  []uint16 // of receives, rising
	faults   []Fault
	synced   map[uint16]time.Duration // synchronization address: when its last packet came
	lost     bool                     // it received something, and now nothing
}

// reception is one universe as a controller has it.
type reception struct {
	sources []source
	shown   [sacn.MaxSlots]byte // what the ports send on
	lost    bool                // no source is left
	ever    bool                // one was there
}

// source is one sender on a universe.
type source struct {
	cid      sacn.CID
	priority uint8
	sequence uint8
	heard    time.Duration
	order    uint64 // of its last packet among all
	slots    []byte
	pending  bool   // slots wait for synchronization
	sync     uint16 // the synchronization address they wait for
}

func (y *Yard) layControllers() {
	for i, s := range y.Plan.Strings {
		c := y.controllerOf(s.Controller)
		for _, f := range y.byString[i] {
			if info, _ := Lookup(f.Kind); info.Reach == OfController && !slices.Contains(c.faults, f) {
				c.faults = append(c.faults, f)
			}
		}
		l := y.lineOf(i, c)
		l.strings = append(l.strings, i)
		l.blocks = append(l.blocks, y.block(i))
	}
	for _, l := range y.lines {
		for _, b := range l.blocks {
			for at, n := b.start, 0; n < b.count*b.each; n++ {
				if at.valid() && l.controller.receives[at.universe] == nil {
					l.controller.receives[at.universe] = &reception{}
				}
				at = at.next(n%b.each == b.each-1, b.whole, b.each)
			}
		}
	}
	for _, c := range y.controllers {
		c.numbers = slices.Sorted(maps.Keys(c.receives))
	}
	y.swapPorts()
}

func (y *Yard) controllerOf(p *config.Controller) *controller {
	for _, c := range y.controllers {
		if c.plan == p {
			return c
		}
	}
	c := &controller{plan: p, receives: map[uint16]*reception{}, synced: map[uint16]time.Duration{}}
	y.controllers = append(y.controllers, c)
	return c
}

func (c *controller) has(k Kind) *Fault {
	for i := range c.faults {
		if c.faults[i].Kind == k {
			return &c.faults[i]
		}
	}
	return nil
}

// hears reports whether packets to an address reach the controller's input: the
// zero address stands for the universe's group.
func (c *controller) hears(to netip.Addr, now time.Duration) bool {
	if f := c.has(SwitchStops); f != nil && !to.IsValid() && now.Seconds() >= f.Severity {
		return false
	}
	var own netip.Addr
	if c.plan != nil {
		own = c.plan.Address
	}
	if c.has(WrongDelivery) != nil { // set to the other kind than the plan sends
		return !to.IsValid() && own.IsValid()
	}
	return to == own
}

// deliver brings the slots of a universe to the controllers that hear them.
func (y *Yard) deliver(at time.Duration, to netip.Addr, universe uint16, s source, slots []byte) {
	y.packets++
	for _, c := range y.controllers {
		if r := c.receives[universe]; r != nil && c.hears(to, at) {
			s.heard = at
			r.take(s, slots, y.packets)
		}
	}
}

// Receive brings one packet, sent to an address; the zero address is the
// universe's group. Sequence numbers, preview, termination, start codes and
// synchronization are treated as E1.31 6.7.2, 6.2.6, 7.7 and 11 ask.
func (y *Yard) Receive(at time.Duration, to netip.Addr, d *sacn.Data) {
	if d.StartCode != 0 || d.Options&sacn.Preview != 0 {
		return
	}
	y.packets++
	for _, c := range y.controllers {
		r := c.receives[d.Universe]
		if r == nil || !c.hears(to, at) {
			continue
		}
		i := slices.IndexFunc(r.sources, func(s source) bool { return s.cid == d.CID })
		if i >= 0 && at-r.sources[i].heard <= sacn.DataLossTimeout && !sacn.AcceptSequence(r.sources[i].sequence, d.Sequence) {
			continue
		}
		if d.Options&sacn.StreamTerminated != 0 {
			if i >= 0 {
				r.sources = slices.Delete(r.sources, i, i+1)
			}
			continue
		}
		r.take(source{
			cid: d.CID, priority: d.Priority, sequence: d.Sequence, heard: at,
			sync: d.SyncAddress, pending: d.SyncAddress != 0 && c.inSync(d.SyncAddress, at, d.Options&sacn.ForceSync != 0),
		}, d.Slots, y.packets)
	}
}

// take keeps what a source has sent last.
func (r *reception) take(s source, slots []byte, order uint64) {
	i := slices.IndexFunc(r.sources, func(o source) bool { return o.cid == s.cid })
	if i < 0 {
		i = len(r.sources)
		r.sources = append(r.sources, source{})
	}
	s.slots = append(r.sources[i].slots[:0], slots...)
	s.order = order
	r.sources[i] = s
}

// inSync reports whether data of a synchronization address waits for its packets:
// from the first one on, and after a loss of them only when the source does not
// force the receiver on (E1.31 11.1, 6.2.6).
func (c *controller) inSync(address uint16, now time.Duration, forced bool) bool {
	last, ever := c.synced[address]
	return ever && !(forced && now-last > sacn.DataLossTimeout)
}

// Synchronize brings a synchronization packet to every controller.
func (y *Yard) Synchronize(at time.Duration, address uint16) {
	for _, c := range y.controllers {
		c.synced[address] = at
		for _, r := range c.receives {
			for i := range r.sources {
				if s := &r.sources[i]; s.sync == address {
					s.pending = false
				}
			}
		}
	}
}

// OtherSource is the CID of the second source that may be planted: an amber of its
// own on every channel.
var OtherSource = sacn.CID{0xff}

// arbitrate settles what the ports send on of each universe.
func (c *controller) arbitrate(y *Yard) {
	heard := false
	second := c.has(SecondSource)
	for _, n := range c.numbers {
		r := c.receives[n]
		r.sources = slices.DeleteFunc(r.sources, func(s source) bool { return y.now-s.heard > sacn.DataLossTimeout })
		if second != nil {
			r.second(y, second)
		}
		if len(r.sources) == 0 {
			if r.ever && !r.lost && c.plan != nil && c.plan.OnLoss == config.OnLossDark {
				clear(r.shown[:])
			}
			r.lost = r.ever
			continue
		}
		heard, r.ever, r.lost = true, true, false
		best := &r.sources[0]
		for i := range r.sources[1:] {
			s := &r.sources[i+1]
			// The higher priority wins (6.2.3); of equals what came last.
			rank := cmp.Compare(s.priority, best.priority)
			if y.lastPacket {
				rank = 0
			}
			if cmp.Or(rank, cmp.Compare(s.order, best.order)) > 0 {
				best = s
			}
		}
		if !best.pending {
			n := copy(r.shown[:], best.slots)
			clear(r.shown[n:])
		}
	}
	c.lost = !heard && slices.ContainsFunc(c.numbers, func(n uint16) bool { return c.receives[n].ever })
}

// second plays the second source on a universe.
func (r *reception) second(y *Yard, f *Fault) {
	var slots [sacn.MaxSlots]byte
	for i := range slots {
		slots[i] = [3]byte{160, 90, 0}[i%3]
	}
	order := uint64(0) // its packets fall now behind the plan's, now ahead of them
	if y.frame%2 == 0 {
		order = y.packets + 1
	}
	r.take(source{cid: OtherSource, priority: OtherPriority(y.Plan, *f), heard: y.now}, slots[:], order)
}

// OtherPriority is the priority that a second source sends with.
func OtherPriority(p *config.Plan, f Fault) uint8 {
	return uint8(min(max(p.Source.Priority+int(f.Severity), 0), sacn.MaxPriority))
}
