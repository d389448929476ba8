package budget

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/configtest"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %.9g, want %.9g", what, got, want)
	}
}

// The worked strings of the check sheet, each computed with ngspice 39: 12 V,
// 55.5 mA a pixel, 18 AWG solid copper at 20 degrees (20.95 mΩ/m), 0.10 m from pixel to pixel.
func TestWorkedStrings(t *testing.T) {
	const per100m = "pitch: {milliohms: 20.95, millimetres: 100}"
	for _, test := range []struct {
		name, keys string
		volts      float64
		lowest     float64
		pixel      int
		feeds      []float64
	}{
		{"E0", "pixels: 3, feeds: [{at: start}]", 12, 11.99860473, 3, []float64{0.1665}},
		{"E1", "pixels: 50, feeds: [{at: start}]", 12, 11.703505, 50, []float64{2.775}},
		{"E2", "pixels: 50, feeds: [{at: start}, {at: end}]", 12, 11.927330, 25, []float64{1.35975, 1.41525}},
		{"E3", "pixels: 100, feeds: [{at: start}, {at: 50}]", 12, 11.703505, 100, []float64{1.35975, 4.19025}},
		{"E3ref", "pixels: 100, feeds: [{at: start}]", 12, 10.825648, 100, []float64{5.550}},
		{"E4", "pixels: 50, amps_per_pixel: 0.06", 5, 4.679465, 50, []float64{3}},
		{"E5", "pixels: 50, feeds: [{at: start, milliohms: 13.17, metres: 5}]", 12, 11.338038, 50, []float64{2.775}},
		{"E7", "pixels: 50, feeds: [{at: start}, {at: end, milliohms: 20.95, metres: 8}]", 12, 11.807480, 41, []float64{2.230673, 0.544327}},
		{"E8", "pixels: 150", 12, 9.366428, 150, []float64{8.325}},
	} {
		t.Run(test.name, func(t *testing.T) {
			keys := test.keys
			if !strings.Contains(keys, "amps_per_pixel") {
				keys += ", amps_per_pixel: 0.0555"
			}
			p := configtest.Load(t, fmt.Sprintf("supplies: [{name: a, volts: %g, watts: 350}]\nstrings:\n  - {name: s, universe: 1, supply: a, fuse_amps: 5, %s, %s}\n", test.volts, per100m, keys))
			b := New(p)
			s := b.Strings[0]
			near(t, "lowest volts", s.LowestVolts, test.lowest, 2e-6)
			if s.LowestVoltsPixel != test.pixel {
				t.Errorf("lowest at pixel %d, want %d", s.LowestVoltsPixel, test.pixel)
			}
			for i, amps := range test.feeds {
				near(t, "feed "+s.Feeds[i].At, s.Feeds[i].FullWhiteAmps, amps, 2e-6)
			}
		})
	}
}

// E6: resistors of 216.216 ohms. E8: a driver that fades from 10.4 V to nothing at 9.0 V.
func TestByLaw(t *testing.T) {
	p := configtest.Load(t, `
supplies: [{name: a, volts: 12, watts: 350}]
strings:
  - {name: e6, universe: 1, pixels: 50, amps_per_pixel: 0.0555, load: resistor, supply: a, pitch: {milliohms: 20.95, millimetres: 100}}
  - {name: e8, universe: 2, pixels: 150, amps_per_pixel: 0.0555, supply: a, pitch: {milliohms: 20.95, millimetres: 100}}
`)
	b := New(p)
	e6, e8 := b.Strings[0].ChipAware, b.Strings[1].ChipAware
	if e6 == nil || e8 == nil {
		t.Fatal("no figures by the chips' laws")
	}
	near(t, "E6 lowest volts", e6.LowestVolts, 11.709491, 2e-6)
	near(t, "E6 amperes", e6.Amps, 2.729728, 2e-6)
	near(t, "E8 lowest volts", e8.LowestVolts, 9.899773, 2e-6)
	near(t, "E8 amperes", e8.Amps, 7.270994, 5e-6) // as near as the simulator iterates
	if e8.FirstFadedPixel != 73 {
		t.Errorf("E8: first faded pixel %d, want 73", e8.FirstFadedPixel)
	}
}

func TestDemoPlan(t *testing.T) {
	p, _ := config.Demo()
	b := New(p)
	for _, problem := range b.Problems {
		t.Error(problem)
	}
	for _, n := range b.Notes {
		t.Error(n)
	}
}
