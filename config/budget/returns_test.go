package budget

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"yardproof/config/configtest"
	"yardproof/sacn/sacntest"
)

// tied is three strings of 6 A between two feeders of some gauge. By hand: each feeder brings
// 9 A, which its 15 A fuse carries for long; with one return open the other brings all 18 A home.
func tied(awg int, more string) string {
	var w strings.Builder
	fmt.Fprintf(&w, "supplies: [{name: a, volts: 12, watts: 600}]\nfeeders:\n  - {name: near, supply: a, awg: %d, metres: 2, fuse_amps: 15%s}\n  - {name: far, supply: a, awg: %[1]d, metres: 2, fuse_amps: 15}\nstrings:\n", awg, more)
	for i := range 3 {
		fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 100, supply: a, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: near, awg: 12, metres: 1, fuse_amps: 10}, {at: end, from: far, awg: 12, metres: 1, fuse_amps: 10}]}\n", i, 1+2*i)
	}
	return w.String()
}

func TestOpenReturnOfAFeeder(t *testing.T) {
	b := New(configtest.Load(t, tied(14, "")))
	if len(b.Returns) != 2 {
		t.Fatalf("%+v", b.Returns)
	}
	for i, x := range b.Returns {
		if open := []string{"feeder far", "feeder near"}[i]; x.Feeder != i || math.Abs(x.Amps-18) > 1e-6 || x.MayAmps != 15 || x.Open != open || x.AWG != 12 {
			t.Errorf("%+v", x)
		}
	}
	for text, want := range map[string]int{
		tied(12, ""):                     0, // what was named: 20 A
		tied(12, ", connector_amps: 16"): 1, // 17.6 A at most
		tied(12, ", connector_amps: 17"): 0,
		tied(12, ", temperature: 55"):    1, // 13.3 A is left of 20
		strings.ReplaceAll(tied(12, ""), "pitch: {awg: 12", "cut_positive_after: [50], pitch: {awg: 12"): 0,
		strings.ReplaceAll(tied(14, ""), "pitch: {awg: 12", "cut_positive_after: [50], pitch: {awg: 12"): 2, // on both rails
	} {
		if b := New(configtest.Load(t, text)); len(b.Returns) != want {
			t.Errorf("%s\n%+v", text, b.Returns)
		}
	}
}

// TestOpenReturnAgainstSpice opens the return of each feeder of random plans, and compares what
// the others then carry with ngspice.
func TestOpenReturnAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	compared, rails := 0, map[int]bool{}
	for seed := range uint64(3) {
		p := configtest.Load(t, randomPlan(rand.New(rand.NewPCG(seed, 21)), 8))
		b := New(p)
		for _, gc := range b.groups {
			for j := range gc.feeders {
				g := b.group(gc)
				if !g.returnsElsewhere(j) {
					continue
				}
				g.openReturn(j)
				if !g.solve(g.ladders, fullWhite, constant) {
					t.Fatal("no state")
				}
				number := b.feeder[gc.feeders[j]]
				var deck strings.Builder
				for line := range strings.Lines(netlist(b, false, plain())) {
					if words := strings.Fields(line); len(words) == 4 && words[0][0] == 'R' && words[1] == "0" && words[2] == fmt.Sprintf("fn%d", number) {
						line = strings.Join(words[:3], " ") + " 1e6\n"
					}
					deck.WriteString(line)
				}
				got := sacntest.Spice(t, deck.String())
				for k, f := range g.feeders {
					if k == j {
						continue
					}
					volts := got[fmt.Sprintf("fn%d", b.feeder[f])]
					if g.rails == 1 {
						near(t, fmt.Sprintf("seed %d: %s without the return of %s", seed, f.Name, gc.feeders[j].Name), math.Abs(g.returnAmps(k)), math.Abs(volts*2*g.g[k]), 2e-3)
					} else {
						near(t, fmt.Sprintf("seed %d: %s without the return of %s", seed, f.Name, gc.feeders[j].Name), math.Abs(g.returnAmps(k)), math.Abs(volts*g.g[2*k+1]), 2e-3)
					}
					compared++
					rails[g.rails] = true
				}
			}
		}
	}
	if compared < 6 || len(rails) < 2 {
		t.Fatalf("%d currents compared, on %v", compared, rails)
	}
}
