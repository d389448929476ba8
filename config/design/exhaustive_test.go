package design

import (
	"cmp"
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
)

var cases = flag.Int("cases", 0, "how many cases of full size the searches are compared with every possibility on; 0: some smaller ones")

// rounds are the cases that are asked for, or a few of a smaller size.
func rounds(few int) (n uint64, full bool) {
	if *cases > 0 {
		return uint64(*cases), true
	}
	return uint64(few), false
}

func load(t testing.TB, text string) *config.Plan {
	t.Helper()
	p, problems := config.Load("p.yaml", strings.NewReader(text))
	for _, x := range problems {
		if x.Severity == config.Error {
			t.Fatal(x, "\n", text)
		}
	}
	return p
}

// smallPlan has one string of at most 22 places, up to 20 of them joints, and a stock of up
// to 4 gauges and 5 fuses.
func smallPlan(r *rand.Rand, full bool) string {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	var w strings.Builder
	volts := []int{5, 12, 12, 24}[r.IntN(4)]
	pixels := 4 + r.IntN(18)
	if !full {
		pixels = 4 + pixels%5
	}
	fmt.Fprintf(&w, "supplies: [{name: a, volts: %d, watts: %d, at: 0}]\n", volts, []int{150, 350, 600}[r.IntN(3)])
	w.WriteString("stock:\n  wire: [")
	for i, awg := range []int{20, 18, 16, 14, 12, 10} {
		if i%2 == 0 || r.IntN(2) == 0 {
			fmt.Fprintf(&w, "{awg: %d, price: %.2f}, ", awg, 0.3+0.25*float64(i*i)*r.Float64()+0.2*float64(i))
		}
		if strings.Count(w.String(), "awg") == 4 {
			break
		}
	}
	w.WriteString("]\n  fuses: [")
	n := 0
	for _, amps := range []float64{2, 3, 5, 7.5, 10} {
		if n == 0 || r.IntN(4) > 0 {
			fmt.Fprintf(&w, "{amps: %g, price: %.2f}, ", amps, 0.3+0.1*float64(r.IntN(4)))
			n++
		}
	}
	fmt.Fprintf(&w, "]\n  connectors: {price: %.1f}\n", 1+r.Float64())
	amps := (1 + 6*r.Float64()) / float64(pixels)
	fmt.Fprintf(&w, "strings: [{name: s, universe: 1, pixels: %d, supply: a, amps_per_pixel: %.4f, at: %d, to: %d, pitch: {awg: %s, millimetres: %d}",
		pixels, amps, 1+r.IntN(4), 2+r.IntN(12), pick("18", "18", "20", "16"), 100+r.IntN(500))
	if r.IntN(3) == 0 {
		fmt.Fprintf(&w, ", null_pixels: %d", 1+r.IntN(2))
	}
	if r.IntN(3) == 0 {
		fmt.Fprintf(&w, ", jumpers: [{after: %d, metres: %d}]", 1+r.IntN(pixels-1), 1+r.IntN(3))
	}
	w.WriteString("}]\n")
	return w.String()
}

// TestExhaustive compares the search with every possibility: of all sets of up to three
// places, all wires and all fuses, each that costs less than the answer must have a
// finding, and the answer none. What lies
// below the volts, or above a fuse's share, by a solve of all nodes is not asked for findings. -cases 500 compares 500.
func TestExhaustive(t *testing.T) {
	answers := map[string]int{}
	n, full := rounds(12)
	for seed := range n {
		text := smallPlan(rand.New(rand.NewPCG(seed, 18)), full)
		p := load(t, text)
		lose := seed%5 == 4
		j := &judge{plan: p, opts: &Options{Level: 1, LoseOne: lose}}
		list := ListOf(p)
		problem, why := newProblem(j, &list, p.Strings[0], budget.New(p), 0, source{supply: p.Supplies[0]}, nil, 0)
		if problem == nil {
			t.Fatal(why, text)
		}
		got := solveUpTo(problem, 3)
		if got.set != nil {
			if why := problem.fails(problem.feeds(got.set, got.leads, got.fuses)); why != "" {
				t.Errorf("case %d: the answer has a finding: %s\n%s", seed, why, text)
			}
		}
		if want := everything(problem, 3, got.cost-1e-6); !math.IsInf(want, 1) {
			t.Errorf("case %d: the search found %.4f with %v, the cheapest is %.4f\n%s", seed, got.cost, got.set, want, text)
		}
		if got.set != nil && got.least != got.cost {
			t.Errorf("case %d: %.4f is not said to be the least: %.4f", seed, got.cost, got.least)
		}
		answers[fmt.Sprint(len(got.set), " feeds")]++
	}
	t.Log(n, "cases in which nothing costs less:", answers)
}

func solveUpTo(p *problem, feeds int) found {
	f := p.solveFeeds(context.Background(), feeds)
	return f
}

// everything is the least cost below a limit of feeds that have no finding; infinite when
// there are none.
func everything(p *problem, most int, below float64) float64 {
	type try struct {
		cost   float64
		places [3]int8
		wires  [3]int8
		fuses  [3]int8
	}
	var tries []try
	var places func(at int, chosen []int)
	places = func(at int, chosen []int) {
		if len(chosen) > 0 {
			volts := nodes{p: p}
			m := len(chosen)
			x := try{}
			for i := range chosen {
				x.places[i] = int8(chosen[i])
			}
			for i := m; i < 3; i++ {
				x.places[i] = -1
			}
			var wires func(i int, cost float64)
			wires = func(i int, cost float64) {
				if cost >= below {
					return
				}
				if i == m {
					if low, _ := volts.solve(x.places[:m], x.wires[:m], 1.05, 0.04, 1.1); low < p.need-1e-7 { // the usual tolerance
						return
					}
					_, amps := volts.solve(x.places[:m], x.wires[:m], 1, 0, 1)
					var fuses func(i int, cost float64)
					fuses = func(i int, cost float64) {
						if cost >= below {
							return
						}
						if i == m {
							x.cost = cost
							tries = append(tries, x)
							return
						}
						for k, f := range p.list.Fuses {
							if f.Amps*usualFuseUse >= amps[i]-1e-6 {
								x.fuses[i] = int8(k)
								w := p.list.Wire[x.wires[i]]
								fuses(i+1, cost+p.list.Connector+f.Price+w.Price*p.places[x.places[i]].metres)
							}
						}
					}
					fuses(0, 0)
					return
				}
				for w, kind := range p.list.Wire {
					x.wires[i] = int8(w)
					wires(i+1, cost+kind.Price*p.places[x.places[i]].metres+p.list.Connector)
				}
			}
			wires(0, 0)
		}
		if len(chosen) < most {
			for i := at; i < len(p.places); i++ {
				if len(chosen) == 0 || farApart(p, chosen[len(chosen)-1], i) {
					places(i+1, append(chosen, i))
				}
			}
		}
	}
	places(0, nil)
	slices.SortFunc(tries, func(a, b try) int { return cmp.Compare(a.cost, b.cost) })
	for _, x := range tries {
		var feeds []*config.Feed
		for i := range 3 {
			if x.places[i] >= 0 {
				a := p.places[x.places[i]]
				w := p.list.Wire[x.wires[i]].Wire
				w.Metres = a.metres
				feeds = append(feeds, &config.Feed{At: a.at, Address: a.address, Supply: p.plan.Supplies[0], Wire: w,
					FuseAmps: p.list.Fuses[x.fuses[i]].Amps, FuseContinuousShare: usualFuseUse})
			}
		}
		if p.fails(feeds) == "" {
			return x.cost
		}
	}
	return math.Inf(1)
}

// farApart reports whether there are 0.5 m of wire between two places, or half of the string.
func farApart(p *problem, a, b int) bool {
	metres := func(from, to int) float64 {
		d := float64(to-from) * p.s.Pitch.Metres
		for _, j := range p.s.Jumpers {
			if from <= j.After && j.After < to {
				d += j.Wire.Metres
			}
		}
		return d
	}
	pixel := func(x int) int { return max(p.places[x].address-p.s.NullPixels, 1) }
	return metres(pixel(a), pixel(b)) >= min(0.5, metres(1, p.s.Pixels)/2)-1e-9
}

// nodes solves every node of the loop by elimination from one end to the other.
type nodes struct {
	p                    *problem
	diag, off, rhs, volt []float64
	amps                 []float64
}

func (d *nodes) solve(places, wires []int8, wire, joints, load float64) (lowest float64, amps []float64) {
	w := d.p.wiring
	n := len(w.White)
	d.diag, d.off, d.rhs, d.volt = room(d.diag, n), room(d.off, n), room(d.rhs, n), room(d.volt, n)
	clear(d.diag)
	for k := range n {
		d.rhs[k] = -load * w.White[k]
		if k > 0 {
			ohms := wire * (w.Ohms[k] - w.Ohms[k-1])
			for _, j := range d.p.s.Jumpers {
				if k == w.Node(d.p.s.NullPixels+j.After)+1 {
					ohms += joints
				}
			}
			g := 1 / (2 * ohms)
			d.diag[k] += g
			d.diag[k-1] += g
			d.off[k] = -g
		}
	}
	lead := func(i int) (node int, g float64) {
		a := d.p.places[places[i]]
		kind := d.p.list.Wire[wires[i]].Wire
		kind.Metres = a.metres
		return a.node, 1 / (2 * (wire*budget.Ohms(kind, d.p.plan.Temperature) + joints))
	}
	for i := range places {
		node, g := lead(i)
		d.diag[node] += g
		d.rhs[node] += g * d.p.s.Volts
	}
	for k := 1; k < n; k++ {
		f := d.off[k] / d.diag[k-1]
		d.diag[k] -= f * d.off[k]
		d.rhs[k] -= f * d.rhs[k-1]
	}
	lowest = math.Inf(1)
	for k := n - 1; k >= 0; k-- {
		d.volt[k] = d.rhs[k]
		if k+1 < n {
			d.volt[k] -= d.off[k+1] * d.volt[k+1]
		}
		d.volt[k] /= d.diag[k]
		if w.Pixel(k) > 0 {
			lowest = min(lowest, d.volt[k])
		}
	}
	d.amps = d.amps[:0]
	for i := range places {
		node, g := lead(i)
		d.amps = append(d.amps, g*(d.p.s.Volts-d.volt[node]))
	}
	return lowest, d.amps
}
