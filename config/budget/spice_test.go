package budget

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/configtest"
	"yardproof/sacn/sacntest"
)

// TestAgainstSpice compares volts and currents with ngspice, a circuit simulator
// that shares no code or method with this package: ten strings of one to four
// feeds and up to 1000 pixels, with feeders, cuts, jumpers, null pixels, two
// supplies, resistors, regulators and drivers that drop out. Its netlist has
// both rails of everything.
func TestAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	for seed := range uint64(3) {
		for _, law := range []bool{false, true} {
			t.Run(fmt.Sprintf("seed=%d,law=%t", seed, law), func(t *testing.T) {
				p := configtest.Load(t, randomPlan(rand.New(rand.NewPCG(seed, 1)), 1+3*min(int(seed), 1)))
				b := New(p)
				got := sacntest.Spice(t, netlist(b, law, plain()))
				compared := 0
				for i, s := range p.Strings {
					m := constant
					if law {
						m = aware
					}
					g, l := b.rebuildAt(i, plain())
					if !g.solve(g.ladders, fullWhite, m) {
						t.Fatalf("no state for %s", s.Name)
					}
					for pixel, v := range l.pixelVolts() {
						k := s.NullPixels + pixel + 1
						want := got[node("p", i, k)] - got[node("n", i, k)]
						if !(math.Abs(v-want) < 0.001) {
							t.Fatalf("%s (%s) pixel %d: %.6f V, ngspice has %.6f V", s.Name, l.law.kind, pixel+1, v, want)
						}
						compared++
					}
					for _, x := range l.terms {
						if l.positive(x) {
							near(t, fmt.Sprintf("%s feed %d", s.Name, x.feed), g.termAmps(l, x), got[fmt.Sprintf("vm%d_%d#branch", i, x.feed)], 1e-4)
						}
					}
				}
				t.Logf("%d pixels compared", compared)
			})
		}
	}
}

// randomPlan is a plan that a builder might write, in every form of wire. Its
// longest string has 1000 pixels, divided by short.
func randomPlan(r *rand.Rand, short int) string {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	var w strings.Builder
	fmt.Fprintf(&w, "temperature: %d\n", r.IntN(60)-20)
	w.WriteString("supplies:\n  - {name: a, volts: 12, watts: 600}\n  - {name: b, volts: 12, watts: 350}\n")
	w.WriteString("feeders:\n")
	fmt.Fprintf(&w, "  - {name: quay, supply: a, awg: 10, metres: %d, fuse_amps: 30}\n", 2+r.IntN(10))
	fmt.Fprintf(&w, "  - {name: slip, supply: a, awg: 12, metres: %d, fuse_amps: 20}\n", 2+r.IntN(10))
	fmt.Fprintf(&w, "  - {name: pier, supply: b, mm2: 4, metres: %d, fuse_amps: 30}\n", 2+r.IntN(10))
	w.WriteString("strings:\n")
	for i := range 10 {
		pixels := max(1, []int{1, 24, 50, 100, 100, 170, 250, 300, 500, 1000}[i]/short)
		amps := 0.02 + 0.035*r.Float64()
		feeds := 1 + r.IntN(4)
		if pixels > 200 {
			feeds = 4
			amps = 1.8 / float64(pixels) * float64(feeds)
		}
		if pixels < 10 {
			feeds = 1
		}
		load := pick("current", "current", "resistor", "power")
		pitch := pick("awg: 18", "mm2: 0.75", "milliohms: 21.5", "awg: 16, metal: cca")
		millimetres := 50 + r.IntN(60)
		if pixels > 200 {
			millimetres = 1 + 6000/pixels
		}
		fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: %d, null_pixels: %d, amps_per_pixel: %.5f, load: %s, pitch: {%s, millimetres: %d}",
			i, 1+10*i, pixels, r.IntN(3), amps, load, pitch, millimetres)
		if pixels > 30 && r.IntN(2) == 0 {
			fmt.Fprintf(&w, ", jumpers: [{after: %d, metres: %d, awg: 16}]", 1+r.IntN(pixels-1), 1+r.IntN(4))
		}
		cut := pixels >= 50 && feeds > 1 && r.IntN(3) == 0
		if cut {
			fmt.Fprintf(&w, ", cut_positive_after: [%d]", pixels/3-2)
		}
		w.WriteString(", feeds: [")
		for j := range feeds {
			at := "start"
			if j > 0 {
				at = strconv.Itoa(pixels * j / (feeds - 1 + btoi(feeds == 1)))
			}
			from := pick("supply: a", "from: slip", "from: quay")
			if cut && j > 0 {
				from = pick("supply: b", "from: pier")
			}
			fmt.Fprintf(&w, "{at: %s, %s, fuse_amps: 5, %s, metres: %d}, ", at, from, pick("awg: 14", "mm2: 2.5", "milliohms: 8"), 1+r.IntN(8))
		}
		w.WriteString("]}\n")
	}
	return w.String()
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func node(rail string, s, k int) string { return fmt.Sprintf("%s%d_%d", rail, s, k) }

// netlist draws the plan at full white and at a corner of its tolerance, every conductor
// on its own.
func netlist(b *Budget, law bool, c corner) string {
	p := b.plan
	var w strings.Builder
	w.WriteString("* full white\n.options reltol=1e-9 abstol=1e-13 vntol=1e-10 gmin=1e-16 itl1=500\n")
	element := 0
	resistor := func(a, c string, ohms float64) {
		element++
		fmt.Fprintf(&w, "R%d %s %s %.12g\n", element, a, c, ohms)
	}
	celsius := p.Temperature
	for i, s := range p.Supplies {
		fmt.Fprintf(&w, "VS%d sup%d 0 DC %g\n", i, i, s.Volts)
	}
	supply := func(s *config.Supply) string {
		for i, o := range p.Supplies {
			if o == s {
				return fmt.Sprintf("sup%d", i)
			}
		}
		panic("no supply")
	}
	for i, f := range p.Feeders {
		ohms := c.wire*ohmsPerMetre(f.Wire, celsius)*f.Wire.Metres + 2*c.joint
		resistor(supply(f.Supply), fmt.Sprintf("fp%d", i), ohms)
		resistor("0", fmt.Sprintf("fn%d", i), ohms)
	}
	for i, s := range p.Strings {
		chip := b.Strings[i].Chip
		extra := map[int]float64{}
		for _, j := range s.Jumpers {
			extra[s.NullPixels+j.After] += c.wire*ohmsPerMetre(j.Wire, celsius)*j.Wire.Metres + 2*c.joint
		}
		cut := map[int]bool{}
		for _, after := range s.CutPositiveAfter {
			cut[s.NullPixels+after] = true
		}
		each := c.wire * ohmsPerMetre(s.Pitch, celsius) * s.Pitch.Metres
		for k := 1; k <= s.NullPixels+s.Pixels; k++ {
			if !cut[k-1] {
				resistor(node("p", i, k-1), node("p", i, k), each+extra[k-1])
			}
			resistor(node("n", i, k-1), node("n", i, k), each+extra[k-1])
			amps := chip.AmpsPerPixel
			if k <= s.NullPixels {
				amps = chip.IdleAmpsPerPixel
			}
			amps *= c.pixels
			p, n := node("p", i, k), node("n", i, k)
			fade := chip.fade(s)
			switch {
			case law && chip.Load == config.LoadPower:
				fmt.Fprintf(&w, "BL%d_%d %s %s I=%.12g/max(V(%s,%s),1)\n", i, k, p, n, amps*s.Volts, p, n)
			case law && chip.Load == config.LoadResistor:
				resistor(p, n, s.Volts/amps)
			case law:
				fmt.Fprintf(&w, "BL%d_%d %s %s I=%.12g*min(1,max(0,(V(%s,%s)-%g)/%g))\n", i, k, p, n, amps, p, n, fade.ZeroVolts, fade.LowestVolts-fade.ZeroVolts)
			default:
				fmt.Fprintf(&w, "IL%d_%d %s %s DC %.12g\n", i, k, p, n, amps)
			}
			fmt.Fprintf(&w, ".nodeset v(%s)=%g v(%s)=0\n", p, s.Volts, n)
		}
		for j, f := range s.Feeds {
			k := f.Address
			if f.At == "start" {
				k = 0
			}
			from, back := "", "0"
			if f.Feeder != nil {
				for n, o := range p.Feeders {
					if o == f.Feeder {
						from, back = fmt.Sprintf("fp%d", n), fmt.Sprintf("fn%d", n)
					}
				}
			} else {
				from = supply(f.Supply)
			}
			ohms := c.wire*ohmsPerMetre(f.Wire, celsius)*f.Wire.Metres + 2*c.joint
			meter := fmt.Sprintf("m%d_%d", i, j)
			fmt.Fprintf(&w, "V%s %s %s DC 0\n", meter, from, meter)
			resistor(meter, node("p", i, k), ohms)
			resistor(back, node("n", i, k), ohms)
		}
	}
	w.WriteString(".control\nop\nset numdgt=12\nprint all\nquit\n.endc\n.end\n")
	return w.String()
}
