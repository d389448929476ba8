package yard

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// letters is what an eye calls a pixel: the colours that are lit, or a point.
func letters(y *Yard, n int) string {
	var w []string
	for _, c := range y.Look(nil, n) {
		one := ""
		for i, v := range []uint8{c.R, c.G, c.B, c.W} {
			if v > 0 {
				one += "RGBW"[i : i+1]
			}
		}
		if one == "" {
			one = "."
		}
		w = append(w, one)
	}
	return strings.Join(w, " ")
}

// Two strings of six pixels on one port, one behind the other, and one on a port of
// its own whose chips want green first.
const linePlan = `
controllers: [{name: box}]
strings:
  - {name: a, controller: box, port: 1, universe: 1, channel: 1, pixels: 6, null_pixels: 1}
  - {name: b, controller: box, port: 1, universe: 1, channel: 19, pixels: 6, after: a}
  - {name: c, controller: box, port: 2, universe: 2, pixels: 6, port_order: GRB}
`

// sent is what is sent to the strings: each pixel a letter.
func sent(all map[int]string) [][]byte {
	frame := [][]byte{make([]byte, 512), make([]byte, 512)}
	for n, text := range all {
		to := [][]byte{frame[0], frame[0][18:], frame[1]}[n]
		for i, l := range strings.Fields(text) {
			if at := strings.Index("RGB", l); at >= 0 {
				to[3*i+at] = 255
			}
		}
	}
	return frame
}

// The signature of each fault of data and settings, worked out by hand: a chip takes
// the first bits, and hands on the rest (WS2811 datasheet, "data transmission method").
func TestDataFaults(t *testing.T) {
	const a, b, c = "R G B R R B", "G G R B B R", "R R G G B B"
	for _, tt := range []struct {
		fault   Fault
		a, b, c string // "": as sent
	}{
		{Fault{}, a, b, c},
		{Fault{Kind: DeadPixel, Place: 2}, "R . B R R B", b, c},
		{Fault{Kind: DeadChip, Place: 3}, "R G . . . .", ". . . . . .", c},
		{Fault{Kind: DeadColour, Place: 4, Severity: 0}, "R G B . R B", b, c},
		{Fault{Kind: BrokenData, Place: 4}, "R G B R . .", ". . . . . .", c},
		{Fault{Kind: BrokenData, String: "b", Place: 1}, a, "G . . . . .", c},
		{Fault{Kind: WrongOrder, Severity: 2}, "G R B G G B", b, c},                         // red and green change places
		{Fault{Kind: WrongOrder, String: "c", Severity: 2}, a, b, "G G R R B B"},            // the chips are GRB, the port says RGB
		{Fault{Kind: WrongCount, Severity: -2}, "R G B R G G", "R B B R . .", c},            // b's data comes two pixels early
		{Fault{Kind: WrongCount, Severity: 1}, a, "G G G R B B", c},                         // a seventh of a, which is b's first, then b's own
		{Fault{Kind: WrongCount, String: "c", Severity: -2}, a, b, "R R G G . ."},           //
		{Fault{Kind: WrongStart, Severity: 3}, "G B R R B G", b, c},                         // one pixel on
		{Fault{Kind: WrongStart, Severity: 1}, ". R GB B . G", b, c},                        // 100 010 001 100 100 001 010 read from its second on
		{Fault{Kind: WrongNulls, Severity: 1}, ". R G B R R", "B G G R B B", c},             // one more ahead: all move on by one
		{Fault{Kind: WrongNulls, Severity: -1}, "G B R R B G", "G R B B R .", c},            // its first is eaten by the null pixel
		{Fault{Kind: Reversed}, "B R R B G R", b, c},                                        //
		{Fault{Kind: SwappedPorts, With: "c"}, "G R R B B .", "B G G R B B", ". G R B G G"}, // c has no null pixel, and takes green first; a the other way round
		{Fault{Kind: SwappedUniverses, String: "b", With: "c"}, a, c, b},                    //
		{Fault{Kind: WrongChip, Severity: 0}, ". . . . . .", ". . . . . .", c},              // it reads nothing, and hands on nothing
		{Fault{Kind: FourForThree, String: "c"}, a, b, "R GB R B . ."},                      // 010 010 100 100 001 001, by fours, as GRBW
		{Fault{Kind: NoReturnBond, Severity: 0, String: "a"}, a, b, c},                      // none of the frames
	} {
		p, bud := parse(t, linePlan)
		if tt.fault.String == "" {
			tt.fault.String = "a"
		}
		var faults []Fault
		if tt.fault.Kind != "" {
			faults = append(faults, tt.fault)
		}
		y := lay(t, p, bud, faults...)
		y.Frame(0, sent(map[int]string{0: a, 1: b, 2: c}))
		for n, want := range []string{tt.a, tt.b, tt.c} {
			if got := letters(y, n); got != want {
				t.Errorf("%s %g on %s: %s shows %s, want %s", tt.fault.Kind, tt.fault.Severity, tt.fault.String, p.Strings[n].Name, got, want)
			}
		}
	}
}

// Behind a break pixels hold what they had; after a new start they are dark.
func TestHoldsLastValue(t *testing.T) {
	p, b := parse(t, linePlan)
	y := lay(t, p, b)
	y.Frame(0, sent(map[int]string{2: "R R R R R R"}))
	y.strings[2].ends = 3 // the wire breaks while it is lit
	y.Frame(time.Second, sent(map[int]string{2: "B B B B B B"}))
	if got := letters(y, 2); got != "B B B R R R" {
		t.Errorf("%s", got)
	}
}

// A universe is 510 slots for whole pixels of three, 512 when all are filled: pixel
// 171 then takes slots 511 and 512, and slot 1 of the next.
func TestWrongPack(t *testing.T) {
	p, b := parse(t, "controllers: [{name: box}]\nstrings: [{name: a, controller: box, port: 1, universe: 1, pixels: 200}]")
	y := lay(t, p, b, Fault{Kind: WrongPack, String: "a"})
	frame := [][]byte{make([]byte, 512), make([]byte, 512)}
	for i := 0; i < 510; i += 3 {
		frame[0][i], frame[1][i] = 255, 255 // red, as whole pixels are sent
	}
	y.Frame(0, frame)
	shown := strings.Fields(letters(y, 0))
	if got := strings.Join(shown[168:174], " "); got != "R R B B B B" {
		t.Errorf("pixels 169 to 174 show %s", got)
	}
}

// What spoils frames spoils about the share it should, and a missing bond the more
// the more is lit.
func TestSparkle(t *testing.T) {
	share := func(f Fault, v byte) float64 {
		p, b := demo(t)
		f.String = p.Strings[0].Name
		y := lay(t, p, b, f)
		wrong := 0
		var want, got []Colour
		clean := lay(t, p, b)
		for i := range 400 {
			frame, at := slotsOf(p, 0, level(v)), time.Duration(i)*25*time.Millisecond
			y.Frame(at, frame)
			clean.Frame(at, frame)
			if got, want = y.Look(got[:0], 0), clean.Look(want[:0], 0); !slices.Equal(got, want) {
				wrong++
			}
		}
		return float64(wrong) / 400
	}
	for _, tt := range []struct {
		f        Fault
		v        byte
		from, to float64 // four standard deviations of a binomial of 400
	}{
		{Fault{Kind: LongDataLead, Severity: 0.3}, 100, 0.20, 0.40},
		{Fault{Kind: NoReturnBond, Severity: 0.5}, 0, 0, 0.02},
		{Fault{Kind: NoReturnBond, Severity: 0.5}, 200, 0.40, 0.60},
		{Fault{Kind: WetJoint, Place: 90, Severity: 0.1}, 100, 0.10, 0.30},
		{Fault{Kind: WrongChip, Severity: 0.7}, 100, 0.99, 1},
	} {
		if got := share(tt.f, tt.v); got < tt.from || got > tt.to {
			t.Errorf("%s at %d: %.2f of the frames, want %.2f to %.2f", tt.f.Kind, tt.v, got, tt.from, tt.to)
		}
	}
}

// A port sends no faster than its line takes: 680 pixels of 24 bits at 800 kbit/s
// take 20.4 ms, and 0.28 ms of reset (WS2811 datasheet).
func TestLineTakesItsTime(t *testing.T) {
	p, b := parse(t, "controllers: [{name: box}]\nstrings: [{name: a, controller: box, port: 1, universe: 1, pixels: 680}]")
	y := lay(t, p, b)
	if want := 20680 * time.Microsecond; y.lines[0].busy != want {
		t.Errorf("busy for %v, want %v", y.lines[0].busy, want)
	}
	frames := 0
	for i := range 100 {
		before := y.lines[0].sent
		y.Refresh(time.Duration(i) * 10 * time.Millisecond)
		if i == 0 || y.lines[0].sent != before {
			frames++
		}
	}
	if frames != 34 { // every third of 10 ms
		t.Errorf("%d frames", frames)
	}
}

// A hot supply gives half its rating for its minutes, then nothing; unlit it cools.
func TestHotSupply(t *testing.T) {
	p, b := parse(t, fmt.Sprintf(plainPlan, farFeed)) // 5 A of 29 A: 0.17 of the rating
	y := lay(t, p, b, Fault{Kind: HotSupply, String: "one", Severity: 5})
	tripped := time.Duration(0)
	for i := 0; i < 40*60 && tripped == 0; i++ {
		at := time.Duration(i) * time.Second
		y.Frame(at, slotsOf(p, 0, level(255)))
		if y.Volts(0, 1) < 1 {
			tripped = at
		}
	}
	// 5 A at 12 V are 0.171 of 350 W; heat rises by 1.2 x 0.857 - 0.2 = 0.829 in its 5 minutes.
	if want := 362 * time.Second; (tripped - want).Abs() > 2*time.Second {
		t.Errorf("tripped at %v", tripped)
	}
}

// The same seed gives the same yard.
func TestSeed(t *testing.T) {
	look := func(seed uint64) []Colour {
		p, b := demo(t)
		y, err := New(p, b, Options{Seed: seed, Faults: []Fault{{Kind: LongDataLead, String: p.Strings[0].Name, Severity: 1}}})
		if err != nil {
			t.Fatal(err)
		}
		y.Frame(0, slotsOf(p, 0, level(100)))
		return y.Look(nil, 0)
	}
	if !slices.Equal(look(4), look(4)) || slices.Equal(look(4), look(5)) {
		t.Error("chance does not follow the seed")
	}
}
