package budget

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"yardproof/config/configtest"
)

// TestChangeOfOneString takes each feed of random plans away, and opens its return alone: the
// feeders' volts by the change of one string are those of all equations solved anew.
func TestChangeOfOneString(t *testing.T) {
	compared := 0
	for seed := range uint64(8) {
		b := New(configtest.Load(t, randomPlan(rand.New(rand.NewPCG(seed, 21)), 4)))
		for _, gc := range b.groups {
			g, anew := b.group(gc), b.group(gc)
			if !g.solve(g.ladders, fullWhite, constant) {
				t.Fatal("no state")
			}
			whole := slices.Clone(g.u)
			for i, l := range g.ladders {
				end := g.changing(l, whole)
				for j := range l.s.Feeds {
					for _, lose := range []func(*ladder){func(l *ladder) { l.lose(j, true) }, func(l *ladder) { l.openReturn(j) }} {
						lose(l)
						lose(anew.ladders[i])
						ok, want := g.solve([]*ladder{l}, fullWhite, constant), anew.solve(anew.ladders, fullWhite, constant)
						if ok != want {
							t.Fatalf("seed %d: %s, feed %d: %v, anew %v", seed, l.s.Name, j, ok, want)
						}
						for k, v := range anew.u {
							if ok && math.Abs(g.u[k]-v) > 1e-9 {
								t.Errorf("seed %d: %s, feed %d: feeder %d has %.12f V, anew %.12f", seed, l.s.Name, j, k, g.u[k], v)
							}
							if ok && math.Abs(v-whole[k]) > 1e-6 {
								compared++
							}
						}
						l.lose(j, false)
						anew.ladders[i].lose(j, false)
					}
				}
				g.solve([]*ladder{l}, fullWhite, constant)
				end()
			}
		}
	}
	if compared < 100 {
		t.Errorf("only %d volts of feeders moved", compared)
	}
}

// Where the volts collapse there are none to judge the neighbours by: the one here has 4.505 V
// and needs 4.5.
func TestCollapseSaysNothingOfNeighbours(t *testing.T) {
	b := New(configtest.Load(t, `supplies: [{name: a, volts: 5, watts: 900}]
feeders: [{name: f, supply: a, awg: 16, metres: 5, fuse_amps: 30}]
strings:
  - {name: hungry, universe: 1, pixels: 60, supply: a, load: power, amps_per_pixel: 0.06, pitch: {awg: 22, millimetres: 120}, feeds: [{at: start, from: f, awg: 20, metres: 1, fuse_amps: 5}, {at: end, supply: a, awg: 14, metres: 1, fuse_amps: 7}]}
  - {name: beside, universe: 3, pixels: 30, supply: a, amps_per_pixel: 0.054, pitch: {awg: 18, millimetres: 50}, feeds: [{at: start, from: f, awg: 18, metres: 1, fuse_amps: 2}]}
`))
	lost := b.Strings[0].Feeds[1].Lost
	if lost == nil || !strings.Contains(strings.Join(lost.Fails, "; "), "collapse") {
		t.Fatalf("no collapse: %+v", lost)
	}
	if len(lost.Fails) != 1 {
		t.Errorf("%q", lost.Fails)
	}
}
