package patterns

import (
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

// codeChip is one chip of many words. The code is linear, so that a chip is the
// parity of some bits of the spread address: which ones is found once a frame.
type codeChip struct{ mask, flip uint64 }

func newCodeChip(chip int) (c codeChip) {
	at := CodeLength - 1 - chip
	for bit := range codeBits {
		c.mask |= encode(1<<bit) >> at & 1 << bit
	}
	c.flip = codeScramble >> at & 1
	return c
}

func (c codeChip) lit(address int) bool {
	return uint64(bits.OnesCount64(spreadAddress(address)&c.mask))&1 != c.flip
}

// CodeFrame fills dst with what slots of consecutive addresses show at time t.
func CodeFrame(dst []byte, first int, t time.Duration) {
	clear(dst)
	chip := int(within(t, CodeLoop)/CodeChip) - CodePreamble
	if chip < 0 {
		return
	}
	c := newCodeChip(chip)
	for i := range dst {
		if c.lit(first + i) {
			dst[i] = 255
		}
	}
}

// code sends raw slots: where they arrive is what is in doubt.
func code(dst []byte, l Layout, _ Options, t time.Duration) {
	clear(dst)
	chip := int(within(t, CodeLoop)/CodeChip) - CodePreamble
	if chip < 0 {
		return
	}
	c := newCodeChip(chip)
	l.addresses(l.pixels(dst)*l.channels(), func(slot, address int) {
		if c.lit(address) {
			dst[slot] = 255
		}
	})
}

func codeCycle(Layout) time.Duration { return CodeLoop }

func worstCode(l Layout, _ Options) float64 {
	most := 0
	for chip := range CodeLength {
		c, lit := newCodeChip(chip), 0
		l.addresses(max(0, l.Pixels)*l.channels(), func(_, address int) {
			if c.lit(address) {
				lit++
			}
		})
		most = max(most, lit)
	}
	return l.share(float64(most))
}

// addresses calls do for each of the string's first n slots.
func (l Layout) addresses(n int, do func(slot, address int)) {
	if l.Runs == nil {
		for i := range n {
			do(i, i)
		}
	}
	for _, r := range l.Runs {
		for i := range min(r.Length, n-r.First) {
			do(r.First+i, r.Address+i)
		}
	}
}
