package design

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"yardproof/config"
	"yardproof/config/budget"
)

// feeders lists the feeders that serve a string to be designed.
func (d *designer) feeders() []*config.Feeder {
	var list []*config.Feeder
	for _, i := range d.wanted {
		if now, ok := today(d.strings[i]); ok && now.feeder != nil && !slices.Contains(list, now.feeder) {
			list = append(list, now.feeder)
		}
	}
	return list
}

// A variant is a feeder with another wire or fuse, and what then hangs on it.
type variant struct {
	feeder  *config.Feeder
	options []option // by string to be designed
	cost    float64
	least   float64
}

// byFeeders designs the strings that feeders serve, with today's feeder or one of
// another wire and fuse, whichever costs least together. Strings that it cannot serve
// are left for their supply.
func (d *designer) byFeeders() {
	feeders := d.feeders()
	best := make([]variant, len(feeders))
	mine := make([][]int, len(feeders)) // strings to be designed
	d.each(len(feeders), func(k int) {
		best[k], mine[k] = d.feeder(feeders[k])
		for range mine[k] {
			d.finished()
		}
	})
	for k, f := range feeders {
		if best[k].feeder != nil {
			d.takeFeeder(f, best[k], mine[k])
		}
	}
}

// feeder finds the cheapest feeder in the place of one, and lists the strings that are
// to be designed behind it.
func (d *designer) feeder(f *config.Feeder) (variant, []int) {
	var all, mine []int
	for i, s := range d.strings {
		if slices.ContainsFunc(s.Feeds, func(x *config.Feed) bool { return x.Feeder == f }) {
			all = append(all, i)
			if now, _ := today(s); now.feeder == f && slices.Contains(d.wanted, i) {
				mine = append(mine, i)
			}
		}
	}
	best, floor := variant{cost: math.Inf(1)}, math.Inf(1)
	if d.load(f.Supply, nil) > d.limit(f.Supply)*(1+1e-9) {
		return best, mine
	}
	ctx, cancel := d.slice()
	defer cancel()
	best.cost = d.list.feederCost(f) + d.without(ctx, mine)
	for _, g := range d.variants(f, all, mine) {
		if d.list.feederCost(g) >= best.cost-1e-9 {
			break
		}
		v, ok := d.serve(ctx, f, g, all, mine, best.cost)
		floor = min(floor, v.least)
		if ok {
			best = v
		}
	}
	best.least = min(floor, best.cost)
	return best, mine
}

// without is what strings cost that each have leads from a supply with room for them: a
// feeder has to be cheaper.
func (d *designer) without(ctx context.Context, mine []int) float64 {
	sum := 0.0
	for _, i := range mine {
		least := math.Inf(1)
		list, _ := d.options(ctx, i)
		for _, o := range list {
			if v := o.src.supply; !d.isNew(v) && (fedBy(d.strings[i], v) || d.load(v, nil)+d.amps(i) <= d.limit(v)) {
				least = min(least, o.found.cost)
			}
		}
		sum += least
	}
	return sum
}

// takeFeeder writes down what was found.
func (d *designer) takeFeeder(f *config.Feeder, best variant, mine []int) {
	if best.feeder != f {
		for i, s := range d.strings {
			d.strings[i] = moved(s, f, best.feeder)
		}
		d.out.Feeders = append(d.out.Feeders, Feeder{Name: f.Name, Wire: best.feeder.Wire.String(), FuseAmps: best.feeder.FuseAmps, was: f, is: best.feeder,
			Because: d.feederBecause(f, mine), Cost: Cost{Today: d.list.feederCost(f), Proposed: d.list.feederCost(best.feeder)}})
	}
	d.out.Cost.Least += best.least
	for k, i := range mine {
		d.settle(i, best.options[k])
	}
}

func (d *designer) limit(v *config.Supply) float64 {
	if v == nil {
		return 0
	}
	return d.budget.SupplyForLong(v)
}

// feederBecause is what its strings have that thicker leads did not mend as cheaply.
func (d *designer) feederBecause(f *config.Feeder, mine []int) string {
	for _, i := range mine {
		for _, why := range d.because[i] {
			if strings.Contains(why, "feeder "+f.Name) {
				return why
			}
		}
	}
	return "it is cheaper than thicker leads behind it, or they are not enough"
}

// variants are today's feeder, and others that carry what hangs on it, the cheapest
// first.
func (d *designer) variants(f *config.Feeder, all, mine []int) []*config.Feeder {
	now, white := d.carries(f, all, mine)
	carries := func(g *config.Feeder) bool {
		may, _ := budget.AmpacityAt(g.Wire, config.Celsius(g.Temperature, d.plan.Temperature))
		return g.FuseAmps <= may*fuseStep && g.FuseAmps >= white && d.budget.FeederForLong(g) >= now*(1-1e-6)
	}
	var list []*config.Feeder
	if f.FuseAmps <= 0 || carries(f) {
		list = append(list, f)
	}
	for _, kind := range d.list.Wire {
		for _, fuse := range d.list.Fuses {
			g := *f
			g.Wire, g.FuseAmps = kind.Wire, fuse.Amps
			g.Wire.Metres = f.Wire.Metres
			if g.Wire.Metres > 0 && (g.Wire != f.Wire || g.FuseAmps != f.FuseAmps) && carries(&g) {
				list = append(list, &g)
			}
		}
	}
	slices.SortStableFunc(list, func(a, b *config.Feeder) int { return cmp.Compare(d.list.feederCost(a), d.list.feederCost(b)) })
	return list
}

// carries is what a feeder has to carry at least, at the asked level and at full white:
// all of the strings that are to be designed behind it, and its part of the others.
func (d *designer) carries(f *config.Feeder, all, mine []int) (now, white float64) {
	for _, i := range all {
		r := &d.budget.Strings[i]
		part := 1.0
		if !slices.Contains(mine, i) {
			part = 0
			for k, x := range d.strings[i].Feeds {
				if x.Feeder == f && k < len(r.Feeds) && r.FullWhiteAmps > 0 {
					part += max(r.Feeds[k].FullWhiteAmps, 0) / r.FullWhiteAmps
				}
			}
		}
		now += part * d.amps(i)
		white += part * r.FullWhiteAmps
	}
	return now, white
}

// moved is a string with its feeds of one feeder on another.
func moved(s *config.String, from, to *config.Feeder) *config.String {
	if from == to || !slices.ContainsFunc(s.Feeds, func(f *config.Feed) bool { return f.Feeder == from }) {
		return s
	}
	out := *s
	out.Feeds = nil
	for _, f := range s.Feeds {
		g := *f
		if g.Feeder == from {
			g.Feeder = to
		}
		out.Feeds = append(out.Feeds, &g)
	}
	return &out
}

// serve designs strings behind a feeder for less than a limit; false when it cannot
// serve them all for that. Nothing behind this feeder costs less than the least.
func (d *designer) serve(ctx context.Context, was, f *config.Feeder, all, mine []int, below float64) (variant, bool) {
	v := variant{feeder: f, cost: d.list.feederCost(f), least: math.Inf(1)}
	group := map[int]*config.String{}
	total := 0.0
	var todo []int // what is yet to be designed for its supply is as it should not be
	for _, i := range all {
		if slices.Contains(d.wanted, i) && !slices.Contains(mine, i) {
			todo = append(todo, i)
		}
		group[i] = moved(d.strings[i], was, f)
		total += d.amps(i)
	}
	others := func(but int, without []int) []*config.String {
		var list []*config.String
		for _, i := range all {
			if i != but && !slices.Contains(without, i) {
				list = append(list, group[i])
			}
		}
		return list
	}
	src := source{supply: f.Supply, feeder: f}
	least := make([]float64, len(mine)) // of each
	for k, i := range mine {
		p, _ := newProblem(&d.judge, &d.list, d.strings[i], d.budget, i, src, nil, total-d.amps(i))
		if p == nil {
			return v, false
		}
		s := p.search(ctx, found{})
		if low, ok := s.highest(); !ok || low < p.need-1e-9 {
			return v, false
		}
		v.options, least[k] = append(v.options, option{src: src, p: p}), slices.Min(s.cheap)
	}
	bound := func() float64 {
		sum := d.list.feederCost(f)
		for _, c := range least {
			sum += c
		}
		return sum
	}
	for k, i := range mine {
		if v.least = bound(); v.least >= below-1e-9 {
			return v, false
		}
		p := v.options[k].p
		p.beside = others(i, slices.Concat(todo, mine[k:]))
		x := d.solve(ctx, p)
		least[k] = x.least
		if x.set == nil {
			v.least = bound()
			return v, false
		}
		v.options[k].found = x
		v.cost += x.cost
		group[i] = p.with(p.feeds(x.set, x.leads, x.fuses))
	}
	v.least = bound()
	if v.cost >= below-1e-9 {
		return v, false
	}
	for _, i := range all { // those that stay as they are as well
		if !slices.Contains(todo, i) && len(d.findings(group[i], others(i, todo), false)) > 0 {
			return v, false
		}
	}
	return v, true
}
