package design

import (
	"context"
	"math"
	"slices"
	"strings"

	"yardproof/config"
	"yardproof/config/budget"
)

// byFeeder lists the feeders that serve a string to be designed.
func (d *designer) byFeeder() []*config.Feeder {
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

// feeder designs the strings that one feeder serves, with today's feeder or one of
// another wire and fuse, whichever costs least together. Strings that it cannot serve
// are left for their supply.
func (d *designer) feeder(f *config.Feeder) {
	var mine []int // to be designed
	var all []int
	for i, s := range d.strings {
		if slices.ContainsFunc(s.Feeds, func(x *config.Feed) bool { return x.Feeder == f }) {
			all = append(all, i)
			if slices.Contains(d.wanted, i) {
				mine = append(mine, i)
			}
		}
	}
	ctx, cancel := d.slice()
	defer cancel()
	best := variant{cost: math.Inf(1), least: math.Inf(1)}
	if d.load(f.Supply, nil) <= d.limit(f.Supply)*(1+1e-9) || d.opts.Level < 1 {
		for _, g := range d.variants(f, all) {
			if v, ok := d.serve(ctx, f, g, all, mine); ok && v.cost < best.cost-1e-9 {
				best = v
			}
		}
	}
	for range mine {
		d.finished()
	}
	if best.feeder == nil {
		return
	}
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
	if v == nil || v.Volts <= 0 {
		return 0
	}
	return v.Watts / v.Volts * v.ContinuousShare
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

// variants are today's feeder, and others that carry what hangs on it.
func (d *designer) variants(f *config.Feeder, all []int) []*config.Feeder {
	list := []*config.Feeder{f}
	now, white := 0.0, 0.0
	for _, i := range all {
		now += d.amps(i)
		white += d.budget.Strings[i].FullWhiteAmps
	}
	for _, kind := range d.list.Wire {
		g := *f
		metres := f.Wire.Metres
		g.Wire = kind.Wire
		g.Wire.Metres = metres
		may, _ := budget.Ampacity(g.Wire)
		for _, fuse := range d.list.Fuses {
			long := fuse.Amps * f.FuseContinuousShare
			if fuse.Amps > may*fuseStep || long < now*(1-1e-6) || fuse.Amps < white || sameWire(g.Wire, f.Wire) && fuse.Amps == f.FuseAmps || metres <= 0 {
				continue
			}
			h := g
			h.FuseAmps = fuse.Amps
			list = append(list, &h)
		}
	}
	return list
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

// serve designs strings behind a feeder; false when it cannot serve them all.
func (d *designer) serve(ctx context.Context, was, f *config.Feeder, all, mine []int) (variant, bool) {
	v := variant{feeder: f, cost: d.list.feederCost(f), least: d.list.feederCost(f)}
	group := map[int]*config.String{}
	total := 0.0
	for _, i := range all {
		group[i] = moved(d.strings[i], was, f)
		total += d.amps(i)
	}
	others := func(but int) []*config.String {
		var list []*config.String
		for _, i := range all {
			if i != but {
				list = append(list, group[i])
			}
		}
		return list
	}
	src := source{supply: f.Supply, feeder: f}
	for _, i := range mine {
		p, _ := newProblem(&d.judge, &d.list, d.strings[i], d.budget, i, src, others(i), total-d.amps(i))
		if p == nil {
			return v, false
		}
		x := d.solve(ctx, p)
		if x.set == nil {
			return v, false
		}
		v.options = append(v.options, option{src, p, x})
		v.cost += x.cost
		v.least += x.least
		group[i] = p.with(p.feeds(x.set, x.leads, x.fuses))
	}
	for _, i := range all { // those that stay as they are as well
		if len(d.findings(group[i], others(i), false)) > 0 {
			return v, false
		}
	}
	return v, true
}
