// Package light is a pattern on the strings of a plan: what a pattern needs to
// know of a string, the level that it may be shown at, and what meters should read
// while it is. It refuses to know what is shown now, and about clocks and sockets.
package light

import (
	"time"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// Layout is what a pattern needs to know of a string.
func Layout(s *config.String) patterns.Layout {
	return patterns.Layout{Pixels: s.Pixels, Order: string(s.Order), Number: s.Number(), Plain: s.Chip.Name == config.ChipNone}
}

// Limit is the cap on a pattern whose worst frames light the strings with some
// duties.
func Limit(b *budget.Budget, p patterns.Pattern, duty []float64) budget.Cap {
	if p.Load {
		return b.CapSpread(duty) // it lights every pixel, or a count evenly spread
	}
	return b.Cap(duty)
}

// Lit is what a string shows while it is measured.
type Lit struct {
	Pattern string
	Options patterns.Options
	Level   float64 // 0 to 1
}

// settled is when full-white has ramped up, long before.
const settled = time.Minute

// Expected works out what meters should read on a string that is lit alone, once
// the pattern has settled. Volts are those measured at the supply, 0 for the
// plan's. It reports false when the plan does not say enough.
func Expected(b *budget.Budget, s *config.String, lit Lit, volts float64) (budget.Expectation, bool) {
	slots, ok := settledSlots(s, lit)
	if !ok || b == nil {
		return budget.Expectation{}, false
	}
	return b.Expect(s.Index, slots, volts)
}

// ExpectedWithout is Expected, by the plan's volts, while one feed of the string (index
// as in the plan) is open.
func ExpectedWithout(b *budget.Budget, s *config.String, feed int, lit Lit) (budget.Expectation, bool) {
	slots, ok := settledSlots(s, lit)
	if !ok || b == nil {
		return budget.Expectation{}, false
	}
	return b.ExpectWithout(s.Index, feed, slots, 0)
}

// settledSlots is what is sent to a string once the pattern has settled.
func settledSlots(s *config.String, lit Lit) ([]byte, bool) {
	p, ok := patterns.Lookup(lit.Pattern)
	if !ok {
		return nil, false
	}
	slots := make([]byte, s.Pixels*s.ChannelsPerPixel())
	p.Frame(slots, Layout(s), lit.Options, settled)
	for i, v := range slots {
		slots[i] = byte(float64(v) * max(0, min(lit.Level, 1))) // rounded down, as it is sent
	}
	return slots, true
}

// Colours names the colours of a pixel's slots, in their order.
func Colours(order config.Order) []string {
	names := make([]string, len(order))
	for i := range len(order) {
		names[i] = Colour(order[i])
	}
	return names
}

// Colour names a letter of an order; "" for anything else.
func Colour(letter byte) string {
	switch letter {
	case 'R':
		return "red"
	case 'G':
		return "green"
	case 'B':
		return "blue"
	case 'W':
		return "white"
	}
	return ""
}
