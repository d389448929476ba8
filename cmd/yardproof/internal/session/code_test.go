package session

import (
	"testing"

	"yardproof/patterns"
)

const shifted = `
controllers: [{name: shed, pack: continuous}]
strings:
  - {name: left, controller: shed, universe: 1, pixels: 20, null_pixels: 2, nulls_by: plan}
  - {name: right, controller: shed, universe: 7, channel: 500, pixels: 10}
reserved: [{universe: 1, channels: 400-410, value: 200, what: fog relay}]
`

// Each slot of each universe blinks the word of its place among all, spare ones and
// null pixels too, at no more than a tenth there; reserved slots are left alone.
func TestCodeOnEverySlot(t *testing.T) {
	y := newYard(t, shifted)
	shown := y.show(Request{Pattern: patterns.Code, Level: 0.5, LevelExplicit: true})
	y.wait(shown.Since.Add(patterns.CodeLoop - period).Sub(y.now)) // the level has risen, and the loop is about to start again
	if len(y.slots) != 3 {
		t.Fatalf("%d universes, want 3", len(y.slots))
	}
	for chip := range patterns.CodePreamble + patterns.CodeLength {
		y.frames(1)
		for u, slots := range y.slots {
			for i, v := range slots {
				if u == 0 && i >= 399 && i < 410 {
					if v != 200 {
						t.Fatalf("chip %d: reserved channel %d is %d", chip, i+1, v)
					}
					continue
				}
				at := patterns.CodeLength - 1 - (chip - patterns.CodePreamble)
				lit := chip >= patterns.CodePreamble && patterns.CodeWord(u*512+i)>>at&1 == 1
				planned := u == 0 && i >= 6 && i < 66 || u == 1 && i >= 499 || u == 2 && i < 17
				want := byte(0)
				if lit && planned {
					want = 127
				} else if lit {
					want = 25
				}
				if v != want {
					t.Fatalf("chip %d, universe %d, channel %d: %d, want %d", chip, u, i+1, v, want)
				}
			}
		}
		y.wait(patterns.CodeChip - period)
	}
}

// Only what is asked for is lit, and spare slots stay dark then.
func TestCodeOnOneString(t *testing.T) {
	y := newYard(t, twoStrings)
	y.show(Request{Pattern: patterns.Code, Level: 0.5, Strings: []string{"right"}})
	for range 600 {
		y.frames(1)
		for i, v := range y.slots[0] {
			if (i < 99 || i >= 129) && (i < 399 || i >= 410) && v > 0 {
				t.Fatalf("channel %d is %d", i+1, v)
			}
		}
	}
}
