package protection

import (
	"bufio"
	"cmp"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/sacn/sacntest"
)

var sweeps = flag.Int("sweeps", 1, "how many random strings of each kind ngspice sweeps")

// TestWorstAgainstSpice sweeps a fault's resistance at every piece of wire of random
// strings in ngspice, and at the place said to be the worst, which has both rails and
// every lead, and keeps what opens no fuse. No piece may carry more there than was
// worked out, and the worst may be at most 1 % less.
func TestWorstAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	const box = "from: box, "
	for seed, c := range []spiceCase{
		{name: "all whole"},
		{name: "a return open", returnsLost: feed2, white: true},
		{name: "a fuse gone", plusLost: feed2},
		{name: "a feeder", from: box, white: true},
		{name: "a feeder's return gone", from: box, returnsLost: boxed},
		{name: "a feeder with other strings on it", from: box, white: true, others: true},
		{name: "other strings on a feeder while this is dark", from: box, others: true},
		{name: "V+ cut", more: ", cut_positive_after: [4]", white: true, returnsLost: feed2},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for sweep := range uint64(*sweeps) {
				c.against(t, rand.New(rand.NewPCG(uint64(seed)+100*sweep, 13)))
			}
		})
	}
}

// A spiceCase is random strings with something open and something lit.
type spiceCase struct {
	name                  string
	from, more            string
	plusLost, returnsLost func(*wiring) func(*config.Feed) bool // nil: none
	white, others         bool
}

func (c spiceCase) against(t *testing.T, r *rand.Rand) {
	const n = 8
	feeds := fmt.Sprintf("{at: start, awg: 16, metres: %d, fuse_amps: 5}, {%sat: %d, awg: 18, metres: %d, fuse_amps: %d}, {%sat: %d, awg: 14, metres: %d, fuse_amps: 4}",
		1+r.IntN(5), c.from, 3+r.IntN(2), 1+r.IntN(6), 2+r.IntN(5), c.from, 6+r.IntN(3), 1+r.IntN(9))
	_, _, w := made(t, supplies+"feeders: [{name: box, supply: a, awg: 14, metres: 3, fuse_amps: 7}]\n"+
		fmt.Sprintf("strings: [{name: quay, universe: 1, pixels: %d, supply: a, amps_per_pixel: 0.2, pitch: {awg: 20, millimetres: %d}, jumpers: [{after: 2, metres: 1}], feeds: [%s]%s}]\n", n, 300+r.IntN(900), feeds, c.more))
	d := deck{w: w, lost: [2]func(*config.Feed) bool{nothing, nothing}, loads: make([]float64, n+1)}
	if c.plusLost != nil {
		d.lost[0] = c.plusLost(w)
	}
	if c.returnsLost != nil {
		d.lost[1] = c.returnsLost(w)
	}
	if c.white {
		d.loads = w.White
	}
	under := load{nodes: d.loads}
	if c.others {
		d.others = 1 + 4*r.Float64()
		under.others = []float64{d.others}
	}
	plus, minus := newRail(w, w.Cuts, d.lost[0]), newRail(w, nil, d.lost[1])
	d.against(t, new(memory).worstCase(plus, minus, holds(plus, w), under, 12))
}

func feed2(w *wiring) func(*config.Feed) bool { return only(w.s.Feeds[2]) }

func boxed(*wiring) func(*config.Feed) bool {
	return func(f *config.Feed) bool { return f.Feeder != nil }
}

// A deck is a case as ngspice is to see it.
type deck struct {
	w     *wiring
	lost  [2]func(*config.Feed) bool
	loads []float64

	others float64 // amperes that other strings draw at the feeder's end
}

func (d *deck) against(t *testing.T, got *worst) {
	n := len(d.loads) - 1
	best := [2][]float64{make([]float64, n+1), make([]float64, n+1)}
	places := []float64{float64(n) - 0.01}
	for k := range n {
		places = append(places, float64(k)+0.01)
	}
	for rail := range 2 {
		if place := slices.MaxFunc(got.wire[rail], func(a, b current) int { return cmp.Compare(a.amps, b.amps) }).place; place > 0 && !slices.Contains(places, place) {
			if place == math.Trunc(place) { // a node: from its left too
				place -= 0.01
			}
			places = append(places, place)
		}
	}
	for _, place := range places {
		k, share := 1+int(place), place-math.Trunc(place)
		if slices.Contains(d.w.Cuts, k-1) {
			continue
		}
		rows, fuses := d.sweep(t, k, share)
		for _, row := range rows {
			row = row[1:]
			holds := true
			for i, fuse := range fuses {
				holds = holds && math.Abs(row[i]) <= config.DefaultProtection.FuseHolds*fuse
			}
			if !holds {
				continue
			}
			row = row[len(fuses):]
			for rail := range 2 {
				for node := 1; node <= n; node++ {
					best[rail][node] = max(best[rail][node], math.Abs(row[rail*n+node-1]))
				}
				best[rail][k] = max(best[rail][k], math.Abs(row[2*n+rail]))
			}
		}
	}
	for rail := range 2 {
		top, ours := 0.0, 0.0
		for node := 1; node <= n; node++ {
			if best[rail][node] > got.wire[rail][node].amps*(1+1e-6)+1e-6 {
				t.Errorf("rail %d, node %d: ngspice finds %.4f A, more than %.4f", rail, node, best[rail][node], got.wire[rail][node].amps)
			}
			top, ours = max(top, best[rail][node]), max(ours, got.wire[rail][node].amps)
		}
		t.Logf("rail %d: worst %.4f A, ngspice %.4f A, ratio %.5f", rail, ours, top, ours/top)
		if ours > top*1.01 {
			t.Errorf("rail %d: worst %.4f A, ngspice finds no more than %.4f A", rail, ours, top)
		}
	}
}

// sweep returns a row for each resistance of a fault some share along the piece that
// leads to a node: the resistance, the current of each fuse, of each piece of V+ and of
// return, and of that piece's part behind the fault; and the fuses' ratings.
func (d *deck) sweep(t *testing.T, k int, share float64) (rows [][]float64, fuses []float64) {
	t.Helper()
	w, file := d.w, filepath.Join(t.TempDir(), "rows")
	var c strings.Builder
	c.WriteString("* a fault\n.options gmin=1e-15 reltol=1e-8\nVS s 0 DC 12\n")
	var columns, behind []string
	for _, h := range w.boxes { // one at most
		ohms := w.feederOhms(h)
		fmt.Fprintf(&c, "VH s hf DC 0\nRH hf hp %.12g\nRJ 0 hn %.12g\n", ohms, ohms)
		columns, fuses = append(columns, "i(VH)"), append(fuses, h.FuseAmps)
		fmt.Fprintf(&c, "IH hp hn DC %.12g\n", d.others)
	}
	for i, l := range w.leads {
		f := w.s.Feeds[l.feed]
		from, to := "s", "0"
		if f.Feeder != nil {
			from, to = "hp", "hn"
		}
		if !d.lost[0](f) {
			fmt.Fprintf(&c, "VF%d %s f%d DC 0\nRF%d f%d p%d %.12g\n", i, from, i, i, i, l.node, 1/l.g)
			columns, fuses = append(columns, fmt.Sprintf("i(VF%d)", i)), append(fuses, f.FuseAmps)
		}
		if !d.lost[1](f) {
			fmt.Fprintf(&c, "RG%d %s n%d %.12g\n", i, to, l.node, 1/l.g)
		}
	}
	for _, rail := range "pn" {
		for j := 1; j < len(d.loads); j++ {
			ohms := w.Wiring.Ohms[j] - w.Wiring.Ohms[j-1]
			if rail == 'p' && slices.Contains(w.Cuts, j-1) {
				ohms = 1e12
			}
			if j == k {
				fmt.Fprintf(&c, "R%c%d %c%d %cx %.12g\nRY%c %cx %c%d %.12g\n", rail, j, rail, j-1, rail, share*ohms, rail, rail, rail, j, (1-share)*ohms)
				columns = append(columns, fmt.Sprintf("((v(%c%d)-v(%cx))/%.12g)", rail, j-1, rail, share*ohms))
				behind = append(behind, fmt.Sprintf("((v(%cx)-v(%c%d))/%.12g)", rail, rail, j, (1-share)*ohms))
				continue
			}
			fmt.Fprintf(&c, "R%c%d %c%d %c%d %.12g\n", rail, j, rail, j-1, rail, j, ohms)
			columns = append(columns, fmt.Sprintf("((v(%c%d)-v(%c%d))/%.12g)", rail, j-1, rail, j, ohms))
		}
	}
	for j, a := range d.loads {
		if a > 0 {
			fmt.Fprintf(&c, "I%d p%d n%d DC %.12g\n", j, j, j, a)
		}
	}
	fmt.Fprintf(&c, "RX px nx 1\n.dc RX 0.0005 6 0.005\n.control\nrun\nset wr_singlescale\nset numdgt=10\nwrdata %s %s\nquit\n.endc\n.end\n", file, strings.Join(append(columns, behind...), " "))
	cmd := exec.Command("ngspice", "-b", "-n", "/dev/stdin")
	cmd.Stdin = strings.NewReader(c.String())
	out, err := cmd.CombinedOutput()
	f, e := os.Open(file)
	if e != nil {
		t.Fatalf("ngspice: %v\n%s", err, out)
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		var row []float64
		for _, word := range strings.Fields(lines.Text()) {
			v, err := strconv.ParseFloat(word, 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	if len(rows) < 600 {
		t.Fatalf("ngspice gave %d rows\n%s", len(rows), out)
	}
	return rows, fuses
}

// TestThickerWireMayCarryMore is why no wire is named that was not worked out anew: of two feeds the nearer one's fuse
// binds, and the other brings 7.7 A times what their ways have of ohms. The pitch behind both, of
// 18 AWG that may carry 7 A, has 10.59 A; with 12 AWG for the far lead, 3 m of it, 11.72 A (by
// hand, and ngspice sweeps both).
func TestThickerWireMayCarryMore(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	for awg, amps := range map[int]float64{18: 7.7 * (1 + 0.062844/(0.062844+0.10474)), 12: 7.7 * (1 + 0.062844/(0.015630+0.10474))} {
		_, _, w := made(t, supplies+fmt.Sprintf("strings: [{name: quay, universe: 1, pixels: 4, supply: a, amps_per_pixel: 0.02, pitch: {awg: 18, millimetres: 2500}, "+
			"feeds: [{at: start, awg: %d, metres: 3, fuse_amps: 7}, {at: 2, awg: 18, metres: 3, fuse_amps: 7}]}]\n", awg))
		plus, minus := newRail(w, nil, nothing), newRail(w, nil, nothing)
		got := new(memory).worstCase(plus, minus, holds(plus, w), load{nodes: w.dark}, 12)
		within(t, fmt.Sprintf("with %d AWG", awg), got.wire[0][3].amps, amps, 0.005)
		d := deck{w: w, lost: [2]func(*config.Feed) bool{nothing, nothing}, loads: w.dark}
		d.against(t, got)
	}
}
