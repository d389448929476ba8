package design

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"yardproof/config/budget"
	"yardproof/sacn/sacntest"
)

// randomWall has some strings and ports, too full, chained and out of reach here and
// there.
func randomWall(r *rand.Rand, strings, ports int) *wall {
	w := &wall{held: map[string]int{}, period: 25 * time.Millisecond}
	controllers := 1 + r.IntN(3)
	for range controllers {
		w.most = append(w.most, []int{0, 2, 3, 5}[r.IntN(4)])
	}
	limits := []int{0, 170, 340, 600}
	for p := range ports {
		w.ports = append(w.ports, port{controller: p * controllers / ports, pixels: limits[r.IntN(4)], name: fmt.Sprint("port ", p)})
		if p > 0 && w.ports[p].controller == w.ports[p-1].controller {
			w.ports[p].pixels = w.ports[p-1].pixels // a controller's ports are alike
		}
	}
	chips := []budget.Chip{
		{Name: "a", Wires: 1, BitsPerSecond: 800e3, BitsPerPixel: 24, Reset: 300 * time.Microsecond, HasReset: true},
		{Name: "b", Wires: 1, BitsPerSecond: 800e3, BitsPerPixel: 32, Reset: 80 * time.Microsecond, HasReset: true},
	}
	last := map[int]int{}
	for i := range strings {
		x := plug{pixels: 20 + r.IntN(300), chip: chips[min(r.IntN(6), 1)^1], port: r.IntN(ports+1) - 1, ahead: -1, universes: []uint16{uint16(1 + r.IntN(strings))}}
		if a, ok := last[x.port]; ok && x.port >= 0 {
			x.ahead = a
		}
		last[x.port] = i
		w.plugs = append(w.plugs, x)
	}
	far, apart := map[[2]int]bool{}, map[[2]int]bool{}
	for i := range strings {
		for c := range controllers {
			far[[2]int{i, c}] = r.IntN(5) == 0
		}
		for k := range strings {
			apart[[2]int{i, k}] = r.IntN(4) == 0
		}
	}
	w.near = func(i, p int) bool { return !far[[2]int{i, w.ports[p].controller}] }
	w.chained = func(a, b int) bool { return !apart[[2]int{a, b}] }
	w.clash = func(a, b int) bool { return false }
	return w
}

// TestFewestPlugs compares the search with every assignment of up to 8 strings to 6
// ports. -cases 500 compares 500, at their largest.
func TestFewestPlugs(t *testing.T) {
	solved := 0
	n, full := rounds(100)
	for seed := range n {
		r := rand.New(rand.NewPCG(seed, 6))
		strings, ports := 3+r.IntN(4), 2+r.IntN(4)
		if full {
			strings, ports = 4+r.IntN(5), 2+r.IntN(5)
		}
		w := randomWall(r, strings, ports)
		if seed%4 == 3 { // strings of one number, that need others on another controller
			w.clash = func(a, b int) bool { return w.plugs[a].universes[0] == w.plugs[b].universes[0] }
		}
		assigned, moves, _ := w.fewest(context.Background())
		best := -1
		each := make([]int, strings)
		for {
			if n, ok := w.count(each); ok && (best < 0 || n < best) {
				best = n
			}
			k := 0
			for ; k < strings; k++ {
				if each[k]++; each[k] < ports {
					break
				}
				each[k] = 0
			}
			if k == strings {
				break
			}
		}
		switch {
		case assigned == nil && best >= 0:
			t.Errorf("case %d: nothing was found, %d moves do", seed, best)
		case assigned != nil && best != moves:
			t.Errorf("case %d: %d moves were found, the fewest are %d", seed, moves, best)
		case assigned != nil:
			solved++
			if n, ok := w.count(assigned); !ok || n != moves {
				t.Errorf("case %d: the answer moves %d (holds: %t), %d are said", seed, n, ok, moves)
			}
		}
	}
	t.Log(n, "cases of equal moves,", solved, "with an answer")
}

// TestPlugsAgainstSolver compares the search with GLPK's solver of linear programs with
// whole numbers, which is told the same limits as equations, on larger walls.
func TestPlugsAgainstSolver(t *testing.T) {
	sacntest.NeedTool(t, "glpsol")
	for seed := range uint64(10) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(seed, 60))
			w := randomWall(r, 7+r.IntN(3), 6+r.IntN(2))
			assigned, moves, _ := w.fewest(t.Context())
			want, ok := glpsol(t, w)
			if ok != (assigned != nil) || ok && want != moves {
				t.Errorf("the search moves %d (%t), glpsol %d (%t)", moves, assigned != nil, want, ok)
			}
			t.Log(len(w.plugs), "strings,", len(w.ports), "ports:", want, "moves", ok)
		})
	}
}

// glpsol is the fewest moves by GLPK; false: there is no assignment.
func glpsol(t *testing.T, w *wall) (int, bool) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "wall.lp")
	out := file + ".out"
	sacntest.Write(t, file, program(w))
	text, err := exec.Command("glpsol", "--lp", file, "--tmlim", "600", "-o", out).CombinedOutput()
	if err != nil || strings.Contains(string(text), "TIME LIMIT") {
		t.Fatalf("glpsol: %v\n%s", err, text)
	}
	answer, _ := os.ReadFile(out)
	for line := range strings.SplitSeq(string(answer), "\n") {
		if strings.HasPrefix(line, "Status:") && !strings.Contains(line, "INTEGER OPTIMAL") {
			return 0, false
		}
		if rest, ok := strings.CutPrefix(line, "Objective:  kept = "); ok {
			kept, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
			if err != nil {
				t.Fatal(err)
			}
			return len(w.plugs) - int(kept+0.5), true
		}
	}
	t.Fatalf("glpsol's answer:\n%s\n%s", text, answer)
	return 0, false
}

// program writes a wall in the CPLEX LP format: x_i_p says that string i is on port p,
// k_i that its plug stays, u_c_v that controller c has universe v.
func program(w *wall) string {
	var b strings.Builder
	x := func(i, p int) string { return fmt.Sprintf("x_%d_%d", i, p) }
	b.WriteString("Maximize\n kept: ")
	for i := range w.plugs {
		fmt.Fprintf(&b, "+ k_%d ", i)
	}
	b.WriteString("\nSubject To\n")
	for i, s := range w.plugs {
		for p := range w.ports {
			fmt.Fprintf(&b, " + %s", x(i, p))
		}
		b.WriteString(" = 1\n")
		for p := range w.ports {
			if !w.near(i, p) { // in the port itself only behind another, or where it is today
				fmt.Fprintf(&b, " %s", x(i, p))
				for j := range i {
					fmt.Fprintf(&b, " - %s", x(j, p))
				}
				if s.port == p && s.ahead < 0 {
					fmt.Fprintf(&b, " - k_%d", i)
				}
				b.WriteString(" <= 0\n")
			}
			for j := range i { // i right behind j
				other := !oneKind(w.plugs[j].chip, s.chip)
				if other || !w.chained(j, i) {
					fmt.Fprintf(&b, " %s + %s", x(j, p), x(i, p))
					for l := j + 1; l < i; l++ {
						fmt.Fprintf(&b, " - %s", x(l, p))
					}
					if s.ahead == j && !other {
						fmt.Fprintf(&b, " - k_%d", i)
					}
					b.WriteString(" <= 1\n")
				}
			}
		}
		switch {
		case s.ahead < 0 && s.port < 0:
			fmt.Fprintf(&b, " k_%d = 0\n", i)
		case s.ahead < 0:
			fmt.Fprintf(&b, " k_%d - %s <= 0\n", i, x(i, s.port))
			for j := range i {
				fmt.Fprintf(&b, " k_%d + %s <= 1\n", i, x(j, s.port))
			}
		default:
			for p := range w.ports {
				fmt.Fprintf(&b, " k_%d + %s - %s <= 1\n k_%d - %s + %s <= 1\n", i, x(i, p), x(s.ahead, p), i, x(i, p), x(s.ahead, p))
				for l := s.ahead + 1; l < i; l++ {
					fmt.Fprintf(&b, " k_%d + %s + %s <= 2\n", i, x(i, p), x(l, p))
				}
			}
		}
		for p, at := range w.ports {
			for _, u := range s.universes {
				if w.most[at.controller] > 0 {
					fmt.Fprintf(&b, " u_%d_%d - %s >= 0\n", at.controller, u, x(i, p))
				}
			}
		}
	}
	for p, at := range w.ports {
		for _, c := range []string{"a", "b"} { // nanoseconds and pixels of one chip; chips do not mix
			pixels, ns, reset := "", "", 0.0
			for i, s := range w.plugs {
				pixels += fmt.Sprintf(" + %d %s", s.pixels, x(i, p))
				if s.chip.Name == c {
					ns += fmt.Sprintf(" + %.0f %s", float64(s.pixels*s.chip.BitsPerPixel)*1e9/s.chip.BitsPerSecond, x(i, p))
					reset = float64(s.chip.Reset)
				}
			}
			if at.pixels > 0 {
				fmt.Fprintf(&b, "%s <= %d\n", pixels, at.pixels)
			}
			if ns != "" {
				fmt.Fprintf(&b, "%s <= %.0f\n", ns, float64(w.period)-reset)
			}
		}
	}
	universes := map[[2]int]bool{}
	for c, most := range w.most {
		sum := ""
		for _, s := range w.plugs {
			for _, u := range s.universes {
				if most > 0 && !universes[[2]int{c, int(u)}] {
					universes[[2]int{c, int(u)}] = true
					sum += fmt.Sprintf(" + u_%d_%d", c, u)
				}
			}
		}
		if sum != "" {
			fmt.Fprintf(&b, "%s <= %d\n", sum, most)
		}
	}
	b.WriteString("Binary\n")
	for i := range w.plugs {
		fmt.Fprintf(&b, " k_%d\n", i)
		for p := range w.ports {
			fmt.Fprintf(&b, " %s\n", x(i, p))
		}
	}
	for k := range universes {
		fmt.Fprintf(&b, " u_%d_%d\n", k[0], k[1])
	}
	b.WriteString("End\n")
	return b.String()
}
