package budget

import (
	"bytes"
	"math"
	"testing"

	"yardproof/config/configtest"
)

const meterPlan = `
supplies: [{name: a, volts: 12, watts: 350}]
strings:
  - {name: s, universe: 1, pixels: 100, amps_per_pixel: 0.055, supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}, feeds: [{at: start, awg: 16, metres: 3}, {at: end, awg: 16, metres: 6}]}
  - {name: set, universe: 2, pixels: 50, amps_per_pixel: 0.055, supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}, brightness: 50%, gamma: 2.2}
  - {name: four, universe: 3, pixels: 50, amps_per_pixel: 0.05, order: RGBW, chip: sk6812-rgbw, volts: 5, fuse_amps: 5, pitch: {awg: 18, millimetres: 33}}
  - {name: unsaid, universe: 4, pixels: 50, chip: tm1814, order: RGBW}
`

func TestExpect(t *testing.T) {
	b := New(configtest.Load(t, meterPlan))
	white := func(pixels, channels int, level byte) []byte { return bytes.Repeat([]byte{level}, pixels*channels) }
	expect := func(n int, slots []byte, volts float64) Expectation {
		t.Helper()
		e, ok := b.Expect(n, slots, volts)
		if !ok {
			t.Fatal("nothing to expect")
		}
		return e
	}
	e := expect(0, white(100, 3, 255), 0)
	near(t, "white", e.Amps, 5.5, 1e-6)
	near(t, "white, first feed", e.Feeds[0], b.Strings[0].Feeds[0].FullWhiteAmps, 1e-6)
	low := 99.0
	for _, v := range e.Volts {
		low = min(low, v)
	}
	near(t, "white, lowest volts", low, b.Strings[0].LowestVolts, 1e-6)
	near(t, "dark", expect(0, nil, 0).Amps, 0.1, 1e-6)

	every4th := make([]byte, 300) // 25 of 100 pixels, white
	for p := 0; p < 100; p += 4 {
		copy(every4th[3*p:], []byte{255, 255, 255})
	}
	near(t, "25 of 100", expect(0, every4th, 0).Amps, 0.1+25*0.054, 1e-6)
	red := bytes.Repeat([]byte{255, 0, 0}, 100)
	near(t, "red", expect(0, red, 0).Amps, 0.1+100*0.054/3, 1e-6)

	up := expect(0, white(100, 3, 255), 12.6)
	near(t, "measured volts lift every pixel", up.Volts[50]-e.Volts[50], 0.6, 1e-6)

	// Half level through gamma 2.2 draws 22 %, and this port halves it.
	share := 0.5 * math.Pow(128/255.0, 2.2)
	near(t, "dimmed, gamma", expect(1, white(50, 3, 128), 0).Amps, 0.05+50*0.054*share, 1e-6)
	near(t, "the cap takes neither for granted", b.Cap([]float64{0, 1, 0, 0}).Level, 1, 0)
	near(t, "four channels, white alone", expect(2, bytes.Repeat([]byte{0, 0, 0, 255}, 50), 0).Amps, 0.05+50*0.049/4, 1e-6)
	if _, ok := b.Expect(3, nil, 12); ok {
		t.Error("something is expected of a chip whose current is not known")
	}
}

// Regulators and drop-out are in what a meter should read.
func TestExpectByLaw(t *testing.T) {
	b := New(configtest.Load(t, `
supplies: [{name: a, volts: 12, watts: 350}]
strings: [{name: s, universe: 1, pixels: 150, amps_per_pixel: 0.0555, supply: a, pitch: {milliohms: 20.95, millimetres: 100}}]
`))
	e, ok := b.Expect(0, bytes.Repeat([]byte{255}, 450), 0)
	if !ok {
		t.Fatal("nothing to expect")
	}
	near(t, "amperes", e.Amps, 7.270994, 5e-6)
	near(t, "last pixel", e.Volts[149], 9.899773, 2e-6)
}

func TestPlace(t *testing.T) {
	b := New(configtest.Load(t, meterPlan))
	e, _ := b.Expect(0, bytes.Repeat([]byte{255}, 300), 12.1)
	read := func(pixel int, lost float64) Point { return Point{pixel, e.Volts[pixel-1] - lost} }
	points := []Point{read(100, 1.1), {0, 12.1}, read(50, 0), read(51, 1.1), read(1, 0.02)}
	got := e.Locate(points, 0.1)
	if len(got) != 1 || got[0].From != 50 || got[0].To != 51 || got[0].Next != 0 {
		t.Fatalf("1.1 V lost at a joint is placed at %+v", got)
	}
	near(t, "volts lost", got[0].Volts, 1.1, 1e-9)
	got = e.Locate([]Point{{0, 12.1}, read(1, 0.5), read(100, 1.2)}, 0.1)
	if len(got) != 2 || got[0].From != 1 || got[0].To != 100 || got[0].Next != 50 || got[1].To != 1 {
		t.Errorf("two losses are placed at %+v", got)
	}
	if got := e.Locate([]Point{{0, 12.1}, {101, 3}, {-1, 3}}, 0.1); got != nil {
		t.Errorf("points that are not on the string are placed at %+v", got)
	}
}
