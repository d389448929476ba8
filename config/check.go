package config

import (
	"fmt"
	"slices"
	"strconv"
	"yardproof/sacn"
)

// checkMap notes what is wrong with the plan as a map: strings that do not fit,
// and channels that two things want.
func (d *decoder) checkMap() {
	p := d.plan
	if p.Pixels() > MaxPixels {
		d.errorf(p.At("strings"), "correct the numbers of pixels, or split the display into several plans", "the strings have more than %d pixels in all", MaxPixels)
	}
	for _, s := range p.Strings {
		if s.Universe > 0 && s.Pixels > 0 {
			d.checkFit(s)
		}
	}
	m, uses := p.mapUses()
	p.addresses = m
	sortUses(uses) // the keeps among the strings
	d.checkOverlaps(uses)
	d.checkChains()
	d.checkStreams(m)
}

// checkFit wants room for a string in the universes that there are.
func (d *decoder) checkFit(s *String) {
	if last := s.lastUniverse(); last > sacn.MaxUniverse {
		d.errorf(s.At("pixels"), "start it in a lower universe, or split it", "string %s would end in universe %d, the last is %d", s.Name, last, sacn.MaxUniverse)
	}
	if room := sacn.MaxSlots - s.Channel + 1; room < s.ChannelsPerPixel() && (s.Controller == nil || s.Controller.Pack != PackContinuous) {
		d.errorf(s.At("channel"), fmt.Sprintf("start it at channel 1 of universe %d, or set pack: continuous on its controller", s.Universe+1),
			"string %s: no whole pixel fits from channel %d on", s.Name, s.Channel)
	}
}

// checkChains wants each data line to be one chain: a port's number that was copied
// by mistake makes one as well.
func (d *decoder) checkChains() {
	first := map[Line]*String{}
	next := map[*String]*String{}
	for _, s := range d.plan.Strings {
		line := s.Line()
		if other := s.After; other != nil {
			switch behind := next[other]; {
			case other.Line() != line:
				d.errorf(s.At("after"), "give both the same port, or leave after: out", "string %s: %s, which it comes after, is on another port", s.Name, other.Name)
			case behind != nil:
				d.errorf(s.At("after"), "write after: "+behind.Name+", or leave it out", "string %s: string %s comes after %s too", s.Name, behind.Name, other.Name)
			}
			next[other] = s
		}
		switch other := first[line]; {
		case line.Port == "" || line.Controller == nil:
		case other == nil:
			first[line] = s
		case s.After == nil:
			d.warnf(s.At("port"), "write after: with the string its data comes through, or correct the port",
				"string %s is on the same port as string %s: they are counted as one chain", s.Name, other.Name)
		}
	}
}

// checkStreams warns of universes that one controller may hear twice, and of
// kept channels that are on none.
func (d *decoder) checkStreams(m *AddressMap) {
	both := map[*Controller][]uint16{} // universes that go to it alone and to everybody
	multicast := uint16(0)
	for _, u := range m.Universes {
		if !u.Address.IsValid() {
			multicast = u.Number
		} else if u.Number == multicast {
			both[u.Controllers[0]] = append(both[u.Controllers[0]], u.Number)
		}
	}
	for c, universes := range both {
		what := fmt.Sprintf("universe %d goes", universes[0])
		if n := len(universes); n > 1 {
			what = fmt.Sprintf("%d universes from %d to %d go", n, universes[0], universes[n-1])
		}
		d.warnf(c.At("address"), "give its strings universes of their own",
			"%s to controller %s by unicast and also by multicast; it may show both mixed", what, c.Name)
	}
	for i := range d.plan.Reserved {
		k := &d.plan.Reserved[i]
		_, used := slices.BinarySearchFunc(m.Universes, k.Universe, compareNumber)
		if !used {
			d.warnf(k.At("universe"), "remove it, or correct the universe", "reserved: no string uses universe %d, so it is not sent", k.Universe)
		}
	}
}

// checkOverlaps wants uses in the order of universe, destination and first
// channel. It tells once of each thing that stands in the way of one before it
// in the plan.
func (d *decoder) checkOverlaps(uses []use) {
	told := map[int]bool{}
	var widest use // of those seen in this stream, the one that reaches furthest
	for _, u := range uses {
		if widest.universe != u.universe || widest.address != u.address {
			widest = u
			continue
		}
		if u.first <= widest.last && u.rank(d.plan) != widest.rank(d.plan) {
			earlier, later := widest, u
			if earlier.rank(d.plan) > later.rank(d.plan) {
				earlier, later = later, earlier
			}
			if rank := later.rank(d.plan); !told[rank] {
				told[rank] = true
				d.errorf(later.mark(d.plan), "move one of the two", "%s and %s overlap: both use universe %d, channel %s",
					later.who(d.plan), earlier.who(d.plan), u.universe, channelSpan(u.first, min(u.last, widest.last)))
			}
		}
		if u.last > widest.last {
			widest = u
		}
	}
}

// rank is where a use stands in the plan: strings in order, then keeps.
func (u use) rank(p *Plan) int {
	if u.str != nil {
		return u.str.Index
	}
	return len(p.Strings) + u.keep
}

func (u use) mark(p *Plan) Mark {
	switch {
	case u.str == nil:
		return p.Reserved[u.keep].At("channels")
	case u.str.Has("channel"):
		return u.str.At("channel")
	}
	return u.str.At("universe")
}

func (u use) who(p *Plan) string {
	switch {
	case u.str != nil:
		return "string " + u.str.Name
	case p.Reserved[u.keep].What != "":
		return "what is reserved for " + p.Reserved[u.keep].What
	}
	return "what is reserved"
}

// Channels writes the range as 400-512, or as one number.
func (k *ReservedChannels) Channels() string { return channelSpan(k.First, k.Last) }

func channelSpan(first, last int) string {
	if first == last {
		return strconv.Itoa(first)
	}
	return fmt.Sprintf("%d-%d", first, last)
}
