package protection

import (
	"bufio"
	"cmp"
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

	"yardproof/sacn/sacntest"
)

// TestWorstAgainstSpice sweeps a fault's resistance near both ends of every piece of
// wire of random strings in ngspice, and at the place said to be the worst, which has both rails and every lead, and keeps what opens no fuse. No piece
// may carry more there than was worked out, and the worst may be at most 1 % less.
func TestWorstAgainstSpice(t *testing.T) {
	sacntest.NeedTool(t, "ngspice")
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 13))
		n := 10
		open := seed%3 == 1 // the last feed's return
		loaded := seed%2 == 1
		feeds := fmt.Sprintf("{at: start, awg: 16, metres: %d, fuse_amps: 5}, {at: %d, awg: 18, metres: %d, fuse_amps: %d}, {at: %d, awg: 14, metres: %d, fuse_amps: 4}",
			1+r.IntN(5), 3+r.IntN(3), 1+r.IntN(6), 2+r.IntN(5), 7+r.IntN(4), 1+r.IntN(9))
		_, _, w := made(t, supplies+fmt.Sprintf("strings: [{name: quay, universe: 1, pixels: %d, supply: a, amps_per_pixel: 0.2, pitch: {awg: 20, millimetres: %d}, jumpers: [{after: 2, metres: 1}], feeds: [%s]}]\n", n, 300+r.IntN(900), feeds))
		plus, minus := newRail(w, nil, nothing), newRail(w, nil, nothing)
		if open {
			minus = newRail(w, nil, only(w.s.Feeds[2]))
		}
		loads := make([]float64, n+1)
		if loaded {
			loads = w.White
		}
		got := new(memory).worstCase(plus, minus, holds(plus, w.s), loads, 12)
		var best [2][]float64
		best[0], best[1] = make([]float64, n+1), make([]float64, n+1)
		var places []float64
		for k := range n {
			places = append(places, float64(k)+0.01, float64(k)+0.99)
		}
		for rail := range 2 {
			if place := slices.MaxFunc(got.wire[rail], func(a, b current) int { return cmp.Compare(a.amps, b.amps) }).place; place > math.Trunc(place) {
				places = append(places, place)
			}
		}
		for _, place := range places {
			k, share := 1+int(place), place-math.Trunc(place)
			for _, row := range sweep(t, w, k, share, loads, open) {
				holds, column := true, 0
				for _, l := range w.leads {
					column++
					holds = holds && math.Abs(row[column]) <= holdFactor*w.s.Feeds[l.feed].FuseAmps
				}
				if !holds {
					continue
				}
				for rail := range 2 {
					for node := 1; node <= n; node++ {
						column++
						best[rail][node] = max(best[rail][node], math.Abs(row[column]))
					}
					best[rail][k] = max(best[rail][k], math.Abs(row[1+len(w.leads)+2*n+rail]))
				}
			}
		}
		for rail := range 2 {
			top, ours := 0.0, 0.0
			for node := 1; node <= n; node++ {
				if best[rail][node] > got.wire[rail][node].amps*(1+1e-6)+1e-6 {
					t.Errorf("seed %d, rail %d, node %d: ngspice finds %.4f A, more than %.4f", seed, rail, node, best[rail][node], got.wire[rail][node].amps)
				}
				top, ours = max(top, best[rail][node]), max(ours, got.wire[rail][node].amps)
			}
			t.Logf("seed %d, rail %d: worst %.4f A, ngspice %.4f A", seed, rail, ours, top)
			if ours > top*1.01 {
				t.Errorf("seed %d, rail %d: worst %.4f A, ngspice finds no more than %.4f A", seed, rail, ours, top)
			}
		}
	}
}

// sweep returns a row for each resistance of a fault some share along the piece that
// leads to a node: the resistance, the current of each lead's fuse, of each piece of V+
// and of return, and of that piece's part behind the fault.
func sweep(t *testing.T, w *wiring, k int, share float64, loads []float64, open bool) [][]float64 {
	t.Helper()
	file := filepath.Join(t.TempDir(), "rows")
	var c strings.Builder
	c.WriteString("* a fault\n.options gmin=1e-15 reltol=1e-8\nVS s 0 DC 12\n")
	var columns, behind []string
	for i, l := range w.leads {
		fmt.Fprintf(&c, "VF%d s f%d DC 0\nRF%d f%d p%d %.12g\n", i, i, i, i, l.node, 1/l.g)
		if !open || l.feed != 2 {
			fmt.Fprintf(&c, "RG%d 0 n%d %.12g\n", i, l.node, 1/l.g)
		}
		columns = append(columns, fmt.Sprintf("i(VF%d)", i))
	}
	for _, rail := range "pn" {
		for j := 1; j < len(loads); j++ {
			ohms := w.Wiring.Ohms[j] - w.Wiring.Ohms[j-1]
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
	for j, a := range loads {
		if a > 0 {
			fmt.Fprintf(&c, "I%d p%d n%d DC %.12g\n", j, j, j, a)
		}
	}
	fmt.Fprintf(&c, "RX px nx 1\n.dc RX 0.0005 4 0.004\n.control\nrun\nset wr_singlescale\nset numdgt=10\nwrdata %s %s\nquit\n.endc\n.end\n", file, strings.Join(append(columns, behind...), " "))
	cmd := exec.Command("ngspice", "-b", "-n", "/dev/stdin")
	cmd.Stdin = strings.NewReader(c.String())
	out, err := cmd.CombinedOutput()
	f, e := os.Open(file)
	if e != nil {
		t.Fatalf("ngspice: %v\n%s", err, out)
	}
	defer f.Close()
	var rows [][]float64
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
	if len(rows) < 900 {
		t.Fatalf("ngspice gave %d rows\n%s", len(rows), out)
	}
	return rows
}
