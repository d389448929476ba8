package patterns

import (
	"iter"
	"math/bits"
	"time"
)

// A code blinks each slot's own address among all slots that are sent, so that a
// film of one loop tells which slot drives which light, and where. A word of
// BCH(63,18) follows a dark preamble, highest bit first: 1 is lit, 0 is dark. Any
// two words differ in at least 21 of the 63 chips.
const (
	CodeChip     = 200 * time.Millisecond // 8 frames at 40 Hz; one change in 0.2 s is at most 2.5 flashes a second
	CodePreamble = 6                      // dark chips before a word
	CodeLength   = 63                     // chips of a word
	CodeLoop     = (CodePreamble + CodeLength) * CodeChip

	// CodeUniverse is how far apart the addresses of two universes are.
	CodeUniverse = 512

	// CodeAddresses is how many slots have a word of their own, those of 512
	// universes. Words begin anew after them: larger yards are filmed in parts.
	CodeAddresses = 1 << codeBits
)

const (
	codeBits      = 18
	codeSpread    = 162013             // odd, so that spreading only changes the order of addresses
	codeGenerator = 0x2F30B529D3D5     // octal 1363026512351725, degree 45
	codeScramble  = 0x5ADEC697732AFE04 // a rotated word is then no word, so a wrong phase shows
)

// CodeWord is the word of an address, 63 chips from bit 62 down. Addresses are
// spread first: without that the chips that carry an address's top bits would
// light the whole yard, or none of it.
func CodeWord(address int) uint64 { return encode(spreadAddress(address)) ^ codeScramble }

func spreadAddress(address int) uint64 { return uint64(address) * codeSpread % CodeAddresses }

// encode appends the 45 check bits: the remainder of division by the generator.
func encode(m uint64) uint64 {
	const check = CodeLength - codeBits
	word := m << check
	for rest, bit := word, CodeLength-1; bit >= check; bit-- {
		if rest>>bit&1 == 1 {
			rest ^= codeGenerator << (bit - check)
			word ^= codeGenerator << (bit - check) & (1<<check - 1)
		}
	}
	return word
}

// codeBasis holds the words of the addresses with one bit. The code is linear: the
// word of any address is the sum of some of them.
var codeBasis = func() (b [codeBits]uint64) {
	for bit := range b {
		b[bit] = encode(1 << bit)
	}
	return b
}()

// codeChip is one chip of many words: the parity of some bits of the spread
// address. Which ones is found once a frame.
type codeChip struct{ mask, flip uint64 }

func newCodeChip(chip int) (c codeChip) {
	at := CodeLength - 1 - chip
	for bit, word := range codeBasis {
		c.mask |= word >> at & 1 << bit
	}
	c.flip = codeScramble >> at & 1
	return c
}

// fill writes the chip of consecutive addresses, the first one given. At 10,000
// universes these are five million slots between two frames, so it takes no branch.
func (c codeChip) fill(dst []byte, address int) {
	spread := spreadAddress(address)
	for i := range dst {
		dst[i] = -byte(uint64(bits.OnesCount64(spread&c.mask))&1 ^ c.flip)
		spread = (spread + codeSpread) % CodeAddresses
	}
}

// lit counts the lit ones of n consecutive addresses.
func (c codeChip) lit(address, n int) (lit int) {
	for i := range n {
		lit += int(uint64(bits.OnesCount64(spreadAddress(address+i)&c.mask))&1 ^ c.flip)
	}
	return lit
}

// codeChipAt is the chip of time t; none in the preamble.
func codeChipAt(t time.Duration) (c codeChip, ok bool) {
	chip := int(within(t, CodeLoop)/CodeChip) - CodePreamble
	if chip < 0 {
		return c, false
	}
	return newCodeChip(chip), true
}

// CodeFrame fills dst with what slots of consecutive addresses show at time t.
func CodeFrame(dst []byte, first int, t time.Duration) {
	if c, ok := codeChipAt(t); ok {
		c.fill(dst, first)
	} else {
		clear(dst)
	}
}

// code sends raw slots: where they arrive is what is in doubt.
func code(dst []byte, l Layout, _ Options, t time.Duration) {
	clear(dst)
	if c, ok := codeChipAt(t); ok {
		for r := range l.runs(l.pixels(dst) * l.channels()) {
			c.fill(dst[r.First:r.First+r.Length], r.Address)
		}
	}
}

func codeCycle(Layout) time.Duration { return CodeLoop }

func worstCode(l Layout, _ Options) float64 {
	most := 0
	for chip := range CodeLength {
		c, lit := newCodeChip(chip), 0
		for r := range l.runs(max(0, l.Pixels) * l.channels()) {
			lit += c.lit(r.Address, r.Length)
		}
		most = max(most, lit)
	}
	return l.share(float64(most))
}

// runs yields where the string's first n slots are.
func (l Layout) runs(n int) iter.Seq[Run] {
	return func(yield func(Run) bool) {
		if l.Runs == nil {
			yield(Run{Length: n})
			return
		}
		for _, r := range l.Runs {
			if r.Length = min(r.Length, n-r.First); r.Length > 0 && !yield(r) {
				return
			}
		}
	}
}
