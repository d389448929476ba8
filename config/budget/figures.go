package budget

import (
	"math"
	"slices"

	"yardproof/config"
)

// A string of more feeds is not worked out: the work would grow with the square
// of a plan that nobody builds.
const manyFeeds = 64

// The drop that a string is planned to stay within, as a share of its volts
// (common practice, no source).
const planningDrop = 0.10

// solveAll finds the volts and amperes of every string.
func (b *Budget) solveAll() {
	p := b.plan
	b.Feeders = make([]Feeder, len(p.Feeders))
	b.feeder = make(map[*config.Feeder]int, len(p.Feeders))
	for i, f := range p.Feeders {
		b.Feeders[i] = Feeder{Name: f.Name, FuseAmps: f.FuseAmps}
		if f.Supply != nil {
			b.Feeders[i].Supply = f.Supply.Name
		}
		b.feeder[f] = i
	}
	b.groups = b.gather()
	for i, gc := range b.groups {
		for j, n := range gc.strings {
			b.of[n] = place{i, j}
		}
	}
	OnAllCores(len(b.groups), func() func(int) {
		return func(i int) {
			b.solveGroup(b.group(b.groups[i]), b.groups[i])
			b.bands(b.groups[i])
		}
	})
	for _, gc := range b.groups {
		b.Returns, b.Notes = append(b.Returns, gc.returns...), append(b.Notes, gc.notes...)
		gc.returns, gc.notes = nil, nil
	}
}

// group lays out the strings of a group, ready to be solved.
func (b *Budget) group(gc *groupCap) *group { return b.groupAt(gc, plain()) }

// groupAt is group with everything at a corner of the plan's tolerance.
func (b *Budget) groupAt(gc *groupCap, c corner) *group {
	strings := make([]*config.String, len(gc.strings))
	for i, n := range gc.strings {
		strings[i] = b.plan.Strings[n]
	}
	g := newGroup(strings, gc.feeders, b.plan.Temperature, c)
	for i, l := range g.ladders {
		l.chip = b.Strings[gc.strings[i]].Chip
		l.law = law{kind: l.chip.Load, nominal: l.s.Volts, fade: l.chip.fade(l.s)}
		l.chip.IdleAmpsPerPixel *= c.pixels
		if l.chip.AmpsPerPixel *= c.pixels; l.chip.AmpsPerPixel <= 0 {
			l.chip.IdleAmpsPerPixel = 0 // draws nothing here; its feeds are marked not known
		}
	}
	return g
}

// gather finds what is tied together by feeders.
func (b *Budget) gather() []*groupCap {
	p := b.plan
	parent := make([]int, len(p.Strings)+len(p.Feeders))
	for i := range parent {
		parent[i] = i
	}
	find := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	feeder := make(map[*config.Feeder]int, len(p.Feeders))
	for i, f := range p.Feeders {
		feeder[f] = len(p.Strings) + i
	}
	for i, s := range p.Strings {
		for _, f := range s.Feeds {
			if n, ok := feeder[f.Feeder]; ok {
				parent[find(n)] = find(i)
			}
		}
	}
	index := make(map[int]int)
	var sets []*groupCap
	for i := range parent {
		root := find(i)
		at, ok := index[root]
		if !ok {
			if i >= len(p.Strings) {
				continue // a feeder without strings
			}
			at = len(sets)
			index[root] = at
			sets = append(sets, &groupCap{})
		}
		if i < len(p.Strings) {
			sets[at].strings = append(sets[at].strings, i)
		} else {
			sets[at].feeders = append(sets[at].feeders, p.Feeders[i-len(p.Strings)])
		}
	}
	return sets
}

// The draws of a string at full white and dark.
func fullWhite(l *ladder, k int) float64 { return l.pixelAmps(k, 1) }
func dark(l *ladder, k int) float64      { return l.pixelAmps(k, 0) }

// pixelAmps is the nominal current of a node at a duty from 0 to 1.
func (l *ladder) pixelAmps(k int, duty float64) float64 {
	switch {
	case k == 0 || l.dark != nil && l.dark[k]:
		return 0
	case k < l.lit:
		return l.chip.IdleAmpsPerPixel
	}
	idle := l.chip.idle()
	return idle + duty*(l.chip.AmpsPerPixel-idle)
}

func (b *Budget) solveGroup(g *group, gc *groupCap) {
	all := g.ladders
	for i, l := range all {
		s := &b.Strings[gc.strings[i]]
		s.solved = l.chip.AmpsPerPixel > 0 && (l.s.Pitch.Known() || len(l.s.Feeds) == 1) &&
			(l.chip.Load != config.LoadPower || l.s.Volts > 0) && len(l.s.Feeds) <= manyFeeds
	}

	for _, n := range gc.strings {
		if !b.Strings[n].solved { // an unknown neighbour on a feeder leaves its drop unknown
			for _, n := range gc.strings {
				r := &b.Strings[n]
				r.blind = true
				r.solved = r.solved && len(r.Feeds) == 1
			}
			break
		}
	}

	// Dark first: the caps start from it, and so does the working level.
	ok := g.solve(all, dark, constant) && g.sane()
	idleVolts := make([][]float64, len(all))
	for i, l := range all {
		b.feedAmps(g, l, gc.strings[i], func(f *Feed) *float64 { return &f.IdleAmps })
		if b.Strings[gc.strings[i]].voltsKnown(l) {
			idleVolts[i] = slices.Clone(l.volt)
		}
	}

	ok = g.solve(all, fullWhite, constant) && g.sane() && ok
	if !ok { // wires whose resistances lie so far apart that they drown in rounding
		for i, l := range all {
			b.Strings[gc.strings[i]].solved = false
			b.feedAmps(g, l, gc.strings[i], func(f *Feed) *float64 { return &f.IdleAmps })
		}
		b.reduceCaps(g, gc)
		return
	}
	for i, l := range all {
		r := &b.Strings[gc.strings[i]]
		b.feedAmps(g, l, gc.strings[i], func(f *Feed) *float64 { return &f.FullWhiteAmps })
		if !r.voltsKnown(l) {
			continue
		}
		r.LowestVolts, r.LowestVoltsPixel = l.lowest()
		r.WireHeatWatts = g.heat(l)
		r.WorkingLevelPercent = 100 * workingLevel(l, idleVolts[i], r.WorkingVolts)
		if drop := l.s.Volts - r.LowestVolts; drop > planningDrop*l.s.Volts || r.LowestVolts < r.WorkingVolts {
			r.OneMoreFeed = l.oneMore(g)
		}
	}
	b.feederFigures(g)
	b.reduceCaps(g, gc)
	power := false
	for _, l := range all {
		power = power || l.law.kind == config.LoadPower
	}
	if power {
		b.regulators(g, gc)
	}
	b.loseFeeds(g, gc, power)
	b.byLaw(g, gc)
}

// sane reports whether what flows in is what the pixels draw.
func (g *group) sane() bool {
	for _, l := range g.ladders {
		drawn, in, gross := 0.0, 0.0, 0.0
		for _, a := range l.amps {
			drawn += a
		}
		for _, t := range l.terms {
			if !l.positive(t) {
				continue
			}
			amps := g.termAmps(l, t)
			in += amps
			gross += math.Abs(amps)
		}
		if !(math.Abs(in-drawn) <= 1e-4*(1+gross+drawn)) {
			return false
		}
	}
	return true
}

// voltsKnown reports whether the volts along the string are worth saying.
func (r *String) voltsKnown(l *ladder) bool {
	return r.solved && !r.blind && (l.s.Pitch.Known() || l.nodes == 2) && l.s.Volts > 0
}

// feedAmps writes the currents of a ladder's feeds, as solved last.
func (b *Budget) feedAmps(g *group, l *ladder, n int, to func(*Feed) *float64) {
	r := &b.Strings[n]
	for _, t := range l.terms {
		if !l.positive(t) {
			continue // a fuse and a clamp meter sit on the positive conductor
		}
		f := &r.Feeds[t.feed]
		if f.known = r.solved; f.known {
			*to(f) = g.termAmps(l, t)
		} else {
			*to(f) = 0
		}
	}
}

// lowest is the lowest volts among lit pixels that have a feed, and the pixel.
func (l *ladder) lowest() (volts float64, pixel int) {
	at := 0
	for k := l.lit; k < l.nodes; k++ {
		if l.dark != nil && l.dark[k] {
			continue
		}
		// A later pixel must be lower by more than rounding to be the lowest.
		if at == 0 || l.volt[k] < volts-1e-9 {
			volts, at = l.volt[k], k
		}
	}
	if at == 0 {
		return 0, 0
	}
	return volts, l.pixel(at)
}

// heat is the power that the string's own wire turns into heat.
func (g *group) heat(l *ladder) float64 {
	watts := 0.0
	cuts := make(map[int]bool, len(l.cut))
	for _, n := range l.cut {
		cuts[n] = true
	}
	for k := 1; k < l.nodes; k++ {
		if l.rails == 1 {
			d := l.x[k] - l.x[k-1]
			watts += d * d * l.wire[k]
			continue
		}
		d := l.x[2*k+1] - l.x[2*k-1]
		watts += d * d * l.wire[k]
		if !cuts[k-1] {
			d = l.x[2*k] - l.x[2*k-2]
			watts += d * d * l.wire[k]
		}
	}
	for _, t := range l.terms {
		if i := g.termAmps(l, t); !t.lost {
			watts += i * i / t.g
		}
	}
	return watts
}

// workingLevel is the highest level at which no lit pixel is below the volts it
// works with. With constant current each pixel's volts fall in proportion.
func workingLevel(l *ladder, idle []float64, working float64) float64 {
	if working <= 0 {
		return 0
	}
	level := 1.0
	for k := l.lit; k < l.nodes; k++ {
		if l.volt[k] < working && idle[k] > l.volt[k] {
			level = min(level, (idle[k]-working)/(idle[k]-l.volt[k]))
		}
	}
	return max(level, 0)
}

// oneMore looks for the pixel where another feed, with a lead of no length, lifts
// the lowest volts most. Between the feeds or cuts beside the lowest pixel the gain
// rises to one top and falls again, so a search by thirds finds it. The matrix is
// the one of the last solve. Feeders keep their volts.
func (l *ladder) oneMore(g *group) *ExtraFeed {
	low, pixel := l.lowest()
	if pixel == 0 || l.s.Pixels < 2 {
		return nil
	}
	at, from, to := l.firstNode(pixel), l.lit, l.nodes-1
	between := func(k int) {
		if k <= at {
			from = max(from, k)
		} else {
			to = min(to, k)
		}
	}
	source := 0.0
	for _, t := range l.terms {
		if !l.positive(t) {
			continue
		}
		volts := t.volts
		if t.feeder >= 0 {
			volts = g.supply[t.feeder]
		}
		source = max(source, volts)
		between(t.unknown / l.rails)
	}
	for _, cut := range l.cut {
		if cut < at {
			between(cut + 1)
		} else {
			between(cut)
		}
	}
	best := ExtraFeed{At: pixel, LowestVolts: low}
	var out, back []float64 // what an ampere into V+, or the one rail, and into the return does
	try := func(k int) float64 {
		out = l.unit(term{unknown: l.rails * k}, out)
		plus, minus := (source-l.x[l.rails*k])/out[l.rails*k], 0.0
		if l.rails == 2 {
			back = l.unit(term{unknown: 2*k + 1}, back)
			minus = (0 - l.x[2*k+1]) / back[2*k+1]
		}
		lowest := math.Inf(1)
		for j := l.lit; j < l.nodes; j++ {
			v := l.volt[j] + plus*out[l.rails*j]
			if l.rails == 2 {
				v -= minus * back[2*j+1]
			}
			if l.dark == nil || !l.dark[j] {
				lowest = min(lowest, v)
			}
		}
		if lowest > best.LowestVolts {
			best = ExtraFeed{At: l.pixel(k), LowestVolts: lowest}
		}
		return lowest
	}
	for to-from > 2 {
		a, b := from+(to-from)/3, to-(to-from)/3
		if try(a) < try(b) {
			from = a
		} else {
			to = b
		}
	}
	for k := from; k <= to; k++ {
		try(k)
	}
	if best.LowestVolts <= low+1e-6 {
		return nil
	}
	return &best
}
