package design

import (
	"cmp"
	"context"
	"math"
	"slices"

	"yardproof/config"
)

// mostFeeds is how many feeds a string is tried with.
const mostFeeds = 8

// mostSets bounds the sets of places that are looked at for one number of feeds. A
// string with more has its places thinned out evenly.
const (
	mostSets = 12_000
	fewSets  = 60 // for a first answer
)

// A found design of a string.
type found struct {
	set    []int // places
	leads  []int // by place of the set: which of the list's wires
	fuses  []float64
	cost   float64
	least  float64 // nothing of what was looked at costs less
	places int     // where feeds were tried, at the number of feeds that was found
	cut    bool    // time or work ran out
}

// A search looks for the cheapest feeds of one string.
type search struct {
	*problem
	ctx   context.Context
	best  found
	thick []tap     // by place: at the best wire there
	cheap []float64 // by place: what a feed there costs at least
	most  []float64 // by place: amperes for long
	taps  []tap     // of the set that is looked at
	rest  []tap     // without one
	st    state     //
	sets  [][]int   // of places, by the least that each can cost
	least []float64 // of those
	work  int       // steps so far
}

// What looking at a step costs, about, beside a set of places.
const judging = 50

// over reports whether time has run out, or what work may be done is done.
func (s *search) over() bool {
	if s.ctx.Err() != nil || s.opts.Work > 0 && s.work >= s.opts.Work {
		s.best.cut = true
	}
	return s.best.cut
}

// feeds are the feeds at a set of places.
func (p *problem) feeds(set, leads []int, fuses []float64) []*config.Feed {
	feeds := make([]*config.Feed, len(set))
	for i, x := range set {
		feeds[i] = p.feed(p.places[x], p.leads[x][leads[i]].wire, fuses[i])
	}
	return feeds
}

// solve finds the cheapest feeds, or those so far when time runs out; without feeds
// there are none.
func (p *problem) solve(ctx context.Context) found { return p.solveFeeds(ctx, mostFeeds) }

// solveFeeds is solve with at most so many feeds.
func (p *problem) solveFeeds(ctx context.Context, most int) found {
	return p.searchFrom(ctx, most, found{cost: math.Inf(1)})
}

// improve goes on from what was found when time ran out.
func (p *problem) improve(ctx context.Context, from found) found {
	return p.searchFrom(ctx, mostFeeds, from)
}

func (p *problem) searchFrom(ctx context.Context, most int, from found) found {
	s := p.search(ctx, from)
	if low, ok := s.highest(); !ok || low < p.need-1e-9 {
		s.best.least = s.best.cost
		return s.best
	}
	for m := 1; s.best.set == nil && m <= min(most, len(p.places)) && !s.over(); m++ {
		s.number(m, fewSets) // a first answer, to give up by
	}
	s.best.least = math.Inf(1)
	for m := 1; m <= min(most, len(p.places)); m++ {
		least := float64(m) * slices.Min(s.cheap)
		enough := least >= s.best.cost-1e-9
		if !enough && s.over() {
			s.best.least = min(s.best.least, least)
			break
		}
		if !enough {
			s.number(m, mostSets)
		}
		if m == len(s.best.set) && !s.best.cut { // no matter which pass found it
			s.best.places = len(s.subset(m, mostSets))
		}
		if enough {
			break
		}
	}
	s.best.least = min(s.best.least, s.best.cost)
	return s.best
}

// search makes one ready.
func (p *problem) search(ctx context.Context, from found) *search {
	from.cut, from.least = false, math.Inf(1)
	s := &search{problem: p, ctx: ctx, best: from}
	for i, a := range p.places {
		best, price, most, fits := tap{node: a.node}, math.Inf(1), 0.0, false
		for _, l := range p.leads[i] {
			if len(l.fuses) == 0 {
				continue
			}
			fits = true
			best.g, best.plain = max(best.g, l.worstG), max(best.plain, l.g)
			price, most = min(price, l.price+l.fuses[0].Price), max(most, l.most)
		}
		if !fits {
			price = math.Inf(1)
		}
		s.thick = append(s.thick, best)
		s.cheap = append(s.cheap, price+p.list.Connector)
		s.most = append(s.most, most)
	}
	return s
}

// highest is the lowest volts of a pixel with a lead at its thickest to every place: no
// choice gives more; false when no lead with a fuse fits anywhere.
func (s *search) highest() (volts float64, ok bool) {
	all := slices.DeleteFunc(slices.Clone(s.thick), func(t tap) bool { return t.g == 0 })
	if len(all) == 0 {
		return 0, false
	}
	s.level.solve(all, s.source, &s.st)
	return s.level.lowest(all, &s.st), true
}

// number looks at every set of so many places.
func (s *search) number(m int, sets float64) {
	subset := s.subset(m, sets)
	s.sets, s.least = nil, nil
	s.extend(subset, make([]int, 0, m), m, 0)
	if s.over() { // not all sets are in the list
		s.best.least = min(s.best.least, float64(m)*slices.Min(s.cheap))
	}
	order := make([]int, len(s.sets))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.least[a], s.least[b]) })
	for _, i := range order {
		if s.least[i] >= s.best.cost-1e-9 {
			break
		}
		if s.over() {
			s.best.least = min(s.best.least, s.least[i])
			return
		}
		best := s.best.cost
		s.wires(s.sets[i], make([]int, 0, m), s.least[i])
		if s.best.cost < best {
			s.best.places = len(subset)
		}
		if s.over() { // perhaps in the middle of this one
			s.best.least = min(s.best.least, s.least[i])
			return
		}
	}
}

// subset are the places that sets of m are made of: all, or as many as mostSets allows,
// evenly, with the ends and today's among them.
func (s *search) subset(m int, sets float64) []int {
	n := len(s.places)
	room := m
	for ; room < n && choose(room+1, m) <= sets; room++ {
	}
	var list []int
	for i, a := range s.places {
		even := room >= n || i == 0 || i == n-1 || a.was != nil || i*(room-1)/(n-1) != (i-1)*(room-1)/(n-1)
		if even && !math.IsInf(s.cheap[i], 1) {
			list = append(list, i)
		}
	}
	return list
}

func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c *= float64(n-i) / float64(i+1)
	}
	return c
}

// extend adds places to a set, and keeps those that could do.
func (s *search) extend(subset, set []int, m int, cost float64) {
	if len(set) == m {
		if s.couldDo(set) {
			s.sets, s.least = append(s.sets, slices.Clone(set)), append(s.least, cost)
		}
		return
	}
	for i, x := range subset {
		if s.over() {
			return
		}
		node := s.places[x].node
		if len(set) == 0 && s.level.before(node, s.source) < s.need {
			break // even with this place held at the source's volts; farther is worse
		}
		if len(set) > 0 {
			last := &s.places[set[len(set)-1]]
			if s.level.sag(last.node, node, s.source, s.source) < s.need {
				break
			}
			if s.tooNear(last, &s.places[x]) {
				continue
			}
		}
		if c := cost + s.cheap[x]; c < s.best.cost-1e-9 && len(subset)-i >= m-len(set) {
			s.extend(subset[i+1:], append(set, x), m, c)
		}
	}
}

// couldDo reports whether a set has the volts with every lead at its thickest, and
// fuses for the current.
func (s *search) couldDo(set []int) bool {
	s.work++
	amps := 0.0
	s.taps = s.taps[:0]
	for _, x := range set {
		amps += s.most[x]
		s.taps = append(s.taps, s.thick[x])
	}
	for _, x := range set {
		if s.opts.LoseOne && amps-s.most[x] < s.draws*(1-1e-6) {
			return false
		}
	}
	if amps < s.draws*(1-1e-6) || s.level.after(s.taps[len(set)-1].node, s.source) < s.need {
		return false
	}
	return s.enough()
}

// enough reports whether the taps give every pixel its volts.
func (s *search) enough() bool {
	s.level.solve(s.taps, s.source, &s.st)
	return s.level.lowest(s.taps, &s.st) >= s.need-1e-9 && (!s.opts.LoseOne || s.enoughWithout())
}

// enoughWithout reports whether that also holds with any one tap lost, by the plan's own
// figures, as config/budget judges it.
func (s *search) enoughWithout() bool {
	const seen = 0.006 // volts; the other room looks at two decimals
	if len(s.taps) < 2 {
		return false
	}
	for lost := range s.taps {
		s.rest = append(append(s.rest[:0], s.taps[:lost]...), s.taps[lost+1:]...)
		for i := range s.rest {
			s.rest[i].g = s.rest[i].plain
		}
		s.nominal.solve(s.rest, s.source, &s.st)
		if s.nominal.lowest(s.rest, &s.st) < s.need-seen {
			return false
		}
	}
	return true
}

// wires chooses the wire of one place of a set after the other. Those that are not
// chosen yet are at their thickest: no choice gives more volts.
func (s *search) wires(set, chosen []int, least float64) {
	if s.over() {
		return
	}
	at := len(chosen)
	if at == len(set) {
		s.fuses(set, chosen)
		return
	}
	x := set[at]
	for w, l := range s.leads[x] {
		if len(l.fuses) == 0 {
			continue
		}
		c := least - s.cheap[x] + l.price + l.fuses[0].Price + s.list.Connector
		if c >= s.best.cost-1e-9 {
			continue
		}
		s.taps = s.taps[:0]
		for i, y := range set {
			t := s.thick[y]
			switch {
			case i < at:
				t.g, t.plain = s.leads[y][chosen[i]].worstG, s.leads[y][chosen[i]].g
			case i == at:
				t.g, t.plain = l.worstG, l.g
			}
			s.taps = append(s.taps, t)
		}
		s.work++
		if s.enough() {
			s.wires(set, append(chosen, w), c)
		}
	}
}

// fuses tries the fuses of chosen leads, the cheapest together first.
func (s *search) fuses(set, chosen []int) {
	base := 0.0
	taps := make([]tap, len(set))
	for i, x := range set {
		l := s.leads[x][chosen[i]]
		taps[i] = tap{node: s.places[x].node, g: l.g}
		base += l.price + s.list.Connector
	}
	now, full := s.flows(taps)
	fits := make([][]config.StockFuse, len(set))
	for i, x := range set {
		l := s.leads[x][chosen[i]]
		for _, f := range l.fuses {
			long := s.feed(s.places[x], l.wire, f.Amps)
			if forLong := s.budget.FuseForLong(s.s, long); now[i] <= forLong*(1+1e-6) && full[i] <= f.Amps*(1+1e-6) {
				fits[i] = append(fits[i], f)
			}
		}
		if len(fits[i]) == 0 {
			return
		}
	}
	x, ok := s.faults(taps)
	if !ok {
		return
	}
	var smallest, cheapest combination
	for _, choices := range fits {
		smallest.take(slices.MinFunc(choices, func(a, b config.StockFuse) int { return cmp.Compare(a.Amps, b.Amps) }))
		cheapest.take(choices[0])
	}
	if !x.bear(smallest.amps) {
		return // and no bigger ones
	}
	try := func(c combination) (ended bool) {
		if s.over() || base+c.price >= s.best.cost-1e-9 {
			return true
		}
		s.work++
		if !x.bear(c.amps) {
			return false
		}
		s.work += judging
		if s.fails(s.feeds(set, chosen, c.amps)) != "" {
			return false
		}
		s.best.set, s.best.leads, s.best.fuses, s.best.cost = set, slices.Clone(chosen), c.amps, base+c.price
		return true
	}
	if try(cheapest) {
		return
	}
	for c := range combinations(fits) {
		if !slices.Equal(c.amps, cheapest.amps) && try(c) {
			return
		}
	}
}
