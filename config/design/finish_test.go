package design

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/config"
	"yardproof/config/budget"
)

// TestDroppedStringsEnd is that strings which were to move from supply to supply, along a
// whole street, are not taken back one by one with the plan judged anew each time, when
// the first cannot move after all: each comes home to a supply that is full by then.
func TestDroppedStringsEnd(t *testing.T) {
	const n = 60
	var w strings.Builder
	w.WriteString("supplies:\n")
	for i := range n + 1 {
		fmt.Fprintf(&w, "  - {name: hut-%d, volts: 12, watts: 60, at: %d}\n", i, 2*i)
	}
	w.WriteString("strings:\n")
	for i := range n {
		fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 20, supply: hut-%d, amps_per_pixel: 0.15, pitch: {awg: 18, millimetres: 50}, at: %d, to: %d}\n", i, i+1, i, 2*i, 2*i+1)
	}
	plan := load(t, w.String())
	d := newDesigner(t.Context(), plan, Options{Level: 1})
	for i := range n { // each to the next supply
		p, why := newProblem(&d.judge, &d.list, plan.Strings[i], d.budget, i, source{supply: plan.Supplies[i+1]}, nil, 0)
		if p == nil {
			t.Fatal(why)
		}
		f := p.solve(t.Context())
		if f.set == nil {
			t.Fatal(p.hopeless(f))
		}
		if i == n-1 { // which cannot be, as the plan as a whole shows
			f.fuses = slices.Clone(f.fuses)
			f.fuses[0] = 20
		}
		d.settle(i, option{src: source{supply: plan.Supplies[i+1]}, p: p, found: f})
	}
	d.finish()
	if len(d.out.Strings)+len(d.out.Refused) != n || len(d.out.Refused) != n {
		t.Errorf("%d proposed, %d not", len(d.out.Strings), len(d.out.Refused))
	}
	if d.rounds > mostRounds+1 {
		t.Errorf("the plan was judged %d times", d.rounds)
	}
	t.Log("judged", d.rounds, "times")
}

// TestNewSuppliesAreTwo is that two supplies that are added at one place are two, and
// that a string for which there is no third leaves the others theirs.
func TestNewSuppliesAreTwo(t *testing.T) {
	var w strings.Builder
	w.WriteString("supplies: [{name: hut, volts: 12, watts: 60, at: 0}]\nstock: {supplies: [{volts: 12, watts: 100, price: 20}]}\nstrings:\n")
	for i := range 3 { // 5 A each: more than the hut gives, and two are more than one of 100 W gives
		fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 50, supply: hut, amps_per_pixel: 0.1, pitch: {awg: 16, millimetres: 30}, at: %d, to: %d}\n", i, i+1, i, i+1)
	}
	d := newDesigner(t.Context(), load(t, w.String()), Options{Level: 1})
	d.find()
	d.direct()
	d.finish()
	if len(d.out.Supplies) != 2 || len(d.out.Strings) != 2 || len(d.out.Refused) != 1 || d.rounds != 1 {
		t.Errorf("%d supplies, %d strings, not %+v, judged %d times", len(d.out.Supplies), len(d.out.Strings), d.out.Refused, d.rounds)
	}
	for _, v := range d.out.Supplies {
		if load, limit := d.load(v.supply, nil), d.limit(v.supply); load == 0 || load > limit {
			t.Errorf("supply %s gives %.1f A and may give %.1f A", v.Name, load, limit)
		}
	}
}

// TestFairShares is that a string which takes all the time that it is given leaves as much
// to each of those that come later, however many they are.
func TestFairShares(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		defer cancel()
		const n = 500
		d := &designer{ctx: ctx, total: n}
		d.opts = &Options{}
		took := make([]time.Duration, n)
		d.each(n, func(i int) {
			mine, cancel := d.slice()
			defer cancel()
			begun := time.Now()
			<-mine.Done()
			took[i] = time.Since(begun)
			d.finished()
		})
		if least := slices.Min(took); least < 30*time.Second/n/2 {
			t.Errorf("one had %v", least)
		}
	})
}

// TestCombinations holds the order in which fuses are tried against all of them sorted,
// and takes the first few of more than could ever be listed.
func TestCombinations(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 18))
	for range 50 {
		fits := make([][]config.StockFuse, 1+r.IntN(4))
		all := []combination{{}}
		for i := range fits {
			var next []combination
			for range 1 + r.IntN(4) {
				f := config.StockFuse{Amps: float64(1 + r.IntN(20)), Price: float64(r.IntN(3)) / 10}
				fits[i] = append(fits[i], f)
				for _, c := range all {
					next = append(next, combination{append(slices.Clone(c.amps), f.Amps), c.price + f.Price, c.sum + f.Amps})
				}
			}
			all = next
		}
		var got []combination
		for c := range combinations(fits) {
			if n := len(got); n > 0 && got[n-1].compare(&c) > 0 {
				t.Fatalf("%+v comes before %+v", got[n-1], c)
			}
			got = append(got, c)
		}
		text := func(list []combination) string {
			var lines []string
			for _, c := range list {
				lines = append(lines, fmt.Sprint(c.amps))
			}
			slices.Sort(lines)
			return strings.Join(lines, "\n")
		}
		if text(got) != text(all) {
			t.Fatalf("%d combinations, %d there are", len(got), len(all))
		}
	}
	many := make([][]config.StockFuse, mostFeeds)
	for i := range many {
		many[i] = ListOf(&config.Plan{}).Fuses
	}
	made := 0
	for range combinations(many) {
		if made++; made == 100 {
			break
		}
	}
	if made != 100 {
		t.Error(made)
	}
}

// TestNearFeeds is that no two feeds are proposed within a hand's reach, though a second
// lead beside the first would be the cheapest against the loss of one.
func TestNearFeeds(t *testing.T) {
	p := load(t, `supplies: [{name: hut, volts: 12, watts: 350, at: 0}]
strings: [{name: rail, universe: 1, pixels: 100, supply: hut, amps_per_pixel: 0.01, pitch: {awg: 16, millimetres: 100}, at: 1, to: 11}]
`)
	out := New(t.Context(), p, Options{Level: 1, LoseOne: true})
	if len(out.Strings) != 1 || len(out.Strings[0].Feeds) != 2 {
		t.Fatalf("%+v", out)
	}
	if f := out.Strings[0].feeds; f[0].At != "start" || f[1].Address < 6 { // 6 is half a metre on
		t.Errorf("feeds at %s and %s", f[0].At, f[1].At)
	}
}

// TestPlacesSaid is that as many places are said as were tried, though the first, quick
// pass over some of them found the answer already.
func TestPlacesSaid(t *testing.T) {
	p := load(t, `supplies: [{name: hut, volts: 12, watts: 350, at: 0}]
strings: [{name: rail, universe: 1, pixels: 100, supply: hut, amps_per_pixel: 0.01, pitch: {awg: 16, millimetres: 100}, at: 1, to: 11}]
`)
	j := &judge{plan: p, opts: &Options{Level: 1}}
	list := ListOf(p)
	problem, why := newProblem(j, &list, p.Strings[0], budget.New(p), 0, source{supply: p.Supplies[0]}, nil, 0)
	if problem == nil {
		t.Fatal(why)
	}
	if f := problem.solve(t.Context()); f.places != 100 || f.set == nil {
		t.Errorf("%d places are said", f.places)
	}
}
