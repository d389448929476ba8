package budget

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"yardproof/config"
	"yardproof/config/configtest"
	"yardproof/sacn/sacntest"
)

// TestBandAgainstSpice holds both ends of the lowest volts of random strings against
// ngspice, whose netlist has every joint and every wire at the end of its tolerance.
func TestBandAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	for seed := range uint64(2) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			p := configtest.Load(t, "tolerance: {wire: 7 %, joint_milliohms: 25, pixel: 15 %}\n"+randomPlan(rand.New(rand.NewPCG(seed, 5)), 4))
			b := New(p)
			least, most := corners(p.Tolerance)
			low, high := sacntest.Spice(t, netlist(b, false, least)), sacntest.Spice(t, netlist(b, false, most))
			compared := 0
			for i, s := range p.Strings {
				r := &b.Strings[i]
				if r.Starved || r.LowestVoltsBand.Least == 0 {
					continue
				}
				lowest := func(volts map[string]float64) float64 {
					lowest := math.Inf(1)
					for k := s.NullPixels + 1; k <= s.NullPixels+s.Pixels; k++ {
						lowest = min(lowest, volts[node("p", i, k)]-volts[node("n", i, k)])
					}
					return lowest
				}
				near(t, s.Name+", least", r.LowestVoltsBand.Least, lowest(low), 1e-4)
				near(t, s.Name+", most", r.LowestVoltsBand.Most, lowest(high), 1e-4)
				if !(r.LowestVoltsBand.Least < r.LowestVolts && r.LowestVolts < r.LowestVoltsBand.Most) {
					t.Errorf("%s: %g V is not within %+v", s.Name, r.LowestVolts, r.LowestVoltsBand)
				}
				compared++
			}
			if compared < 5 {
				t.Fatalf("%d strings compared", compared)
			}
		})
	}
}

// One end of 50 pixels: the drop of I·R·N(N+1)/2 (as any handbook of distribution has
// it) grows with wire and current alike, and a lead's four joints carry all of it.
func TestBandByHand(t *testing.T) {
	b := New(configtest.Load(t, "supplies: [{name: a, volts: 12, watts: 350}]\nstrings: [{name: s, universe: 1, pixels: 50, supply: a, amps_per_pixel: 0.05, pitch: {milliohms: 20, millimetres: 100}}]\n"))
	const drop = 0.05 * 0.004 * 50 * 51 / 2
	r := b.Strings[0]
	near(t, "lowest", r.LowestVolts, 12-drop, 1e-6)
	near(t, "least", r.LowestVoltsBand.Least, 12-1.05*1.10*drop-4*0.020*1.10*2.5, 1e-6)
	near(t, "most", r.LowestVoltsBand.Most, 12-0.95*0.90*drop, 1e-6)
}

// Whatever wire, joints and pixels there are within the tolerance, each lead with its
// own, the readings are within what is expected.
func TestReadingsWithinExpectation(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	tried := 0
	for range 12 {
		p := configtest.Load(t, randomPlan(r, 8))
		b, tol := New(p), p.Tolerance
		for i, s := range p.Strings {
			slots := make([]byte, s.Pixels*3)
			for k := range slots {
				slots[k] = byte(255 * r.IntN(2))
			}
			e, ok := b.Expect(i, slots, 0)
			if !ok || e.Least == nil {
				continue
			}
			between := func(share float64) float64 { return 1 + share*(2*r.Float64()-1) }
			for range 5 {
				g, l := b.rebuildAt(i, plain())
				pitch := between(tol.Wire)
				jumper := tol.Joint * r.Float64()
				each := b.jumperless(s)
				for k := range l.wire {
					ohms := pitch / l.wire[k]
					if 1/l.wire[k] > 1.01*each/float64(l.rails)*2 { // a jumper's
						ohms += float64(3-l.rails) * jointsOfWire * jumper
					}
					l.wire[k] = 1 / ohms
				}
				for j := range l.terms {
					if x := &l.terms[j]; l.rails == 1 {
						x.g = 1 / (between(tol.Wire)/x.g + 2*jointsOfWire*tol.Joint*r.Float64())
					}
				}
				lit := portDuty(slots, 3, s.Pixels, s.Brightness, s.Gamma, s.WhiteDerived)
				if !g.solve(g.ladders, func(o *ladder, k int) float64 {
					if pixel := o.pixel(k); o == l && pixel > 0 {
						return between(tol.Pixel) * o.pixelAmps(k, lit[pixel-1])
					}
					return dark(o, k)
				}, aware) {
					continue
				}
				tried++
				const slack = 1e-4
				for pixel, v := range l.pixelVolts() {
					if v < e.Least.Volts[pixel]-slack || v > e.Most.Volts[pixel]+slack {
						t.Errorf("%s (%s) pixel %d: %.5f V is not within %.5f and %.5f", s.Name, l.law.kind, pixel+1, v, e.Least.Volts[pixel], e.Most.Volts[pixel])
						break
					}
				}
				for _, x := range l.terms {
					if a := g.termAmps(l, x); l.positive(x) && (a < e.Least.Feeds[x.feed]-slack || a > e.Most.Feeds[x.feed]+slack) {
						t.Errorf("%s (%s) feed %d: %.5f A is not within %.5f and %.5f", s.Name, l.law.kind, x.feed, a, e.Least.Feeds[x.feed], e.Most.Feeds[x.feed])
					}
				}
			}
		}
	}
	if tried < 200 {
		t.Fatalf("%d tried", tried)
	}
}

// jumperless is the loop of a string's pitch alone, in ohms.
func (b *Budget) jumperless(s *config.String) float64 {
	return 2 * max(wireOhms(s.Pitch, config.Celsius(s.Temperature, b.plan.Temperature)), noPitchOhms)
}

// More tolerance never makes a band narrower.
func TestWiderTolerance(t *testing.T) {
	plan := randomPlan(rand.New(rand.NewPCG(8, 8)), 4)
	at := func(tolerance string) *Budget { return New(configtest.Load(t, "tolerance: "+tolerance+"\n"+plan)) }
	before := at("{wire: 0 %, joint_milliohms: 0, pixel: 0 %}")
	for i, r := range before.Strings {
		near(t, fmt.Sprint(i), r.LowestVoltsBand.Most-r.LowestVoltsBand.Least, 0, 1e-9)
	}
	for _, next := range []string{"{wire: 5 %, joint_milliohms: 0, pixel: 0 %}", "{wire: 5 %, joint_milliohms: 20, pixel: 0 %}", "{wire: 5 %, joint_milliohms: 20, pixel: 10 %}", "{wire: 8 %, joint_milliohms: 30, pixel: 20 %}"} {
		after := at(next)
		for i := range after.Strings {
			a, b := after.Strings[i].LowestVoltsBand, before.Strings[i].LowestVoltsBand
			if a.Least > b.Least+1e-9 || a.Most < b.Most-1e-9 {
				t.Errorf("%s, string %d: %+v, before %+v", next, i, a, b)
			}
		}
		before = after
	}
}
