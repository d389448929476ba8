package budget

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"yardproof/config/configtest"
	"yardproof/sacn/sacntest"
)

// TestLostFeederAgainstSpice opens each feeder of random plans where it leaves its supply,
// and compares every feed's current and the lowest volts with ngspice.
func TestLostFeederAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	compared := 0
	for seed := range uint64(2) {
		p := configtest.Load(t, randomPlan(rand.New(rand.NewPCG(seed, 21)), 8))
		b := New(p)
		for j, f := range p.Feeders {
			var gc *groupCap
			at := 0
			for _, o := range b.groups {
				for n, h := range o.feeders {
					if h == f {
						gc, at = o, n
					}
				}
			}
			if gc == nil {
				continue
			}
			g := b.group(gc)
			if !g.solve(g.ladders, fullWhite, constant) {
				t.Fatal("no state")
			}
			whole := g.lose(at)
			if !g.solve(g.ladders, fullWhite, constant) {
				t.Fatal("no state without it")
			}
			if g.g[at*g.rails] != 0 { // all on it is dark: ngspice's constant currents would run wild
				whole()
				continue
			}
			var deck strings.Builder
			for line := range strings.Lines(netlist(b, false, plain())) {
				words := strings.Fields(line)
				if len(words) == 4 && words[0][0] == 'R' && (words[2] == fmt.Sprintf("fp%d", j) && strings.HasPrefix(words[1], "sup") || words[2] == fmt.Sprintf("fn%d", j) && words[1] == "0") {
					line = strings.Join(words[:3], " ") + " 1e6\n" // more, and ngspice loses digits
				}
				deck.WriteString(line)
			}
			got := sacntest.Spice(t, deck.String())
			for i, l := range g.ladders {
				n := gc.strings[i]
				for _, x := range l.terms {
					if l.positive(x) {
						near(t, fmt.Sprintf("without %s: %s feed %d", f.Name, l.s.Name, x.feed), g.termAmps(l, x), got[fmt.Sprintf("vm%d_%d#branch", n, x.feed)], 1e-3)
						compared++
					}
				}
				volts, pixel := l.lowest()
				k := l.firstNode(pixel)
				near(t, fmt.Sprintf("without %s: %s", f.Name, l.s.Name), volts, got[node("p", n, k)]-got[node("n", n, k)], 1e-3)
			}
			whole()
		}
	}
	if compared < 20 {
		t.Fatalf("%d currents compared", compared)
	}
}

// One string hangs on both feeders and one on the far feeder alone: with far's fuse gone
// the first string's end feeds them all, through the near feeder (by hand: 100 pixels of
// 0.06 A and 80 of 0.06 A, 10.8 A in all).
func TestLostFeederBackFeeds(t *testing.T) {
	b := New(configtest.Load(t, `supplies: [{name: a, volts: 12, watts: 600}]
feeders:
  - {name: near, supply: a, awg: 10, metres: 1, fuse_amps: 10}
  - {name: far, supply: a, awg: 10, metres: 1, fuse_amps: 10}
  - {name: alone, supply: a, awg: 10, metres: 1, fuse_amps: 10}
strings:
  - {name: both, universe: 1, pixels: 100, supply: a, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: near, awg: 12, metres: 1, fuse_amps: 7}, {at: end, from: far, awg: 12, metres: 1, fuse_amps: 7}]}
  - {name: one, universe: 2, pixels: 80, supply: a, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: far, awg: 12, metres: 1, fuse_amps: 7}]}
  - {name: lonely, universe: 3, pixels: 80, supply: a, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: alone, awg: 12, metres: 1, fuse_amps: 7}]}
`))
	text := func(i int) string { return b.Feeders[i].Lost.Text() }
	for _, want := range []string{"the fuse of both at start may blow: 10.8 A through 7 A", "the fuse of feeder near may blow: 10.8 A through 10 A"} {
		if !strings.Contains(text(1), want) {
			t.Errorf("without far: %q lacks %q", text(1), want)
		}
	}
	if len(b.Feeders[1].Lost.Dark) > 0 {
		t.Errorf("without far: %v is dark", b.Feeders[1].Lost.Dark)
	}
	if got := text(2); got != "dark, or in part: lonely" {
		t.Errorf("without alone: %q", got)
	}
	if got := text(0); !strings.Contains(got, "the fuse of feeder far may blow: 10.8 A through 10 A") {
		t.Errorf("without near: %q", got)
	}
}

// A lost feed is told of the neighbour that then carries more: the feeder's drop drives
// current back through its 2 A fuse.
func TestLostFeedOfANeighbour(t *testing.T) {
	b := New(configtest.Load(t, `supplies: [{name: a, volts: 12, watts: 600}]
feeders: [{name: far, supply: a, awg: 16, metres: 10, fuse_amps: 15}]
strings:
  - {name: wide, universe: 1, pixels: 80, supply: a, amps_per_pixel: 0.06, pitch: {awg: 14, millimetres: 50}, feeds: [{at: start, from: far, awg: 14, metres: 1, fuse_amps: 10}, {at: end, awg: 12, metres: 1, fuse_amps: 10}]}
  - {name: thin, universe: 2, pixels: 20, supply: a, amps_per_pixel: 0.02, pitch: {awg: 14, millimetres: 50}, feeds: [{at: start, from: far, awg: 14, metres: 1, fuse_amps: 2}, {at: end, awg: 14, metres: 2, fuse_amps: 7}]}
`))
	before := b.Strings[1].Feeds[0].FullWhiteAmps
	fails := strings.Join(b.Strings[0].Feeds[1].Lost.Fails, "; ")
	if before < -1.5 || !strings.Contains(fails, "the fuse of thin at start may blow") {
		t.Errorf("%.2f A before; %q", before, fails)
	}
}

// TestTooTiedIsSaid ties more together than is worked out when something is lost: 400 strings
// of 250 pixels on 201 feeders, in a ring. It is said, and not passed over.
func TestTooTiedIsSaid(t *testing.T) {
	var w strings.Builder
	w.WriteString("supplies: [{name: a, volts: 12, watts: 9000}]\nfeeders:\n")
	for i := range 201 {
		fmt.Fprintf(&w, "  - {name: f%d, supply: a, mm2: 1000, metres: 1, fuse_amps: 300}\n", i)
	}
	w.WriteString("strings:\n")
	for i := range 400 {
		fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 250, supply: a, amps_per_pixel: 0.01, pitch: {awg: 18, millimetres: 50}, feeds: [{at: start, from: f%d, awg: 14, metres: 1, fuse_amps: 5}, {at: end, from: f%d, awg: 14, metres: 1, fuse_amps: 5}]}\n", i, 1+2*i, i/2, i/2+1)
	}
	b := New(configtest.Load(t, w.String()))
	for _, want := range []string{
		"feeder f0 and 200 more tie 400 strings together: when one string loses a feed, what that does to the others is not worked out",
		"feeder f0 and 200 more tie 400 strings together: when a feeder is gone as a whole, what that does is not worked out",
	} {
		if !slices.ContainsFunc(b.Notes, func(n Note) bool { return strings.HasPrefix(n.What, want) }) {
			t.Errorf("not said: %s", want)
		}
	}
}
