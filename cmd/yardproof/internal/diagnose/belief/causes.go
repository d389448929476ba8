package belief

import (
	"maps"

	"yardproof/config"
)

// Kind names a cause.
type Kind string

// The causes.
const (
	Well       Kind = "nothing is wrong"
	Unknown    Kind = "something else"
	DeadPixel  Kind = "a dead pixel"
	DeadColour Kind = "a dead LED"
	BrokenData Kind = "broken data"
	BrokenWire Kind = "broken power wire"
	Joint      Kind = "a bad joint"
	LeadJoint  Kind = "a bad joint in a lead"
	OpenFeed   Kind = "an open feed"
	LowSupply  Kind = "a low supply"
	SupplyOff  Kind = "a supply that is off"
	HotSupply  Kind = "a supply that trips"
	ThinWire   Kind = "thin wire"
	WetJoint   Kind = "a wet joint"
	Order      Kind = "colour order"
	Count      Kind = "wrong count"
	Start      Kind = "wrong start channel"
	Nulls      Kind = "wrong null pixels"
	Direction  Kind = "wrong direction"
	Swapped    Kind = "swapped strings"
	Packing    Kind = "universe size"
	Delivery   Kind = "multicast or unicast"
	Second     Kind = "a second source"
	Frozen     Kind = "a frozen controller"
	OwnTest    Kind = "the controller's own test"
	ChipType   Kind = "chip type"
	Channels   Kind = "three and four channels"
	DataLead   Kind = "a long data lead"
	Bond       Kind = "no common return"
	Multicast  Kind = "multicast that stops"
	PlanAmps   Kind = "the plan's amps"
	OpenFeeder Kind = "an open feeder"
	NoReceiver Kind = "a receiver that is off"
	NoLink     Kind = "a link that is off"
	NoUniverse Kind = "a universe that is lost"
	BadBatch   Kind = "a bad batch"
)

// OfFeed reports whether a cause is of a feed, and not of a place among the pixels.
func (k Kind) OfFeed() bool {
	return k == OpenFeed || k == LeadJoint || k == OpenFeeder || k == SupplyOff
}

// cause is what a kind looks like, how common it is, and what putting it right takes:
// common practice, no source.
type cause struct {
	Kind
	index  int
	prior  float64
	takes  float64 // minutes
	ladder bool
	reach  reach
	spread float64 // how likely another string that hangs on the same shows the same
	signs  map[Test]odds
}

// odds are how likely signs are; what is left is shared by the others of the test.
type odds map[Sign]float64

// minutes is what putting it right takes, the ladder included.
func (c *cause) minutes() float64 {
	if c.ladder {
		return c.takes + ladderMinutes
	}
	return c.takes
}

// everywhere sets one set of odds for every look along the string.
func everywhere(o odds, also map[Test]odds) map[Test]odds {
	all := map[Test]odds{White: o, Bright: o, Low: o, Later: o}
	maps.Copy(all, also)
	return all
}

// fit takes from a cause what it cannot show on a string: a port cannot start ahead of
// channel 1, nor leave out null pixels that are not there.
func (c *cause) fit(s *config.String, universes int) {
	switch {
	case c.Kind == Nulls && s.NullPixels == 0:
		c.signs = everywhere(odds{DarkHead: 0.47, DarkOne: 0.47}, map[Test]odds{Ends: {Moved: 0.95}, Slots: {Fine: 0.95}})
	case c.Kind == Start && universes > 1:
		c.along(odds{ColoursTail: 0.25, ColoursOne: 0.2, DarkTail: 0.2, DarkOne: 0.15, DarkHead: 0.08, Fine: 0.05})
	case c.Kind == Start && s.Channel == 1:
		c.along(odds{DarkTail: 0.45, DarkOne: 0.25, ColoursOne: 0.15, ColoursTail: 0.05, Fine: 0.04})
	}
}

// along sets one set of odds for every look along the string.
func (c *cause) along(o odds) { maps.Copy(c.signs, everywhere(o, nil)) }

// table lists the causes.
func table() []cause {
	dark := odds{AllDark: 0.93}
	tail := odds{DarkTail: 0.9, DarkOne: 0.05, AllDark: 0.03}
	shifted := odds{DarkTail: 0.35, DarkOne: 0.2, ColoursOne: 0.2, DarkHead: 0.1, ColoursTail: 0.05, Fine: 0.05}
	noise := odds{Noise: 0.7, NoiseTail: 0.15, Mixed: 0.05, Fine: 0.05}
	stopped := map[Test]odds{White: dark, Bright: dark, Low: dark, Later: dark, Alone: {Nothing: 0.95}, Slots: {Nothing: 0.95}, Ends: {AllDark: 0.95}}
	made := odds{Noise: 0.2, Dim: 0.15, DimTail: 0.15, Colours: 0.1, Mixed: 0.1, DarkOne: 0.05, ColoursOne: 0.05, Fine: 0.1}
	rows := []cause{
		{Kind: Well, prior: 12},
		{Kind: Unknown, prior: 0.4, takes: 90, ladder: true},
		{Kind: DeadPixel, prior: 4, takes: 15, ladder: true, signs: everywhere(odds{DarkOne: 0.93}, map[Test]odds{Ends: {DarkOne: 0.5, Moved: 0.3, Fine: 0.1}})},
		{Kind: DeadColour, prior: 3, takes: 15, ladder: true, signs: everywhere(odds{ColoursOne: 0.9, DimTail: 0.02}, map[Test]odds{Ends: {Fine: 0.6, Moved: 0.1, ColoursTail: 0.05, Colours: 0.1}})},
		{Kind: BrokenData, prior: 8, takes: 15, ladder: true, signs: everywhere(tail, map[Test]odds{Ends: {DarkTail: 0.9, DarkOne: 0.06}, Dark: {Fine: 0.8, Lit: 0.17}})},
		{Kind: BrokenWire, prior: 5, takes: 15, ladder: true},
		{Kind: Joint, prior: 5, takes: 15, ladder: true},
		{Kind: LeadJoint, prior: 2, takes: 10, ladder: true},
		{Kind: OpenFeed, prior: 6, takes: 5},
		{Kind: LowSupply, prior: 2, takes: 5, reach: ofSupply, spread: 0.6, signs: map[Test]odds{}},
		{Kind: SupplyOff, prior: 3, takes: 5, reach: ofSupply, spread: 0.95, signs: stopped},
		{Kind: HotSupply, prior: 1.5, takes: 5, reach: ofSupply, spread: 0.95, signs: map[Test]odds{Later: {AllDark: 0.85, Dim: 0.03, DarkTail: 0.03, Fine: 0.05}}},
		{Kind: ThinWire, prior: 1.5, takes: 40, ladder: true},
		{Kind: WetJoint, prior: 1.5, takes: 15, ladder: true, signs: everywhere(odds{NoiseTail: 0.75, Noise: 0.18}, map[Test]odds{Watch: {NoiseTail: 0.96, Noise: 0.02}, More: {Fine: 0.93}, Dark: {Noise: 0.6, Fine: 0.3, Lit: 0.1}, Ends: {Noise: 0.8}, Slots: {Fine: 0.5, Mixed: 0.2, ColoursTail: 0.2}})},
		{Kind: Order, prior: 5, takes: 3, signs: map[Test]odds{Slots: {Another: 0.97}, Ends: {Colours: 0.65, Backward: 0.15, Moved: 0.1, ColoursTail: 0.05}}},
		{Kind: Count, prior: 4, takes: 3, signs: everywhere(odds{DarkTail: 0.75, DarkOne: 0.15}, map[Test]odds{Ends: {DarkTail: 0.7, DarkOne: 0.2, Moved: 0.05}})},
		{Kind: Start, prior: 3, takes: 3, signs: everywhere(shifted, map[Test]odds{Slots: {Another: 0.55, Fine: 0.35, ColoursTail: 0.05}, Ends: {Moved: 0.75, Colours: 0.15}})},
		{Kind: Nulls, prior: 3, takes: 3, signs: everywhere(odds{DarkHead: 0.35, DarkOne: 0.4, DarkTail: 0.2}, map[Test]odds{Ends: {Moved: 0.95}})},
		{Kind: Direction, prior: 2.5, takes: 3, signs: map[Test]odds{Ends: {Backward: 0.97}}},
		{Kind: Swapped, prior: 4, takes: 5, signs: map[Test]odds{
			White: {Fine: 0.4, DarkTail: 0.25, Colours: 0.05, ColoursTail: 0.05, AllDark: 0.03, Mixed: 0.05, Lit: 0.02}, Bright: {AllDark: 0.85, Fine: 0.05, DarkTail: 0.05},
			Low: {AllDark: 0.85, Fine: 0.05, DarkTail: 0.05}, Alone: {Another: 0.95}, Slots: {Nothing: 0.85, Another: 0.05}, Ends: {Moved: 0.5, Fine: 0.2, Colours: 0.1, DarkTail: 0.1},
			Later: {Fine: 0.5, DarkTail: 0.3}}},
		{Kind: Packing, prior: 2, takes: 3, reach: ofController, spread: 0.3, signs: map[Test]odds{Slots: {ColoursTail: 0.92}, White: {Fine: 0.6, ColoursOne: 0.15, DarkOne: 0.1, DimTail: 0.05}, Bright: {Fine: 0.6, ColoursOne: 0.15, DarkOne: 0.1, DimTail: 0.05}, Ends: {ColoursTail: 0.6, Moved: 0.3}}},
		{Kind: Delivery, prior: 3, takes: 3, reach: ofController, spread: 0.97, signs: stopped},
		{Kind: Second, prior: 2, takes: 3, reach: ofController, spread: 0.95, signs: everywhere(odds{Pictures: 0.5, Colours: 0.45}, map[Test]odds{Heard: {Another: 0.97}, Dark: {Lit: 0.75, Noise: 0.2}, Slots: {Mixed: 0.5, Another: 0.45}, Ends: {Colours: 0.4, Pictures: 0.4, Moved: 0.1}, Alone: {Fine: 0.5, Another: 0.4}})},
		{Kind: Frozen, prior: 1.5, takes: 3, reach: ofController, spread: 0.95, signs: map[Test]odds{
			Dark: {Lit: 0.9, Fine: 0.1}, White: {Fine: 0.35, Dim: 0.4, AllDark: 0.1}, Bright: {Dim: 0.7, AllDark: 0.1}, Low: {Fine: 0.6, Colours: 0.1, AllDark: 0.1}, Later: {Fine: 0.35, Dim: 0.4, AllDark: 0.1},
			Slots: {Mixed: 0.5, Another: 0.3, Nothing: 0.1}, Ends: {Colours: 0.4, Moved: 0.4, AllDark: 0.1}, Alone: {Fine: 0.5, Another: 0.3, Nothing: 0.1}}},
		{Kind: OwnTest, prior: 1.5, takes: 3, reach: ofController, spread: 0.6, signs: everywhere(odds{Pictures: 0.5, Colours: 0.4}, map[Test]odds{Dark: {Lit: 0.75, Noise: 0.22}, Slots: {Mixed: 0.4, Another: 0.5}, Ends: {Colours: 0.4, Pictures: 0.4, Moved: 0.1}, Alone: {Fine: 0.5, Another: 0.4}})},
		{Kind: ChipType, prior: 2, takes: 3, signs: map[Test]odds{More: {Fine: 0.6, Nothing: 0.35}, Watch: {Noise: 0.65, Fine: 0.3},
			White: {Noise: 0.6, AllDark: 0.3}, Bright: {Noise: 0.6, AllDark: 0.3}, Low: {Noise: 0.6, AllDark: 0.3}, Later: {Noise: 0.6, AllDark: 0.3}, Dark: {Noise: 0.65, Fine: 0.3},
			Slots: {Mixed: 0.65, Nothing: 0.3}, Ends: {Noise: 0.65, AllDark: 0.3}, Alone: {Fine: 0.65, Nothing: 0.3}}},
		{Kind: Channels, prior: 2, takes: 3, signs: map[Test]odds{
			White: {DarkTail: 0.3, Mixed: 0.1, ColoursTail: 0.1, Colours: 0.4, Fine: 0.05}, Bright: {DarkTail: 0.3, Mixed: 0.1, ColoursTail: 0.1, Colours: 0.4}, Low: {DarkTail: 0.3, Mixed: 0.1, ColoursTail: 0.1, Colours: 0.4},
			Slots: {Mixed: 0.97}, Ends: {Moved: 0.45, Colours: 0.45}}},
		{Kind: DataLead, prior: 3, takes: 10, signs: everywhere(noise, map[Test]odds{Watch: {NoiseTail: 0.4, Noise: 0.57}, More: {Fine: 0.93}, Dark: {Noise: 0.85, Fine: 0.1}, Ends: {Noise: 0.8, Fine: 0.1}, Slots: {Fine: 0.5, Mixed: 0.3, Another: 0.1}})},
		{Kind: Bond, prior: 2, takes: 10, signs: map[Test]odds{Watch: {NoiseTail: 0.45, Noise: 0.45}, More: {Another: 0.93}, White: {Noise: 0.65, NoiseTail: 0.15, Fine: 0.15}, Later: {Noise: 0.65, NoiseTail: 0.15, Fine: 0.15}, Bright: {Noise: 0.75, NoiseTail: 0.15}, Low: {Noise: 0.45, NoiseTail: 0.1, Fine: 0.4}, Dark: {Fine: 0.5, Noise: 0.5}, Ends: {Fine: 0.4, Noise: 0.55}, Slots: {Fine: 0.7, Mixed: 0.2}}},
		{Kind: Multicast, prior: 1.5, takes: 5, reach: ofController, spread: 0.95, signs: map[Test]odds{Later: {AllDark: 0.55, Colours: 0.28, Pictures: 0.1, Fine: 0.02}}},
		{Kind: PlanAmps, prior: 2, takes: 3},
		{Kind: OpenFeeder, prior: 1.5, takes: 5, reach: ofFeeder, spread: 0.95},
		{Kind: NoReceiver, prior: 3, takes: 5, reach: ofReceiver, spread: 0.95, signs: stopped},
		{Kind: NoLink, prior: 2, takes: 8, reach: ofLink, spread: 0.95, signs: stopped},
		{Kind: NoUniverse, prior: 1, takes: 5, reach: ofUniverse, spread: 0.9, signs: stopped},
		{Kind: BadBatch, prior: 0.5, takes: 60, ladder: true, reach: ofBatch, spread: 0.7, signs: everywhere(made, map[Test]odds{Slots: {Another: 0.25, Mixed: 0.25, Fine: 0.4}, Dark: {Fine: 0.7, Noise: 0.2}, Ends: {Fine: 0.2, Colours: 0.3, Noise: 0.2}})},
	}
	for i := range rows {
		rows[i].index = i
	}
	return rows
}
