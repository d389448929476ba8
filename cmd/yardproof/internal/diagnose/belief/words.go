package belief

import (
	"fmt"
	"math"
	"strings"
)

// cause puts a group in words, with its place and the look that speaks most for it.
func (m *model) cause(g group) Cause {
	h := m.likeliest(g.index)
	c := Cause{Kind: g.cause.Kind, Share: g.share, Feed: g.feed}
	if h.place > 0 && g.cause.Kind != Count {
		c.Place, c.From, c.To, c.stands = m.place(g)
	}
	c.Text = m.text(c)
	c.Because = m.because(g, h)
	if m.Known[c.Kind] > 0 {
		c.Because = strings.TrimPrefix(c.Because+"; ", "; ") + "in this yard before"
	}
	return c
}

// place is the likeliest place of a group, or where none stands out the middle of the
// likeliest three, which are in reach together; and the narrowest run of places that has
// nine tenths of its share. It stands out where it has more than all others.
func (m *model) place(g group) (at, from, to int, stands bool) {
	slots := m.bySlot()
	sum := make([]float64, m.String.Pixels+1)
	total := 0.0
	for i, p := range slots {
		if m.slotGroup[i] == g.index {
			sum[m.slotPlace[i]] += p
			total += p
		}
	}
	at = most(sum, 0)
	if three := most(sum, 1); sum[at] < 0.5*total && sum[three] > 0 {
		at = three
	}
	from, to = 1, m.String.Pixels
	in, first := 0.0, 1
	for last := 1; last <= m.String.Pixels; last++ { // the narrowest of all runs that have it
		for in += sum[last]; first < last && in-sum[first] >= 0.9*total; first++ {
			in -= sum[first]
		}
		if in >= 0.9*total && first <= at && at <= last && last-first < to-from {
			from, to = first, last
		}
	}
	return at, from, to, sum[at] > 0.5*total
}

// most is the place at which a few have most, with so many on either side.
func most(share []float64, beside int) (at int) {
	best := 0.0
	for p := range share {
		sum := 0.0
		for _, s := range share[max(0, p-beside):min(len(share), p+beside+1)] {
			sum += s
		}
		if sum > best {
			at, best = p, sum
		}
	}
	return at
}

// text is a cause as somebody reads it.
func (m *model) text(c Cause) string {
	joint := fmt.Sprintf("between pixels %d and %d", c.Place, c.Place+1)
	if c.To-c.From > 4 && !c.stands {
		joint = fmt.Sprintf("between pixels %d and %d, its place is not known better", max(1, c.From), c.To+1)
	}
	feed := ""
	if c.Feed > 0 {
		feed = m.String.Feeds[c.Feed-1].At
	}
	supply := "the supply"
	if s := m.String.Feeds[max(0, c.Feed-1)].Supply; s != nil {
		supply = "supply " + s.Name
	}
	controller := "the controller"
	if s := m.String.Controller; s != nil {
		controller = "controller " + s.Name
	}
	switch c.Kind {
	case Well:
		return "nothing is wrong with this string"
	case Unknown:
		return "something that is not on this list"
	case DeadPixel:
		return fmt.Sprintf("pixel %d is dead and hands the data on", c.Place)
	case DeadColour:
		return fmt.Sprintf("an LED of pixel %d is dead", c.Place)
	case BrokenData:
		return fmt.Sprintf("the data is broken %s: the output of the one, the input of the other, or the wire", joint)
	case BrokenWire:
		return "V+ or return is broken " + joint
	case Joint:
		return "a bad joint " + joint + ", in V+ or in the return"
	case LeadJoint:
		return fmt.Sprintf("a bad contact in the lead of the feed at %s: its fuse holder, a plug or a joint", feed)
	case OpenFeed:
		return fmt.Sprintf("the feed at %s is open: its fuse or its lead", feed)
	case LowSupply:
		return supply + " gives too few volts: its trimmer, or too much load"
	case SupplyOff:
		return supply + " is off, or its fuse is"
	case HotSupply:
		return supply + " trips when it is hot"
	case ThinWire:
		return "the wire is thinner than the plan says, or clad"
	case WetJoint:
		return "water in a joint " + joint
	case Order:
		return "the colour order of the port or of the plan is wrong"
	case Count:
		return "the number of pixels on the port is wrong"
	case Start:
		return "the start channel or universe on the port is wrong"
	case Nulls:
		return "the number of null pixels is wrong"
	case Direction:
		return "the direction on the port is wrong"
	case Swapped:
		return "ports or universes are swapped with another string"
	case Packing:
		return "the plan and " + controller + " count universes differently: 510 channels and 512"
	case Delivery:
		return controller + " gets no data: multicast and unicast are mixed, its address, its network"
	case Second:
		return "a second source sends to " + controller
	case Frozen:
		return controller + " has stopped and holds a picture"
	case OwnTest:
		return controller + " shows a test of its own"
	case ChipType:
		return "the port is set to another chip or speed"
	case Channels:
		return "three and four channels are mixed up"
	case DataLead:
		return "the data lead is too long or lies beside mains cable"
	case Bond:
		return "there is no common return between the supply and the controller"
	case Multicast:
		return "a switch stops multicast after some minutes: there is no querier"
	case PlanAmps:
		return "the amps of a pixel in the plan are wrong"
	case OpenFeeder:
		return fmt.Sprintf("feeder %s is open: its fuse or its wire", m.String.Feeds[c.Feed-1].Feeder.Name)
	case NoReceiver:
		return fmt.Sprintf("receiver %s on port %s of %s has no power or no data, or is set to another number", m.String.Receiver, m.String.Port, controller)
	case NoLink:
		return fmt.Sprintf("the link cable from port %s of %s to its receivers is broken, or the port is", m.String.Port, controller)
	case NoUniverse:
		return fmt.Sprintf("universe %d does not reach %s", m.String.Universe, controller)
	case BadBatch:
		return "the strings of this make (" + m.String.Chip.Name + ") are all wrong in the same way: a bad batch, or they are not what the plan says"
	}
	return string(c.Kind)
}

// because names the look that speaks most for a cause.
func (m *model) because(g group, h *hypothesis) string {
	best, most := -1, math.Log(3)
	looks := m.fresh()
	for i, l := range looks {
		if signsOf[l.Test] == nil {
			continue
		}
		if gain := math.Log(m.sign(h, l.Test, l.Sign) / m.mean(l)); gain > most {
			best, most = i, gain
		}
	}
	if best >= 0 {
		return looks[best].say()
	}
	for _, l := range looks {
		if (l.Test == Amps || l.Test == Volts) && h.elec != nil {
			return "what the meters read fits it best"
		}
	}
	return ""
}

// mean is how likely what was seen is before any look.
func (m *model) mean(l Look) float64 {
	key := seen{l.Test, l.Sign}
	if p, ok := m.usual[key]; ok {
		return p
	}
	sum := 0.0
	for i := range m.all {
		sum += m.all[i].prior * m.sign(&m.all[i], l.Test, l.Sign)
	}
	p := sum / m.total
	m.usual[key] = p
	return p
}

// seen is a sign in a test.
type seen struct {
	test Test
	sign Sign
}

// say is a look in a few words.
func (l Look) say() string {
	s := string(l.Test) + ": " + string(l.Sign)
	switch l.Sign {
	case DarkTail, DimTail, ColoursTail, NoiseTail:
		s += fmt.Sprintf(", good up to pixel %d", l.Pixel)
	case DarkOne, ColoursOne:
		s += fmt.Sprintf(" %d", l.Pixel+1)
	}
	return strings.TrimSpace(s)
}
