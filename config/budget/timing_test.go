package budget

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"yardproof/config"
	"yardproof/config/configtest"
)

// Refresh arithmetic with the datasheets' bit rates and reset times; the most
// pixels at 40, 30 and 20 frames a second, four rows of which are exact.
func TestFrameTime(t *testing.T) {
	for _, row := range []struct {
		rate       float64
		bits       int
		reset      time.Duration
		t170       time.Duration
		at40, at30 int
		at20       int
	}{
		{800e3, 24, 50, 5150, 831, 1109, 1665},
		{800e3, 24, 280, 5380, 824, 1101, 1657},
		{800e3, 24, 300, 5400, 823, 1101, 1656},
		{800e3, 24, 80, 5180, 830, 1108, 1664},
		{800e3, 24, 24, 5124, 832, 1110, 1665},
		{400e3, 24, 50, 10250, 415, 554, 832},
		{400e3, 24, 280, 10480, 412, 550, 828},
		{800e3, 32, 80, 6880, 623, 831, 1248},
		{800e3, 32, 200, 7000, 620, 828, 1245},
		{800e3, 64, 48, 13648, 311, 416, 624},
	} {
		c := Chip{BitsPerSecond: row.rate, BitsPerPixel: row.bits, Reset: row.reset * time.Microsecond}
		got, ok := c.frameTime(170)
		if got += c.Reset; !ok || got != row.t170*time.Microsecond {
			t.Errorf("%v: 170 pixels take %v, want %d us", row, got, row.t170)
		}
		for rate, want := range map[float64]int{40: row.at40, 30: row.at30, 20: row.at20} {
			b := &Budget{Strings: []String{{Chip: c}}}
			if got := b.mostPixels(&Port{Pixels: 5000, Strings: []int{0}}, rate); got != want {
				t.Errorf("%v: %d pixels at %g Hz, want %d", row, got, rate, want)
			}
		}
	}
}

// Clocked chips: bits of a frame by their datasheets.
func TestClockedChips(t *testing.T) {
	table := chipTable()
	for name, want := range map[string]int{ // bits for 100 pixels
		"lpd6803": 32 + 1600 + 100,
		"lpd8806": 2400 + 8*4,
		"apa102":  32 + 3200 + 50,
	} {
		c := table[name]
		c.BitsPerSecond = 1e6
		if got, ok := c.frameTime(100); !ok || got != time.Duration(want)*time.Microsecond {
			t.Errorf("%s: %v for 100 pixels, want %d us", name, got, want)
		}
	}
	if _, ok := table["lpd6803"].frameTime(100); ok {
		t.Error("lpd6803 has a frame time although no clock rate is known")
	}
}

func TestPorts(t *testing.T) {
	p := configtest.Load(t, `
controllers: [{name: c, max_pixels_per_port: 900}]
strings:
  - {name: a, controller: c, port: 1, universe: 1, pixels: 500, null_pixels: 4}
  - {name: b, controller: c, port: 1, universe: 11, pixels: 320}
  - {name: r1, controller: c, port: 3b, receiver: r1, output: 1, universe: 21, pixels: 100}
  - {name: r2, controller: c, port: 3b, receiver: r2, output: 1, universe: 22, pixels: 100}
  - {name: r3, controller: c, port: 3b, receiver: r2, output: 2, universe: 23, pixels: 50}
  - {name: twin, controller: c, port: 4, universe: 24, pixels: 50, copies: 2}
  - {name: flood, controller: c, port: 5, universe: 25, pixels: 1, chip: none}
  - {name: fast, controller: c, port: 6, universe: 26, pixels: 100, chip: {name: ws2811, kilobits: 400, reset_us: 50}}
  - {name: unsaid, controller: c, port: 7, universe: 27, pixels: 100, chip: tm1914a}
`)
	b := New(p)
	for i, want := range []struct {
		port   string
		pixels int
		ms     float64
	}{
		{"1", 824, 25}, {"3b", 200, 6.28}, {"3b", 50, 1.78}, {"4", 100, 3.28}, {"6", 100, 6.05}, {"7", 100, 0},
	} {
		if got := b.Ports[i]; got.Port != want.port || got.Pixels != want.pixels || got.RefreshMS != want.ms {
			t.Errorf("port %d is %+v, want %+v", i, got, want)
		}
	}
	if len(b.Ports) != 6 {
		t.Errorf("%d ports, want 6: a flood has no data line", len(b.Ports))
	}
	for _, problem := range b.Problems {
		t.Errorf("exactly 40 Hz is in order: %v", problem)
	}
	p.Strings[1].Pixels++
	b = New(p)
	if len(b.Problems) != 1 || b.Problems[0].Severity != config.Warning || !strings.Contains(b.Problems[0].Fix, "824") {
		t.Errorf("825 pixels at 40 Hz: %v", b.Problems)
	}
	p.Strings[1].Pixels += 100
	if got := fmt.Sprint(New(p).Problems); !strings.Contains(got, "it drives 900") {
		t.Errorf("925 pixels on a port for 900: %v", got)
	}
}
