package design

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/protection"
)

// mostRounds bounds how often the plan is judged as a whole, which takes a second where
// 500 strings hang. What is dropped changes what others share: one by one that could go
// on for as many rounds as there are strings.
const mostRounds = 8

// finish judges the proposal as a whole, leaves out what has a finding after all, and
// says why each choice was needed.
func (d *designer) finish() {
	before := d.problems(d.plan, d.budget)
	for d.rounds = 1; ; d.rounds++ {
		d.unload()
		bad := d.whole(before, d.rounds > mostRounds/2)
		if len(bad) == 0 {
			break
		}
		if d.rounds == mostRounds {
			for _, why := range slices.Sorted(maps.Values(bad))[:1] {
				d.dropAll("the plan as a whole would have a finding: " + why)
			}
			continue
		}
		for _, at := range slices.Backward(slices.Sorted(maps.Keys(bad))) {
			d.drop(at, "the plan as a whole would have a finding: "+bad[at])
		}
	}
	d.explain()
	d.sum()
	slices.SortFunc(d.out.Strings, func(a, b String) int { return cmp.Compare(a.index, b.index) })
	if len(d.out.Strings) > 0 {
		d.out.Bill = billOf(d.out)
	}
}

// unload takes back strings that came to a supply where, with those that stay after all,
// it has to give too much.
func (d *designer) unload() {
	for moved := true; moved; {
		moved = false
		for _, v := range d.plan.Supplies {
			limit, load := d.limit(v), d.load(v, nil)
			if limit == 0 || load <= limit*(1+1e-6) {
				continue
			}
			for at, s := range slices.Backward(d.out.Strings) {
				if fedBy(d.strings[s.index], v) && !fedBy(d.plan.Strings[s.index], v) {
					d.drop(at, fmt.Sprintf("supply %s would have no room for it beside what stays there", v.Name))
					moved = true
					break
				}
			}
		}
	}
}

// dropAll takes everything back.
func (d *designer) dropAll(why string) {
	for at := range slices.Backward(d.out.Strings) {
		d.drop(at, why)
	}
	d.strings, d.out.Feeders = slices.Clone(d.plan.Strings), nil
}

// drop takes a string back to what it is today, and says why.
func (d *designer) drop(at int, why string) {
	s := d.out.Strings[at]
	d.refuse(s.index, why)
	d.out.Cost.Least -= s.Cost.Least
	was := d.plan.Strings[s.index]
	for _, f := range d.out.Feeders {
		was = moved(was, f.was, f.is)
	}
	d.strings[s.index] = was
	d.out.Strings = slices.Delete(d.out.Strings, at, at+1)
	d.out.Supplies = slices.DeleteFunc(d.out.Supplies, func(v Supply) bool {
		return !slices.ContainsFunc(d.strings, func(s *config.String) bool { return fedBy(s, v.supply) })
	})
}

// whole judges the plan as proposed. It returns which of the designed strings have a
// finding that was not there before; of several that share one, one, or all.
func (d *designer) whole(before []config.Problem, all bool) map[int]string {
	p := d.proposed()
	d.out.Plan = p
	if len(d.out.Strings) == 0 {
		return nil
	}
	bad := map[int]string{}
	b := budget.New(p)
	level := 100 * d.opts.Level
	for _, x := range d.problems(p, b) {
		if slices.ContainsFunc(before, func(o config.Problem) bool {
			return o.What == x.What || o.Where.Mark == x.Where.Mark && (d.shared(x) || d.noWorse(x, b))
		}) {
			continue
		}
		for k := range d.out.Strings {
			s := &d.out.Strings[k]
			r := &b.Strings[s.index]
			if d.opts.Level < 1 && (r.WorkingLevelPercent >= level-1e-6 && r.LowestVolts < r.WorkingVolts || r.WithinFusesPercent >= level-1e-6) && b.WithinFusesPercent >= level-1e-6 {
				continue // at full white, which was not asked
			}
			if d.concerns(x, p, p.Strings[s.index]) {
				bad[k] = x.What
				if !all {
					break
				}
			}
		}
	}
	return bad
}

// concerns reports whether a problem may be due to a string: it speaks of it, of a
// supply or feeder of it, or of nobody that is known.
func (d *designer) concerns(x config.Problem, p *config.Plan, s *config.String) bool {
	if _, its := speaksOf(x, s); its {
		return true
	}
	if slices.ContainsFunc(p.Strings, func(o *config.String) bool { _, its := speaksOf(x, o); return its }) {
		return false
	}
	for _, v := range p.Supplies {
		if strings.HasPrefix(x.What, "supply "+v.Name+":") {
			return fedBy(s, v)
		}
	}
	for _, f := range p.Feeders {
		if strings.HasPrefix(x.What, "feeder "+f.Name+":") {
			return slices.ContainsFunc(s.Feeds, func(o *config.Feed) bool { return o.Feeder != nil && o.Feeder.Name == f.Name })
		}
	}
	for _, e := range p.Enclosures {
		if strings.HasPrefix(x.What, "enclosure "+e.Name+":") {
			return slices.ContainsFunc(s.Feeds, func(f *config.Feed) bool { return f.Supply != nil && f.Supply.Enclosure == e })
		}
	}
	if c := s.Controller; strings.HasPrefix(x.What, "controller ") {
		return c != nil && strings.HasPrefix(x.What, "controller "+c.Name+":")
	}
	return true // of mains, or of what nobody knows
}

// noWorse reports whether a problem that stood at the same place before is one of a
// supply or an enclosure that has to bear no more now.
func (d *designer) noWorse(x config.Problem, b *budget.Budget) bool {
	for i, v := range d.plan.Supplies {
		if x.Where.Mark == v.At("watts") && strings.HasPrefix(x.What, "supply "+v.Name+":") {
			return b.Supplies[i].FullWhiteAmps <= d.budget.Supplies[i].FullWhiteAmps*(1+1e-9)
		}
	}
	for i, e := range d.plan.Enclosures {
		if x.Where.Mark == e.At("area") {
			return b.Enclosures[i].Watts <= d.budget.Enclosures[i].Watts*(1+1e-9)
		}
	}
	return false
}

// shared reports whether a problem is of a feeder as such, which is no worse where its
// strings have become better.
func (d *designer) shared(x config.Problem) bool {
	return slices.ContainsFunc(d.plan.Feeders, func(f *config.Feeder) bool { return x.Where.Mark == f.At("fuse_amps") })
}

func (d *designer) problems(p *config.Plan, b *budget.Budget) []config.Problem {
	return slices.Concat(b.Problems, protection.New(p, b).Problems)
}

// proposed is the plan with what was found.
func (d *designer) proposed() *config.Plan {
	p := *d.plan
	p.Strings = d.strings
	p.Feeders = slices.Clone(d.plan.Feeders)
	for _, f := range d.out.Feeders {
		p.Feeders[slices.Index(p.Feeders, f.was)] = f.is
	}
	p.Supplies = slices.Clone(d.plan.Supplies)
	for _, v := range d.out.Supplies {
		p.Supplies = append(p.Supplies, v.supply)
	}
	return &p
}

// sum adds the costs up.
func (d *designer) sum() {
	c := &d.out.Cost
	for i := range d.out.Strings {
		s := &d.out.Strings[i]
		for _, f := range d.plan.Strings[s.index].Feeds {
			if d.plan.Strings[s.index].Marks.Has("feeds") {
				s.Cost.Today += d.list.feedCost(f)
			}
		}
		c.Today += s.Cost.Today
		c.Proposed += s.Cost.Proposed
	}
	for _, f := range d.out.Feeders {
		c.Today += f.Cost.Today
		c.Proposed += f.Cost.Proposed
	}
	for _, v := range d.out.Supplies {
		c.Proposed += v.Price
	}
	for _, s := range d.out.Strings { // what a feeder costs that stays is in what was compared
		if f := s.feeds[0].Feeder; f != nil && !slices.ContainsFunc(d.out.Feeders, func(x Feeder) bool { return x.is == f }) {
			c.Least -= d.list.feederCost(f)
			break
		}
	}
	c.Least = min(c.Least, c.Proposed)
	round := func(v *float64) { *v = math.Round(*v*100) / 100 }
	for i := range d.out.Strings {
		s := &d.out.Strings[i].Cost
		round(&s.Today)
		round(&s.Proposed)
		round(&s.Least)
	}
	round(&c.Today)
	round(&c.Proposed)
	round(&c.Least)
}

// explain says of each string what is wrong today, what is proposed, and what the
// choices next to it fail that cost less.
func (d *designer) explain() {
	d.each(len(d.out.Strings), func(k int) {
		s := &d.out.Strings[k]
		s.Because = d.because[s.index]
		if s.Because == nil {
			s.Because = []string{}
		}
		s.Feeds, s.Refused = nil, []Choice{}
		p := s.problem
		was := d.plan.Strings[s.index]
		full := d.flows(s)
		for i, f := range s.feeds {
			from := f.Supply.Name
			if f.Feeder != nil {
				from = f.Feeder.Name
			}
			s.Feeds = append(s.Feeds, Feed{At: f.At, From: from, Wire: f.Wire.String(), Metres: f.Wire.Metres, FuseAmps: f.FuseAmps, Amps: full[i], Change: change(was, f)})
		}
		refuse := func(what string, feeds []*config.Feed) {
			cost := 0.0
			for _, f := range feeds {
				cost += d.list.feedCost(f)
			}
			if cost < s.Cost.Proposed-1e-9 {
				if why := p.fails(feeds); why != "" {
					s.Refused = append(s.Refused, Choice{what, math.Round(cost*100) / 100, why})
				}
			}
		}
		for i, f := range s.feeds {
			if len(s.feeds) > 1 {
				refuse("no feed at "+f.At, slices.Concat(s.feeds[:i], s.feeds[i+1:]))
			}
		}
		for i, f := range s.feeds {
			refuse2 := func(what string, g *config.Feed) {
				feeds := slices.Clone(s.feeds)
				feeds[i] = g
				refuse(what, feeds)
			}
			for w := len(d.list.Wire) - 1; w >= 0; w-- { // the dearest of those that are cheaper
				if kind := d.list.Wire[w]; kind.Price < d.list.metre(f.Wire) {
					g := *f
					g.Wire = kind.Wire
					g.Wire.Metres = f.Wire.Metres
					refuse2(fmt.Sprintf("%s at %s", kind.Wire, f.At), &g)
					break
				}
			}
			for n := len(d.list.Fuses) - 1; n >= 0; n-- {
				if fuse := d.list.Fuses[n]; fuse.Price < d.list.fuse(f.FuseAmps) {
					g := *f
					g.FuseAmps = fuse.Amps
					refuse2(fmt.Sprintf("a %g A fuse at %s", fuse.Amps, f.At), &g)
					break
				}
			}
		}
	})
}

// flows are the amperes of a string's feeds at the asked level.
func (d *designer) flows(s *String) []float64 {
	p := s.problem
	at := make([]int, len(s.feeds))
	taps := make([]tap, len(s.feeds))
	for i, f := range s.feeds {
		x := slices.IndexFunc(p.places, func(a place) bool { return a.address == f.Address })
		at[i] = x
		taps[i] = tap{node: p.places[x].node, g: 1 / (2 * budget.LeadOhms(d.plan, p.s, f))}
	}
	var st state
	p.nominal.solve(taps, p.s.Volts, &st)
	out := make([]float64, len(taps))
	for i, a := range st.amps {
		out[i] = math.Round(a*1000) / 1000
	}
	return out
}

// change says what a feed is beside today's.
func change(was *config.String, f *config.Feed) string {
	if was.Marks.Has("feeds") {
		for _, o := range was.Feeds {
			if o.Address != f.Address {
				continue
			}
			if o.Wire == f.Wire && o.FuseAmps == f.FuseAmps && o.Supply == f.Supply && (o.Feeder == nil) == (f.Feeder == nil) {
				return "as today"
			}
			return "changed"
		}
	}
	return "new"
}
