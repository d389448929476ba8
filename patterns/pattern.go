// Package patterns is light as pure functions of a string's layout and the time
// since the pattern began. It refuses to know about universes, sockets, clocks
// and current: it fills a string's slots, and whoever shows them scales and caps
// the level.
//
// Levels are linear: half a slot's value is half the mean current of its LED.
// "White" is red, green and blue together on three channels and the white LED
// alone on four, except in full-white and ramp: those drive every channel there
// is, since they are there to load supplies and wire.
//
// Nothing flashes more than three times in any one second (WCAG 2.3.1), neither
// a pixel nor the string as a whole. That holds across changes of pattern too, if
// they come no faster than [MinChange].
package patterns

import "time"

// MinChange is the shortest time between two changes of what is shown (pattern,
// options, or the choice of strings) that keeps any sequence of patterns within
// three flashes a second. Going to dark may come at any time; what follows a dark
// must then wait for MinChange.
const MinChange = 500 * time.Millisecond

// Layout is what a pattern needs to know of a string.
type Layout struct {
	Pixels int    // addresses that have channels, in the order of the data line
	Order  string // what consecutive slots mean: a permutation of RGB or RGBW
	Number int    // the string's number, from 1: what `number` blinks
	Plain  bool   // one run of LEDs without addresses: walk, ends and half skip it

	// Runs say where the string's slots are among all that are sent. Without them the
	// string is taken to begin the first universe. Only code heeds them.
	Runs []Run
}

// Run is some slots of a string that lie side by side in one universe. Its
// address is CodeUniverse times the universe's place in the plan, from 0, plus
// the slot, from 0.
type Run struct {
	First, Length int // slots of the string, from 0
	Address       int // of the first
}

// Options are the settings that some patterns take. A setting out of range is
// taken as its default.
type Options struct {
	Pixel int // half: the pixel to light white, from 1; 0: the middle one
	Slot  int // one-slot: the slot to light, from 1; 0: each in turn
	Count int // full-white: pixels to light, evenly spread; 0: all

	First, Last int // block: the pixels to light, both counted; 0: a tenth in the middle
}

// A Setting is one of the Options.
type Setting int

// The settings.
const (
	NoSetting Setting = iota
	PixelSetting
	SlotSetting
	CountSetting
	BlockSetting
)

// Pattern is one test pattern.
type Pattern struct {
	Name string
	Does string // one line: what it shows and what it proves

	// Frame fills dst, the string's slots, with the frame at elapsed time t.
	// len(dst) is Pixels times the length of Order. It allocates nothing, and
	// the same arguments give the same bytes.
	Frame func(dst []byte, l Layout, o Options, t time.Duration)

	// Worst is the heaviest frame there can be: the sum of its slots as a share,
	// 0 to 1, of all slots at 255. It is exact for frames up to full level; what
	// lies between is less. Where a pattern is not spread evenly over the string
	// (walk, half, ends) no more than eight pixels stand out; block alone is a load
	// that may sit anywhere.
	Worst func(l Layout, o Options) float64

	// Next is the first time after t at which the frame may differ from the one at t.
	Next func(t time.Duration) time.Duration

	moments func(l Layout) []time.Duration // what a picture of it shows

	Takes Setting // the one of the Options that it heeds

	Dark   bool // nothing is lit
	Load   bool // full white, or a count of pixels evenly spread: heavy, so it is shown briefly, and what meters are read under
	Moves  bool // the picture changes by itself, once a load has risen
	Swings bool // so does its current, at any gamma of the port but 1 perhaps: no meter reading can be expected
}

// The names of the patterns.
const (
	Dark        = "dark"
	Number      = "number"
	OneSlot     = "one-slot"
	ColourOrder = "colour-order"
	Ends        = "ends"
	Walk        = "walk"
	Ruler       = "ruler"
	Half        = "half"
	Tick        = "tick"
	FullWhite   = "full-white"
	Block       = "block"
	Ramp        = "ramp"
	Code        = "code"
)

// All returns the patterns, in the order in which a person meets them.
func All() []Pattern {
	return []Pattern{
		{Name: Dark, Does: "Nothing lit: whatever stays lit is stuck, frozen, or fed by another source",
			Frame: dark, Worst: worstDark, Next: never, moments: moments(0), Dark: true},
		{Name: Number, Does: "Every pixel blinks the string's own number, digit by digit: the right string on the right port",
			Frame: number, Worst: worstNumber, Next: every(beat / 7), moments: beginnings(number, beat, numberCycle), Moves: true, Swings: true},
		{Name: OneSlot, Does: "One slot of every pixel, the next one every two seconds: colour order without counting, dead LEDs",
			Frame: oneSlot, Worst: worstOneSlot, Next: every(slotTime), moments: beginnings(oneSlot, slotTime, oneSlotCycle), Moves: true, Takes: SlotSetting},
		{Name: ColourOrder, Does: "Runs of 2, 3, 4 (and 5) pixels for slots 1, 2, 3 (and 4): colour order, copies and direction at a glance",
			Frame: colourOrder, Worst: worstColourOrder, Next: never, moments: moments(0)},
		{Name: Ends, Does: "Green first, red last, three whites beside each, the rest faintly lit: the count and the null pixels",
			Frame: ends, Worst: worstEnds, Next: never, moments: moments(0)},
		{Name: Walk, Does: "One white pixel from the first to the last, ten a second: every pixel, in order, and one at a time",
			Frame: walk, Worst: worstWalk, Next: every(walkStep), moments: moments(0, 1, 2, 3, 4), Moves: true, Swings: true},
		{Name: Ruler, Does: "White marks on a faint string: 1 pixel at each five, 2 at tens, 3 at fifties, 4 at hundreds, the last one at the number",
			Frame: ruler, Worst: worstRuler, Next: never, moments: moments(0)},
		{Name: Half, Does: "Blue below one pixel, white at it, amber above: narrow down a break",
			Frame: half, Worst: worstHalf, Next: never, moments: moments(0), Takes: PixelSetting},
		{Name: Tick, Does: "Blue and amber in turn, dim, one change a second: a tail out of step while a joint is flexed",
			Frame: tick, Worst: worstTick, Next: every(tickTime), moments: moments(0, 1), Moves: true, Swings: true},
		{Name: FullWhite, Does: "Every channel, reached over two seconds: current, volts and heat; or only some pixels, evenly spread",
			Frame: fullWhite, Worst: worstFullWhite, Next: nextFullWhite, moments: moments(0.5, 1, 2), Load: true, Takes: CountSetting},
		{Name: Block, Does: "Every channel of some neighbouring pixels, the rest dark: a load that can be moved, to find a bad joint by a meter at one end",
			Frame: block, Worst: worstBlock, Next: nextFullWhite, moments: moments(0.5, 2), Takes: BlockSetting},
		{Name: Ramp, Does: "Every channel from nothing to full and back in twenty seconds: the level at which trouble starts",
			Frame: ramp, Worst: worstRamp, Next: always, moments: moments(0.5, 2, 5, 10), Moves: true, Swings: true},
		{Name: Code, Does: "Every slot blinks its own address for 14 seconds, then again: a film of it tells what each pixel does",
			Frame: code, Worst: worstCode, Next: every(CodeChip), moments: beginnings(code, CodeChip, codeCycle), Moves: true, Swings: true},
	}
}

// Lookup finds a pattern by its name.
func Lookup(name string) (Pattern, bool) {
	for _, p := range All() {
		if p.Name == name {
			return p, true
		}
	}
	return Pattern{}, false
}

// Names are the names of All.
func Names() []string {
	var names []string
	for _, p := range All() {
		names = append(names, p.Name)
	}
	return names
}
