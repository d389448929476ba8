package budget

import (
	"fmt"
	"math"
	"testing"

	"yardproof/config/configtest"
)

// Closed forms for a uniform ladder, derived from Ohm's and Kirchhoff's laws: N
// pixels of I amperes, R ohms of loop for each pitch.
func TestClosedForms(t *testing.T) {
	const amps, ohms = 0.05, 0.004
	plan := func(pixels int, keys string) *String {
		text := fmt.Sprintf("supplies: [{name: a, volts: 12, watts: 350}]\nstrings:\n  - {name: s, universe: 1, pixels: %d, amps_per_pixel: %g, supply: a, pitch: {milliohms: %g, millimetres: 100}%s}\n",
			pixels, amps, 1000*ohms/2/0.1, keys)
		return &New(configtest.Load(t, text)).Strings[0]
	}
	for _, n := range []int{1, 2, 3, 7, 50, 99, 300} { // 300 end at 2.97 V
		N := float64(n)
		one := plan(n, "")
		near(t, "one end: lowest", one.LowestVolts, 12-amps*ohms*N*(N+1)/2, 1e-6)
		near(t, "one end: heat", one.WireHeatWatts, amps*amps*ohms*N*(N+1)*(2*N+1)/6, 1e-5*(1+one.WireHeatWatts))
		if n > 1 {
			both := plan(n, ", feeds: [{at: start}, {at: end}]")
			worst := amps * ohms * N * N / 8
			if n%2 == 1 {
				worst = amps * ohms * (N*N - 1) / 8
			}
			near(t, "both ends: lowest", both.LowestVolts, 12-worst, 1e-6)
			near(t, "both ends: head", both.Feeds[0].FullWhiteAmps, amps*(N-1)/2, 1e-5)
			near(t, "both ends: far", both.Feeds[1].FullWhiteAmps, amps*(N+1)/2, 1e-5)

			const lead = 0.3 // of loop
			far := plan(n, fmt.Sprintf(", feeds: [{at: start}, {at: end, milliohms: %g, metres: 1}]", 1000*lead/2))
			ib := amps * ohms * N * (N + 1) / 2 / (ohms*N + lead)
			near(t, "far lead: far", far.Feeds[1].FullWhiteAmps, ib, 1e-5)
			near(t, "far lead: head", far.Feeds[0].FullWhiteAmps, N*amps-ib, 1e-5)
		}
		theta := math.Acosh(1 + ohms/(2*12/amps))
		law := plan(n, ", load: resistor").ChipAware
		if law == nil {
			t.Fatal("no figures for resistors")
		}
		near(t, "resistors: last", law.LowestVolts, 12*math.Cosh(theta/2)/math.Cosh((N+0.5)*theta), 1e-6)
	}
}

// One switching regulator behind a lead is a quadratic: V² - V·V0 + P·R = 0, and
// collapses when P·R > V0²/4.
func TestRegulator(t *testing.T) {
	plan := func(metres float64) *Budget {
		return New(configtest.Load(t, fmt.Sprintf(`
supplies: [{name: a, volts: 12, watts: 350}]
strings: [{name: s, universe: 1, pixels: 1, chip: none, load: power, amps_per_pixel: 4, idle_amps_per_pixel: 0, supply: a, fuse_amps: 20, pitch: {milliohms: 0.001, millimetres: 1}, feeds: [{at: start, milliohms: 50, metres: %g}]}]
`, metres)))
	}
	for _, metres := range []float64{0.1, 1, 3, 5, 7} {
		ohms := 2*0.05*metres + 2*noPitchOhms
		want := (12 + math.Sqrt(144-4*48*ohms)) / 2
		s := plan(metres).Strings[0]
		if s.ChipAware == nil || s.ChipAware.Collapse {
			t.Fatalf("%g m: no state", metres)
		}
		near(t, "volts", s.ChipAware.LowestVolts, want, 1e-5)
		near(t, "amps", s.FullWhiteAmps, 48/want, 1e-5)
	}
	b := plan(10) // 1 ohm: 36 W at the most
	s := b.Strings[0]
	if s.ChipAware == nil || !s.ChipAware.Collapse {
		t.Fatal("48 W through one ohm from 12 V is not seen to collapse")
	}
	near(t, "level up to which there is a state", s.ChipAware.CollapsePercent, 75, 0.1)
	if c := b.Cap([]float64{1}); c.Level > 0.75 {
		t.Errorf("the cap allows %g, the volts collapse above 0.75", c.Level)
	}
	if len(b.Problems) == 0 {
		t.Error("nothing is said of the collapse")
	}
}
