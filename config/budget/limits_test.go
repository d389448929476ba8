package budget

import (
	"fmt"
	"strings"
	"testing"

	"yardproof/config/configtest"
)

// A string that is fed at both ends lets the current of its neighbour on the
// feeder through, against the direction of its own: 3.186 A by an independent nodal
// solver. A fuse knows no direction.
func TestReverseCurrentLoadsItsFuse(t *testing.T) {
	b := New(configtest.Load(t, `
supplies: [{name: a, volts: 12, watts: 600}]
feeders: [{name: far, supply: a, awg: 14, metres: 15, fuse_amps: 15}]
strings:
  - {name: w, universe: 1, pixels: 80, amps_per_pixel: 0.06, pitch: {awg: 18, millimetres: 75}, feeds: [{at: start, from: far}]}
  - {name: b, universe: 2, pixels: 20, amps_per_pixel: 0.02, pitch: {awg: 18, millimetres: 75}, feeds: [{at: start, from: far, fuse_amps: 2}, {at: end, supply: a, awg: 16, metres: 2, fuse_amps: 7}]}
`))
	feed := b.Strings[1].Feeds[0]
	near(t, "amperes", feed.FullWhiteAmps, -3.186, 5e-4)
	near(t, "load of the fuse", feed.FuseLoadPercent, 100*3.186/1.5, 0.05)
	said := false
	for _, p := range b.Problems {
		said = said || strings.Contains(p.What, "3.19 A through the 2 A fuse at start")
	}
	if !said {
		t.Errorf("nobody says that 3.19 A flow through 2 A: %v", b.Problems)
	}
	// At the level that is allowed, 1.5 A flow, as the plan is linear. The idle
	// currents are those of 1 mA a pixel.
	idle, full := feed.IdleAmps, feed.FullWhiteAmps
	level := (-1.5 - idle) / (full - idle)
	near(t, "level of all", b.Strings[1].WithinFusesPercent, 100*level, 1e-3)
	c := b.CapSpread([]float64{1, 1})
	near(t, "level of full white", c.Level, level, 1e-5)
	if c.By != "fuse of b at start, 2 A at 75 %" {
		t.Errorf("limited by %q", c.By)
	}
	// With b dark, more of w's current comes that way.
	if alone := b.CapSpread([]float64{1, 0}); alone.Level >= c.Level || alone.Level < c.Level-0.05 {
		t.Errorf("w alone: %+v, both %+v", alone, c)
	}
	if anywhere := b.Cap([]float64{1, 1}); anywhere.Level > c.Level {
		t.Errorf("anywhere %+v, even %+v", anywhere, c)
	}
}

// What flows in the dark is too much already, so no level helps.
func TestLevelIsZeroWhereDimmingCannotHelp(t *testing.T) {
	for _, idle := range []float64{0.05, 0.031, 0.03} {
		b := New(configtest.Load(t, fmt.Sprintf(`
supplies: [{name: a, volts: 12, watts: 600}]
strings:
  - {name: s, universe: 1, pixels: 50, amps_per_pixel: 0.05, idle_amps_per_pixel: %g, supply: a, fuse_amps: 2}
  - {name: other, universe: 2, pixels: 50, amps_per_pixel: 0.02, supply: a, fuse_amps: 5}
`, idle)))
		want := 0.0
		near(t, fmt.Sprint("level within the fuses, idle ", idle), b.Strings[0].WithinFusesPercent, want, 1e-4)
		c := b.CapSpread([]float64{1, 0})
		near(t, fmt.Sprint("level, idle ", idle), c.Level, want, 1e-6)
		// What is lit elsewhere is no matter of this fuse.
		near(t, "level of the other string", b.Cap([]float64{0, 1}).Level, 1, 0)
		near(t, "level of dark", b.Cap(nil).Level, 1, 0)
	}
}

// Three of ten pixels, evenly spread, are the 4th, the 7th and the 10th: here all of
// them are on the far piece, which may have 1.5 A and draws 2.1 A.
func TestCapOfACountHoldsWhereItsPixelsAre(t *testing.T) {
	b := New(configtest.Load(t, `
supplies: [{name: a, volts: 12, watts: 600}, {name: b, volts: 12, watts: 600}]
strings:
  - {name: s, universe: 1, pixels: 10, amps_per_pixel: 0.7, idle_amps_per_pixel: 0, pitch: {awg: 14, millimetres: 100}, cut_positive_after: [3], feeds: [{at: start, supply: a, fuse_amps: 15}, {at: end, supply: b, fuse_amps: 2}]}
`))
	c := b.CapSpread([]float64{0.3})
	near(t, "level of 3 of 10", c.Level, 1.5/2.1, 1e-4)
}

// Of all counts, on a string with several feeds, none is over its fuses at its cap,
// by solving the wire with the pixels that are lit.
func TestCapOfEveryCount(t *testing.T) {
	b := New(configtest.Load(t, `
supplies: [{name: a, volts: 12, watts: 600}]
strings:
  - {name: s, universe: 1, pixels: 60, amps_per_pixel: 0.3, pitch: {awg: 14, millimetres: 200}, feeds: [{at: start, supply: a, fuse_amps: 3}, {at: 20, supply: a, awg: 18, metres: 3, fuse_amps: 4}, {at: end, supply: a, fuse_amps: 3}]}
`))
	n := 60
	for count := 1; count <= n; count++ {
		mask := make([]float64, n)
		for i := range mask {
			if (i+1)*count/n > i*count/n {
				mask[i] = 1
			}
		}
		c := b.CapSpread([]float64{float64(count) / float64(n)})
		load, ok := worstLoad(b, c.Level, [][]float64{mask})
		if !ok || load > 1+1e-6 {
			t.Errorf("%d of %d pixels at the cap of %.4f (%s): something bears %.4f of its share", count, n, c.Level, c.By, load)
		}
		if c.Level < 1 && load < 0.8 {
			t.Errorf("%d of %d pixels at the cap of %.4f (%s): nothing bears more than %.4f of its share", count, n, c.Level, c.By, load)
		}
	}
}

// The plan's own level is one at which every string may be lit at once. Strings
// that each stand at their own may be too much for a fuse that they share.
func TestLevelOfAllTogether(t *testing.T) {
	b := New(configtest.Load(t, fmt.Sprintf(capPlan, 100.0)))
	c := b.CapSpread([]float64{1, 1, 1})
	near(t, "level of all together", b.WithinFusesPercent, 100*c.Level, 1e-6)
	if b.WithinFusesBy != c.By {
		t.Errorf("limited by %q, want %q", b.WithinFusesBy, c.By)
	}
}

// 0.75 In (1 - 0.002 (T - 25)), from an excerpt of a fuse derating guide: 5 A at
// 60 degrees may carry 3.49 A. Nothing is added for cold.
func TestFusesCarryLessWhereItIsHot(t *testing.T) {
	const plan = `
temperature: %s
supplies: [{name: a, volts: 12, watts: 600}]
feeders: [{name: block, supply: a, awg: 10, metres: 1, fuse_amps: 5%s}]
strings:
  - {name: s, universe: 1, pixels: 60, amps_per_pixel: 0.06, supply: a, fuse_amps: 5, pitch: {awg: 16, millimetres: 50}%s, feeds: [{at: start, awg: 16, metres: 1%s}]}
  - {name: f, universe: 2, pixels: 60, amps_per_pixel: 0.06, pitch: {awg: 16, millimetres: 50}, feeds: [{at: start, from: block}]}
`
	for _, tt := range []struct {
		plan, feeder, string, feed string
		load, feederLoad           float64
	}{
		{"20", "", "", "", 96, 96},
		{"-20", "", "", "", 96, 96},
		{"60", "", "", "", 103.2258, 103.2258},
		{"20", ", temperature: 60", "", "", 96, 103.2258},
		{"20", "", ", temperature: 60", "", 103.2258, 96},
		{"20", "", ", temperature: 30", ", temperature: 60", 103.2258, 96},
		{"60", ", temperature: 20", ", temperature: 60", ", temperature: 20", 96, 96},
	} {
		b := New(configtest.Load(t, fmt.Sprintf(plan, tt.plan, tt.feeder, tt.string, tt.feed)))
		near(t, fmt.Sprintf("%v: load of the fuse", tt), b.Strings[0].Feeds[0].FuseLoadPercent, tt.load, 1e-3)
		near(t, fmt.Sprintf("%v: load of the feeder's", tt), b.Feeders[0].FuseLoadPercent, tt.feederLoad, 1e-3)
		if c := b.CapSpread([]float64{1, 0}); (c.Level < 1) != (tt.load > 100) || tt.load > 100 && c.By != "fuse of s at start, 5 A at 75 %, less for 60 °C" {
			t.Errorf("%v: %+v", tt, c)
		}
	}
	near(t, "5 A at 60 degrees", 5*0.75*fuseAtHeat(60), 3.49, 0.005)
}

// A string, a feed and a feeder have wire as warm as their places.
func TestWireIsAsWarmAsItsPlace(t *testing.T) {
	const plan = `
supplies: [{name: a, volts: 12, watts: 600}]
strings: [{name: s, universe: 1, pixels: 1, amps_per_pixel: 2, supply: a, fuse_amps: 5%s, pitch: {milliohms: 10, metres: 1}, feeds: [{at: start, milliohms: 10, metres: 10%s}]}]
`
	const hot = 1 + 0.00393*40 // NBS Handbook 100, at 60 degrees
	for _, tt := range []struct {
		string, feed string
		milliohms    float64
	}{{"", "", 22 * 10}, {", temperature: 60", "", 22 * 10 * hot}, {"", ", temperature: 60", 20*10*hot + 20}, {", temperature: 60", ", temperature: 20", 20*10 + 20*hot}} {
		b := New(configtest.Load(t, fmt.Sprintf(plan, tt.string, tt.feed)))
		near(t, fmt.Sprintf("%v: volts", tt), b.Strings[0].LowestVolts, 12-2*tt.milliohms/1000, 1e-5)
	}
}

// A feeder that is lost leaves a string with its other feed, exactly as if it had never
// had the first; a string without another is dark.
func TestLostFeeder(t *testing.T) {
	const rest = "\n  - {name: only, universe: 2, pixels: 20, amps_per_pixel: 0.02, pitch: {awg: 18, millimetres: 75}, feeds: [{at: start, from: near}]}\n"
	const both = "feeds: [{at: start, from: far}, {at: end, supply: a, awg: 16, metres: 6, fuse_amps: 5}]}"
	plan := `
supplies: [{name: a, volts: 12, watts: 600}]
feeders: [{name: far, supply: a, awg: 14, metres: 5, fuse_amps: 15}, {name: near, supply: a, awg: 14, metres: 5, fuse_amps: 15}]
strings:
  - {name: s, universe: 1, pixels: 100, amps_per_pixel: 0.055, pitch: {awg: 18, millimetres: 75}, ` + both + rest
	b := New(configtest.Load(t, plan))
	far, near2 := b.Feeders[0].Lost, b.Feeders[1].Lost
	if far == nil || near2 == nil {
		t.Fatalf("nothing is known: %+v, %+v", far, near2)
	}
	if len(near2.Dark) != 1 || near2.Dark[0] != "only" || len(far.Dark) != 0 {
		t.Errorf("dark: %q without near, %q without far", near2.Dark, far.Dark)
	}
	if got := far.Text(); !strings.Contains(got, "may blow: 5.5 A through 5 A") {
		t.Errorf("without far: %s", got)
	}
	alone := New(configtest.Load(t, strings.Replace(plan, "{at: start, from: far}, ", "", 1))).Strings[0]
	near(t, "lowest volts", far.LowestVolts, alone.LowestVolts, 1e-6)
	// Everything is whole again after that.
	s := b.Strings[0]
	near(t, "amperes", s.Feeds[0].FullWhiteAmps+s.Feeds[1].FullWhiteAmps, 5.5, 1e-6)
}
