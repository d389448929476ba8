package budget

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"yardproof/config/configtest"
)

// said reports whether a plan's problems, or its notes, contain a text.
func said(b *Budget, text string) (problem, note bool) {
	for _, p := range b.Problems {
		problem = problem || strings.Contains(p.What, text)
	}
	for _, n := range b.Notes {
		note = note || strings.Contains(n.What, text)
	}
	return problem, note
}

// No volts are passed over: a string either has a figure below which it fades, or a
// note that there is none. 170 pixels of 55.5 mA on 8.03 mohm a pitch lose 12.96 V by
// the sum n(n+1)/2, so a 24 V string ends at 11.04 V.
func TestVoltsAreJudgedForEveryPixel(t *testing.T) {
	const plan = "supplies: [{name: a, volts: %g, watts: 600}]\nstrings: [{name: s, universe: 1, pixels: %d, supply: a, amps_per_pixel: 0.0555, pitch: {milliohms: 80.3, millimetres: 100}, chip: %s}]\n"
	for _, tt := range []struct {
		volts   float64
		pixels  int
		chip    string
		problem string
		note    string
	}{
		{24, 170, "ws2811", "fades below 20.8 V", ""},
		{24, 170, "{name: ws2811, lowest_volts: 9}", "", ""},
		{24, 170, "{name: ws2811, lowest_volts: 18}", "fades below 18 V", ""},
		{24, 20, "ws2811", "", ""},
		{24, 170, "tm1809", "", "at how many volts its colours fade is not known"},
		{24, 170, "none", "", "at how many volts its colours fade is not known"},
		{36, 20, "ucs8904b", "ucs8904b works from", "at how many volts its colours fade is not known"},
		{12, 150, "ws2811", "fades below 10.4 V", ""},
	} {
		b := New(configtest.Load(t, fmt.Sprintf(plan, tt.volts, tt.pixels, tt.chip)))
		fades, _ := said(b, "fades")
		if problem, _ := said(b, tt.problem); tt.problem != "" && !problem || tt.problem == "" && fades {
			t.Errorf("%+v: problems %v", tt, b.Problems)
		}
		_, unknown := said(b, "its colours fade")
		if unknown != (tt.note != "") {
			t.Errorf("%+v: notes %v", tt, b.Notes)
		}
	}
	b := New(configtest.Load(t, fmt.Sprintf(plan, 24.0, 170, "ws2811")))
	near(t, "volts of the last pixel", b.Strings[0].LowestVolts, 24-170*171/2*0.0555*2*0.00803, 1e-4)
}

// A supply that gives more than pixels are sold for is said, unless the plan says
// what they are made for.
func TestSupplyAboveThePixels(t *testing.T) {
	for _, tt := range []struct {
		volts  float64
		keys   string
		warned bool
	}{{14.5, "", true}, {12, "", false}, {12.6, "", false}, {5.2, "", false}, {6, "", true}, {24, "", false}, {23, "", false}, {14.5, ", volts: 14.5", false}, {13.8, "", true}} {
		b := New(configtest.Load(t, fmt.Sprintf("supplies: [{name: a, volts: %g, watts: 100}]\nstrings: [{name: s, universe: 1, pixels: 10, supply: a%s}]\n", tt.volts, tt.keys)))
		if warned, _ := said(b, "made for"); warned != tt.warned {
			t.Errorf("%g V%s: warned %t: %v", tt.volts, tt.keys, warned, b.Problems)
		}
	}
}

// A regulator of 24 W behind 1 ohm from 12 V: v² - 12 v + 24 = 0, so it has 9.464 V and
// draws 2.536 A, which heat the wire with 6.431 W, not with the 4 W of 2 A.
func TestHeatOfRegulators(t *testing.T) {
	b := New(configtest.Load(t, "supplies: [{name: a, volts: 12, watts: 100}]\nstrings: [{name: s, universe: 1, pixels: 1, chip: none, load: power, supply: a, amps_per_pixel: 2, feeds: [{at: start, milliohms: 50, metres: 10}]}]\n"))
	near(t, "amperes", b.Strings[0].FullWhiteAmps, 2.535898, 1e-5)
	near(t, "heat of the wire", b.Strings[0].WireHeatWatts, 6.430781, 1e-4)
}

// At its working level each string still has its volts, whatever its neighbours draw.
func TestWorkingLevelHolds(t *testing.T) {
	for seed := range uint64(30) {
		b := New(configtest.Load(t, randomPlan(rand.New(rand.NewPCG(seed, 9)), 1+int(seed%4))))
		for n := range b.Strings {
			r := &b.Strings[n]
			if r.WorkingLevelPercent <= 0 || r.WorkingVolts <= 0 {
				continue
			}
			g, l := b.rebuildAt(n, plain())
			if !g.solve(g.ladders, func(l *ladder, k int) float64 { return l.pixelAmps(k, r.WorkingLevelPercent/100) }, careful) {
				t.Errorf("seed %d, string %d: no state at its working level of %g %%", seed, n, r.WorkingLevelPercent)
			} else if v, pixel := l.lowest(); v < r.WorkingVolts-1e-4 {
				t.Errorf("seed %d, string %d: pixel %d has %.4f V at its working level of %.2f %%, it needs %.4g", seed, n, pixel, v, r.WorkingLevelPercent, r.WorkingVolts)
			}
		}
	}
}

// Nobody has less than no volts: 100 A a pixel used to print -522 V.
func TestStarvedStringSaysSo(t *testing.T) {
	b := New(configtest.Load(t, "supplies: [{name: a, volts: 12, watts: 100}]\nstrings: [{name: s, universe: 1, pixels: 50, supply: a, amps_per_pixel: 100, pitch: {awg: 18, millimetres: 100}}]\n"))
	if s := b.Strings[0]; s.LowestVolts != 0 || !s.Starved || s.LowestVoltsBand.Least < 0 {
		t.Errorf("%+v", s)
	}
	if problem, _ := said(b, "its wire cannot bring 5000 A at full white: nothing is left of the volts at pixel 50"); !problem {
		t.Errorf("%v", b.Problems)
	}
}
