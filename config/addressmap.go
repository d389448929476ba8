package config

import (
	"cmp"
	"net/netip"
	"slices"
	"yardproof/sacn"
)

// AddressMap is where every pixel of a plan goes.
type AddressMap struct {
	Universes []Universe // ascending by number, then by destination, multicast first
	Strings   []StringMap
}

// Universe is one stream of packets. Two unicast controllers that both use
// universe 1 have two streams, since each hears only its own; controllers on
// multicast share one.
type Universe struct {
	Number      uint16     // 1-63999
	Address     netip.Addr // of the unicast controller; the zero Addr: multicast
	Channels    int        // slots in each packet: 512, or with slots: used the last used one
	Controllers []*Controller
}

// StringMap is where one string goes; its index is the string's.
type StringMap struct {
	Segments []Segment
	Copies   []Copy
}

// Segment is the part of a string that lies in one universe.
type Segment struct {
	Universe     uint16 `json:"universe"`
	FirstChannel int    `json:"first_channel"` // 1-512
	Channels     int    `json:"channels"`
	FirstPixel   int    `json:"first_pixel"` // lit pixel from 1; with continuous packing it may have begun in the universe before
	Pixels       int    `json:"pixels"`      // pixels that begin here
}

// Copy says which slots of a string go where: a string's slots are its lit
// pixels in order, ChannelsPerPixel each, without null pixels.
type Copy struct {
	Universe int // index in AddressMap.Universes
	At       int // first slot there, from 0
	From     int // first slot of the string, from 0
	Length   int
}

// use is a run of channels that something has in one stream.
type use struct {
	universe    uint16
	address     netip.Addr
	first, last int     // channels, 1-512
	lit         bool    // false: null pixels of the string, or a keep
	str         *String // nil: a keep
	keep        int     // index in Plan.Keep
}

// Map returns the address map, which is computed once, when the plan is read.
// Strings of a plan with errors are mapped as far as they were understood; nothing
// is mapped past universe 63999 or after MaxPixels pixels.
func (p *Plan) Map() *AddressMap {
	if p.addresses != nil {
		return p.addresses
	}
	m, _ := p.mapUses()
	return m
}

// mapUses computes the map, with what it saw in the order of universe, destination and
// channel.
func (p *Plan) mapUses() (*AddressMap, []use) {
	m := &AddressMap{Strings: make([]StringMap, len(p.Strings))}
	uses := make([]use, 0, len(p.Strings)+len(p.Strings)/2)
	pixels := 0
	for i, s := range p.Strings {
		if pixels += s.Pixels; pixels > MaxPixels {
			break // an error of the plan; its map need not fit into memory
		}
		m.Strings[i].Segments, uses = s.segments(uses)
	}
	sortUses(uses)
	for i, u := range uses {
		if i == 0 || uses[i-1].universe != u.universe || uses[i-1].address != u.address {
			m.Universes = append(m.Universes, Universe{Number: u.universe, Address: u.address})
		}
		e := &m.Universes[len(m.Universes)-1]
		e.Channels = max(e.Channels, u.last)
		if c := u.str.Controller; c != nil && !slices.Contains(e.Controllers, c) {
			e.Controllers = append(e.Controllers, c)
		}
		if u.lit {
			sm := &m.Strings[u.str.Index]
			sm.Copies = append(sm.Copies, Copy{
				Universe: len(m.Universes) - 1,
				At:       u.first - 1,
				Length:   u.last - u.first + 1,
			})
		}
	}
	for i := range m.Strings {
		from := 0
		for j := range m.Strings[i].Copies {
			c := &m.Strings[i].Copies[j]
			c.From = from
			from += c.Length
		}
	}
	for i := range p.Reserved {
		k := &p.Reserved[i]
		first, _ := slices.BinarySearchFunc(m.Universes, k.Universe, compareNumber)
		for j := first; j < len(m.Universes) && m.Universes[j].Number == k.Universe; j++ {
			m.Universes[j].Channels = max(m.Universes[j].Channels, k.Last)
			uses = append(uses, use{universe: k.Universe, address: m.Universes[j].Address, first: k.First, last: k.Last, keep: i})
		}
	}
	if !p.Network.UsedSlots {
		for i := range m.Universes {
			m.Universes[i].Channels = sacn.MaxSlots
		}
	}
	return m, uses
}

func compareNumber(u Universe, n uint16) int { return cmp.Compare(u.Number, n) }

// sortUses sorts by stream and channel; what begins at the same channel stays in
// the order of the plan.
func sortUses(uses []use) {
	slices.SortStableFunc(uses, func(a, b use) int {
		return cmp.Or(cmp.Compare(a.universe, b.universe), a.address.Compare(b.address), cmp.Compare(a.first, b.first))
	})
}

// segments lays a string out, and appends the channels it takes to uses. What
// lies past universe 63999 is left out.
func (s *String) segments(uses []use) ([]Segment, []use) {
	if s.Universe < sacn.MinUniverse || s.Pixels < 1 {
		return nil, uses
	}
	var address netip.Addr
	whole := true
	if c := s.Controller; c != nil {
		address = c.Address
		whole = c.Pack != PackContinuous
	}
	each := s.ChannelsPerPixel()
	nulls := 0 // channels that null pixels take
	if s.NullsByPlan {
		nulls = s.NullPixels * each
	}
	var segs []Segment
	universe, slot := int(s.Universe), s.Channel-1
	for done, total := 0, nulls+s.Pixels*each; done < total && universe <= sacn.MaxUniverse; universe, slot = universe+1, 0 {
		room := sacn.MaxSlots - slot
		if whole {
			room -= room % each
		}
		if room == 0 {
			continue
		}
		n := min(room, total-done)
		if dark := min(n, nulls-done); dark > 0 {
			uses = append(uses, use{universe: uint16(universe), address: address, first: slot + 1, last: slot + dark, str: s})
			done, n, slot = done+dark, n-dark, slot+dark
		}
		if n == 0 {
			continue
		}
		lit := done - nulls
		begin, end := (lit+each-1)/each, (lit+n+each-1)/each // pixels that begin before here, and before the next
		segs = append(segs, Segment{uint16(universe), slot + 1, n, lit/each + 1, end - begin})
		uses = append(uses, use{universe: uint16(universe), address: address, first: slot + 1, last: slot + n, lit: true, str: s})
		done += n
	}
	return segs, uses
}

// lastUniverse is where the string would end if universes had no end.
func (s *String) lastUniverse() int {
	per := sacn.MaxSlots
	if s.Controller == nil || s.Controller.Pack != PackContinuous {
		per -= sacn.MaxSlots % s.ChannelsPerPixel()
	}
	total := s.Pixels * s.ChannelsPerPixel()
	if s.NullsByPlan {
		total += s.NullPixels * s.ChannelsPerPixel()
	}
	first := sacn.MaxSlots - (s.Channel - 1)
	if per < sacn.MaxSlots {
		first -= first % s.ChannelsPerPixel()
	}
	return int(s.Universe) + (max(total-first, 0)+per-1)/per
}
