package session

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"yardproof/config"
	"yardproof/patterns"
)

// stormPlan is a random plan whose strings have one feed each, so that what flows is
// a sum over slots. Much of it is too small for full white.
func stormPlan(r *rand.Rand) string {
	var w strings.Builder
	w.WriteString("supplies:\n")
	for i := range 2 {
		fmt.Fprintf(&w, "  - {name: s%d, volts: 12, watts: %d, use: %d%%}\n", i, 60+r.IntN(300), 60+r.IntN(40))
	}
	fmt.Fprintf(&w, "feeders: [{name: box, supply: s0, awg: 10, metres: 1, fuse_amps: %d}]\n", 3+r.IntN(12))
	fmt.Fprintf(&w, "controllers: [{name: c0, max_amps: %d}, {name: c1}]\n", 4+r.IntN(10))
	w.WriteString("strings:\n")
	universe, channel := 1, 1
	for i := range 1 + r.IntN(6) {
		pixels, order := 1+r.IntN(150), []string{"RGB", "GRB", "RGBW"}[r.IntN(3)]
		if channel += r.IntN(20); r.IntN(3) == 0 || channel > 500 {
			universe, channel = universe+4, 1
		}
		feed := fmt.Sprintf("supply: s%d", r.IntN(2))
		if r.IntN(2) == 0 {
			feed = "from: box"
		}
		fmt.Fprintf(&w, "  - {name: n%d, controller: c%d, port: %d, universe: %d, channel: %d, pixels: %d, order: %s, amps_per_pixel: %.4f, idle_amps_per_pixel: 0.0005, load: current, pitch: {awg: 16, millimetres: 20}, feeds: [{at: start, %s, awg: 14, metres: 1, fuse_amps: %d}]}\n",
			i, r.IntN(2), i+1, universe, channel, pixels, order, 0.02+0.06*r.Float64(), feed, 1+r.IntN(8))
		channel += pixels*len(order) + 8 // room for pixels that are not cut in two at a universe's end
		universe, channel = universe+(channel-1)/512, (channel-1)%512+1
	}
	return w.String()
}

// flows sums what each fuse, feeder, supply and input would carry if the strings
// showed the slots, and returns the highest share of a limit, and of what. It reads
// the plan and not its budget.
func flows(plan *config.Plan, slots [][]byte) (worst float64, what string) {
	sums := map[string]float64{}
	limits := map[string]float64{}
	add := func(name string, amps, limit float64) { sums[name] += amps; limits[name] = limit }
	for i, s := range plan.Strings {
		var lit float64
		for _, c := range plan.Map().Strings[i].Copies {
			for _, v := range slots[c.Universe][c.At : c.At+c.Length] {
				lit += float64(v) / 255
			}
		}
		amps := float64(s.Pixels)*s.IdleAmpsPerPixel + lit/float64(len(s.Order))*(s.AmpsPerPixel-s.IdleAmpsPerPixel)
		f := s.Feeds[0]
		add("fuse of "+s.Name, amps, f.FuseAmps*f.FuseContinuousShare)
		supply := f.Supply
		if b := f.Feeder; b != nil {
			supply = b.Supply
			add("feeder "+b.Name, amps, b.FuseAmps*b.FuseContinuousShare)
		} else if s.Controller.MaxAmps > 0 {
			add("input of "+s.Controller.Name, amps, s.Controller.MaxAmps)
		}
		add("supply "+supply.Name, amps, supply.Watts/supply.Volts*supply.ContinuousShare)
	}
	for name, amps := range sums {
		if share := amps / limits[name]; share > worst {
			worst, what = share, name
		}
	}
	return worst, what
}

// TestStorm shows anything on random plans, and reloads them into one another: no
// frame loads anything past its share, and nothing is lit while dark is held.
func TestStorm(t *testing.T) {
	bound, held := 0, 0
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 16))
		y := newYard(t, stormPlan(r))
		for range 40 {
			switch n := r.IntN(20); {
			case n == 0:
				y.s.HoldDark("a storm", y.now)
			case n == 1:
				y.s.Resume()
			case n == 2:
				hold := y.s.Snapshot().Hold
				y = newYard(t, stormPlan(r)) // a restart
				if hold != nil {
					y.s.Restore(*hold)
				}
			case n < 6:
				y.take(y.s.Reload(load(t, stormPlan(r))))
			default:
				y.stormShow(r)
			}
			plan := y.s.Snapshot().Plan
			for range 1 + r.IntN(40) {
				y.frames(1)
				share, what := flows(plan, y.slots)
				if share > 0.98 {
					bound++
				}
				if share > 1.000001 {
					shown := y.s.Snapshot().Shown
					t.Fatalf("seed %d: %.4f of what %s may carry: %s on %v at %v, capped by %q", seed, share, what, shown.Pattern.Name, shown.Strings, shown.LevelNow, shown.CappedBy)
				}
				if h := y.s.Snapshot().Hold; h != nil && h.Dark {
					held++
					if top := y.top(); top > 0 {
						t.Fatalf("seed %d: a slot holds %d while dark is held", seed, top)
					}
				}
			}
		}
	}
	if bound == 0 || held == 0 {
		t.Errorf("%d frames at a limit, %d in the dark: this was no storm", bound, held)
	}
}

func (y *yard) top() (top byte) {
	for _, b := range y.slots {
		for _, v := range b {
			top = max(top, v)
		}
	}
	return top
}

// stormShow asks for anything; much of it is refused.
func (y *yard) stormShow(r *rand.Rand) {
	all := patterns.All()
	request := Request{
		Pattern: all[r.IntN(len(all))].Name, Level: r.Float64(), LevelExplicit: r.IntN(2) == 0, By: "a storm", Phone: r.IntN(2) == 0,
		Options: patterns.Options{Pixel: r.IntN(200), Slot: r.IntN(5), Count: r.IntN(200), First: r.IntN(60), Last: r.IntN(100)},
		Hold:    time.Duration(r.Int64N(int64(3 * time.Second))),
	}
	if r.IntN(3) == 0 {
		request.Pattern, request.Level = "full-white", 1
	}
	for _, s := range y.s.Snapshot().Plan.Strings {
		if r.IntN(2) == 0 {
			request.Strings = append(request.Strings, s.Name)
		}
	}
	_, _ = y.s.Show(request) // refused or not, the frames tell
}
