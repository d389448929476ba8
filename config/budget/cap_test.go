package budget

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/configtest"
)

var plans = flag.Int("plans", 20, "for how many random plans TestCapHolds holds the cap against the current of every part")

const capPlan = `
supplies: [{name: a, volts: 12, watts: %g}]
feeders: [{name: block, supply: a, awg: 10, metres: 0.01, fuse_amps: 5}]
strings:
  - {name: two, universe: 1, pixels: 100, amps_per_pixel: 0.055, supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 76}, feeds: [{at: start, awg: 18, metres: 3}, {at: end, awg: 16, metres: 4}]}
  - {name: one, universe: 2, pixels: 100, amps_per_pixel: 0.055, supply: a, fuse_amps: 5, pitch: {awg: 16, millimetres: 76}}
  - {name: fed, universe: 3, pixels: 100, amps_per_pixel: 0.055, pitch: {awg: 16, millimetres: 76}, feeds: [{at: start, from: block}]}
`

// 5.5 A: through two 5 A fuses at 75 % it may be full white, through one it may
// be 3.75/5.5 of it.
func TestCap(t *testing.T) {
	b := New(configtest.Load(t, fmt.Sprintf(capPlan, 1000.0)))
	const idle = 0.1 // 100 pixels of 1 mA
	one := (3.75 - idle) / (5.5 - idle)
	for _, test := range []struct {
		duty  []float64
		level float64
		by    string
	}{
		{[]float64{1, 0, 0}, 1, ""},
		{[]float64{0, 1, 0}, one, "fuse of one at start, 5 A at 75 %"},
		{[]float64{0, 0, 1}, one, "fuse of feeder block, 5 A at 75 %"},
		{[]float64{0, 0.5, 0}, 1, ""},
		{[]float64{1, 0.9, 0}, one / 0.9, "fuse of one at start, 5 A at 75 %"},
		{[]float64{0, 0, 0}, 1, ""},
		{nil, 1, ""},
	} {
		c := b.Cap(test.duty)
		near(t, fmt.Sprint("level of ", test.duty), c.Level, test.level, 1e-4)
		if c.By != test.by || c.BoundBy != test.by {
			t.Errorf("%v: %+v, want by %q", test.duty, c, test.by)
		}
	}
	near(t, "one: level within the fuses", b.Strings[1].WithinFusesPercent, 100*one, 0.01)
	near(t, "two: level within the fuses", b.Strings[0].WithinFusesPercent, 100, 0)

	b = New(configtest.Load(t, fmt.Sprintf(capPlan, 180.0))) // 12 A of its 15 for 11 A of two strings
	if c := b.Cap([]float64{1, 1, 0}); c.Level > one || c.Level < one-1e-3 {
		t.Errorf("two strings on 180 W: %+v", c)
	}
	b = New(configtest.Load(t, fmt.Sprintf(capPlan, 100.0)))
	c := b.Cap([]float64{1, 0, 0})
	near(t, "one string on 100 W", c.Level, 1, 0) // 5.5 A of 6.67
	c = b.Cap([]float64{1, 1, 1})
	near(t, "three strings on 100 W", c.Level, (100.0/12*0.8-3*idle)/(3*(5.5-idle)), 1e-4)
	if !strings.HasPrefix(c.By, "supply a") {
		t.Errorf("three strings on 100 W: %+v", c)
	}
	near(t, "level within the fuses of all together", b.Strings[0].WithinFusesPercent, 100*c.Level, 0.01)
	near(t, "amperes of the supply", b.SupplyAmps([]float64{1, 0.5, 0}, 0.5)["a"], 3*idle+0.75*(5.5-idle), 1e-3)
}

func TestCapUnknown(t *testing.T) {
	for missing, plan := range map[string]string{
		"set fuse_amps":      `[{name: s, universe: 1, pixels: 50, supply: a}]`,
		"set supply":         `[{name: s, universe: 1, pixels: 50, volts: 12, fuse_amps: 5}]`,
		"set amps_per_pixel": `[{name: s, universe: 1, pixels: 50, supply: a, fuse_amps: 5, chip: tm1814, order: RGBW}]`,
		"set watts":          `[{name: s, universe: 1, pixels: 50, supply: bare, fuse_amps: 5}]`,
		"set pitch":          `[{name: s, universe: 1, pixels: 50, supply: a, fuse_amps: 5, feeds: [{at: start}, {at: end}]}]`,
	} {
		p, _ := config.Load("test.yaml", strings.NewReader("supplies: [{name: a, volts: 12, watts: 350}, {name: bare, volts: 12}]\nstrings: "+plan))
		c := New(p).Cap([]float64{1})
		if c.Level != unknownLevel || !strings.HasSuffix(c.By, missing) || c.Bound != 1 {
			t.Errorf("%s: %+v", missing, c)
		}
	}
	// Where the plan is made of flags it is flags that are asked for, all of them at once.
	for missing, one := range map[string]config.One{
		"give --fuse-amps, --volts and --supply-watts": {},
		"give --fuse-amps":                      {Volts: 12, SupplyWatts: 60},
		"give --volts and --supply-watts":       {FuseAmps: 5},
		"give --supply-watts":                   {FuseAmps: 5, Volts: 12},
		"give --volts":                          {FuseAmps: 5, SupplyWatts: 60},
		"write a plan that sets amps_per_pixel": {Chip: "tm1814", Order: "RGBW"},
	} {
		one.Universe, one.Pixels = 1, 50
		p, _ := config.OneString(one)
		if c := New(p).Cap([]float64{1}); c.Level != unknownLevel || !strings.HasSuffix(c.By, ": "+missing) {
			t.Errorf("%s: %+v", missing, c)
		}
	}
	// What is known binds below the careful default, asked or not.
	p := configtest.Load(t, `
supplies: [{name: a, volts: 12, watts: 12}]
strings: [{name: s, universe: 1, pixels: 100, amps_per_pixel: 0.055, idle_amps_per_pixel: 0, supply: a}]`)
	c := New(p).Cap([]float64{1})
	near(t, "12 W", c.Level, 0.8/5.5, 1e-6)
	near(t, "12 W, asked for", c.Bound, 0.8/5.5, 1e-6)
}

func TestControllerInput(t *testing.T) {
	p := configtest.Load(t, `
controllers: [{name: c, max_amps: 4}]
supplies: [{name: a, volts: 12, watts: 350}]
strings:
  - {name: s, controller: c, port: 1, universe: 1, pixels: 100, amps_per_pixel: 0.055, idle_amps_per_pixel: 0, supply: a, fuse_amps: 10, pitch: {awg: 16, millimetres: 50}}
`)
	b := New(p)
	c := b.Cap([]float64{1})
	near(t, "level", c.Level, 4/5.5, 1e-6)
	if !strings.Contains(c.By, "controller c") {
		t.Errorf("%+v", c)
	}
	near(t, "load", b.Controllers[0].LoadPercent, 137.5, 0.01)
}

// worstLoad solves the plan with each pixel lit by its mask at a level, and
// returns the highest load of anything with a limit, as a share of it.
func worstLoad(b *Budget, level float64, masks [][]float64) (float64, bool) {
	worst := 0.0
	over := func(amps, limit float64) {
		if limit > 0 {
			worst = max(worst, math.Abs(amps)/limit) // a fuse knows no direction
		}
	}
	supplies := map[*config.Supply]float64{}
	controllers := map[*config.Controller]float64{}
	for _, gc := range b.groups {
		g := b.group(gc)
		index := map[*ladder]int{}
		for i, l := range g.ladders {
			index[l] = gc.strings[i]
		}
		if !g.solve(g.ladders, func(l *ladder, k int) float64 {
			if pixel := l.pixel(k); pixel > 0 {
				return l.pixelAmps(k, level*masks[index[l]][pixel-1])
			}
			return dark(l, k)
		}, careful) {
			return 0, false
		}
		for _, l := range g.ladders {
			for _, t := range l.terms {
				if !l.positive(t) {
					continue
				}
				f := l.s.Feeds[t.feed]
				amps := g.termAmps(l, t)
				over(amps, f.FuseAmps*f.FuseContinuousShare)
				supplies[f.Supply] += amps
				if throughController(f) {
					controllers[l.s.Controller] += amps
				}
			}
		}
		for j, f := range g.feeders {
			over(g.g[j*g.rails]*(g.supply[j*g.rails]-g.u[j*g.rails]), f.FuseAmps*f.FuseContinuousShare)
		}
	}
	for s, amps := range supplies {
		if s != nil && s.Volts > 0 {
			over(amps, s.Watts/s.Volts*s.ContinuousShare)
		}
	}
	for c, amps := range controllers {
		if c != nil {
			over(amps, c.MaxAmps)
		}
	}
	return worst, true
}

// A feeder lowers all leads behind it together, which moves no current from one to
// another: a string's fuses bind as if its leads came from the supply (superposition, for
// constant currents).
func TestCapBehindOneFeeder(t *testing.T) {
	const plan = `
supplies: [{name: a, volts: 12, watts: 350}]
feeders: [{name: box, supply: a, awg: 10, metres: 9, fuse_amps: 15}]
strings:
  - {name: s, universe: 1, pixels: 18, amps_per_pixel: 0.3, supply: a, pitch: {awg: 20, millimetres: 239}, feeds: [
      {at: start, %[1]s, awg: 14, metres: 2, fuse_amps: 2}, {at: 7, %[1]s, awg: 10, metres: 2, fuse_amps: 3},
      {at: 10, %[1]s, awg: 10, metres: 2, fuse_amps: 2}, {at: end, %[1]s, awg: 12, metres: 2, fuse_amps: 3}]}
`
	behind, apart := New(configtest.Load(t, fmt.Sprintf(plan, "from: box"))), New(configtest.Load(t, fmt.Sprintf(plan, "supply: a")))
	for _, duty := range []float64{0.1, 0.5, 1} {
		near(t, fmt.Sprint("level of ", duty), behind.Cap([]float64{duty}).Level, apart.Cap([]float64{duty}).Level, 1e-6)
	}
	near(t, "level within the fuses", behind.Strings[0].WithinFusesPercent, apart.Strings[0].WithinFusesPercent, 1e-4)
	if l := apart.Strings[0].WithinFusesPercent; l <= 30 || l >= 100 {
		t.Errorf("no fuse binds: %g %%", l)
	}
}

// Wherever the light sits, a capped level loads nothing past its share; and
// lighting less never lowers the cap.
func TestCapHolds(t *testing.T) {
	for seed := range uint64(*plans) {
		checkCap(t, randomPlan(rand.New(rand.NewPCG(seed, 2)), 1+int(seed%4)), seed)
	}
}

func checkCap(t *testing.T, text string, seed uint64) {
	p := configtest.Load(t, text)
	r := rand.New(rand.NewPCG(seed, 3))
	for _, s := range p.Supplies {
		s.Watts *= r.Float64() // so that something binds
	}
	for _, f := range p.Feeders {
		f.FuseAmps *= r.Float64()
	}
	b := New(p)
	duty := make([]float64, len(p.Strings))
	masks := make([][]float64, len(p.Strings))
	for i, s := range p.Strings {
		masks[i] = make([]float64, s.Pixels)
		sum := 0.0
		from, to, on := r.IntN(s.Pixels), r.IntN(s.Pixels+1), r.Float64()
		if r.IntN(4) == 0 {
			from, to, on = 0, s.Pixels, 1
		}
		for k := from; k < to; k++ { // a block of light somewhere
			masks[i][k] = on
			sum += on
		}
		duty[i] = sum / float64(s.Pixels)
	}
	if load, ok := worstLoad(b, 0, masks); !ok || load > 1 {
		return // too much even when dark
	}
	c := b.Cap(duty)
	if !(c.Level >= 0 && c.Level <= 1) || !(c.Bound >= c.Level && c.Bound <= 1) {
		t.Fatalf("seed %d: %+v", seed, c)
	}
	if load, ok := worstLoad(b, c.Bound, masks); c.Bound > 0 && (!ok || load > 1+1e-6) {
		t.Errorf("seed %d: at the cap of %.4f (%s) something bears %.6f of its share (state: %t)", seed, c.Bound, c.BoundBy, load, ok)
	}
	even := make([][]float64, len(p.Strings))
	for i, s := range p.Strings {
		even[i] = make([]float64, s.Pixels)
		for k := range even[i] {
			even[i][k] = duty[i]
		}
	}
	spread := b.CapSpread(duty)
	if spread.Bound < c.Bound-1e-9 {
		t.Errorf("seed %d: spread light is capped at %g, light anywhere at %g", seed, spread.Bound, c.Bound)
	}
	if load, ok := worstLoad(b, spread.Bound, even); spread.Bound > 0 && (!ok || load > 1+1e-6) {
		t.Errorf("seed %d: at the spread cap of %.4f (%s) something bears %.6f of its share (state: %t)", seed, spread.Bound, spread.BoundBy, load, ok)
	}
	for range 3 {
		less := slices.Clone(duty)
		less[r.IntN(len(less))] *= r.Float64()
		less[r.IntN(len(less))] = 0
		if l := b.Cap(less); l.Bound < c.Bound-1e-9 || l.Level < c.Level-1e-9 {
			t.Errorf("seed %d: %v is capped at %g (%s), the brighter %v at %g", seed, less, l.Level, l.By, duty, c.Level)
		}
	}
	for i, s := range b.Strings {
		for _, v := range []float64{s.FullWhiteAmps, s.LowestVolts, s.WithinFusesPercent, s.WireHeatWatts, s.WorkingLevelPercent} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("seed %d: string %d: %+v", seed, i, s)
			}
		}
	}
}
