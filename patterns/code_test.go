package patterns

import (
	"math/bits"
	"testing"
)

// The words were worked out by a program of its own, in another language.
func TestCodeWord(t *testing.T) {
	for address, want := range map[int]uint64{0: 0x5adec697732afe04, 1: 0x15c57c0e26211d47, 170: 0x52869c3b322fc33e,
		512: 0x6d9ed3577862b975, 65535: 0x0a3ab0951b29ac72} {
		if got := CodeWord(address); got != want {
			t.Errorf("the word of %d is %016x, want %016x", address, got, want)
		}
	}
}

// The codewords are those of the narrow-sense binary BCH code of length 63 that
// corrects ten errors: alpha to alpha^20 are roots, alpha a root of x^6+x+1 (Lin and
// Costello, Error Control Coding, table of primitive BCH codes: (63,18), t = 10,
// generator 1363026512351725 in octal, from memory). Its distance is then at least 21.
func TestCodeIsBCH(t *testing.T) {
	if codeGenerator != 0o1363026512351725 {
		t.Fatal("another generator")
	}
	var power [63]int
	for i, x := 0, 1; i < 63; i++ {
		power[i] = x
		if x <<= 1; x&64 != 0 {
			x ^= 0b1000011
		}
	}
	for bit := range codeBits {
		word := encode(1 << bit)
		for root := 1; root <= 20; root++ {
			sum := 0
			for i := range 63 {
				if word>>i&1 == 1 {
					sum ^= power[i*root%63]
				}
			}
			if sum != 0 {
				t.Fatalf("alpha^%d is no root of %x", root, word)
			}
		}
	}
}

// Every address there is: no two alike, enough chips lit and dark to be told from a
// light that does not blink.
func TestCodeOfEveryAddress(t *testing.T) {
	seen := make(map[uint64]bool, CodeAddresses)
	for address := range CodeAddresses {
		word := CodeWord(address)
		if lit := bits.OnesCount64(word); lit < 15 || lit > 48 {
			t.Fatalf("address %d has %d chips lit", address, lit)
		}
		seen[word] = true
	}
	if len(seen) != CodeAddresses {
		t.Errorf("%d addresses have %d words", CodeAddresses, len(seen))
	}
}

// However many slots there are, each chip lights about half of them.
func TestCodeIsEven(t *testing.T) {
	for _, n := range []int{150, 510, 5120, 51200} {
		for chip := range CodeLength {
			c, lit := newCodeChip(chip), 0
			for a := range n {
				if c.lit(a, 1) == 1 {
					lit++
				}
				if n <= 510 && (c.lit(a, 1) == 1) != (CodeWord(a)>>(CodeLength-1-chip)&1 == 1) {
					t.Fatalf("chip %d of address %d differs from its word", chip, a)
				}
			}
			if share := float64(lit) / float64(n); share < 0.40 || share > 0.60 {
				t.Errorf("%d slots: chip %d lights %.2f of them", n, chip, share)
			}
		}
	}
}
