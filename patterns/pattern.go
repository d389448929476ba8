// Package patterns is light as pure functions of a string's layout and the time
// since the pattern began. It refuses to know about universes, sockets, clocks
// and current: it fills a string's slots, and whoever shows them scales and caps
// the level.
package patterns

import "time"

// Layout is what a pattern needs to know of a string.
type Layout struct {
	Pixels int    // addresses that have channels, in the order of the data line
	Order  string // what consecutive slots mean: a permutation of RGB or RGBW
	Number int    // the string's number, from 1: what `number` blinks
	Plain  bool   // one run of LEDs without addresses: walk, ends and half skip it
}

// Options are the settings that some patterns take.
type Options struct {
	Pixel int // half: the pixel to light white, from 1
	Slot  int // one-slot: the slot to light, from 1; 0: each in turn
	Count int // full-white: pixels to light, evenly spread; 0: all
}

// Pattern is one test pattern.
type Pattern struct {
	Name string
	Does string // one line: what it shows and what it proves

	// Frame fills dst, the string's slots, with the frame at elapsed time t.
	// len(dst) is Pixels times the length of Order. It allocates nothing, and
	// the same arguments give the same bytes.
	Frame func(dst []byte, l Layout, o Options, t time.Duration)
}
