package budget

import (
	"fmt"
	"math"
	"slices"

	"yardproof/config"
)

// feederFigures records the feeders as solved last.
func (b *Budget) feederFigures(g *group) {
	for j, f := range g.feeders {
		u := j * g.rails
		r := &b.Feeders[b.feeder[f]]
		r.FullWhiteAmps = g.feederAmps(u)
		r.Volts = g.u[u]
		r.HeatWatts = 0
		for k := u; k < u+g.rails; k++ {
			d := g.supply[k] - g.u[k]
			r.HeatWatts += g.g[k] * d * d
			if k > u {
				r.Volts -= g.u[k]
			}
		}
		if f.FuseAmps > 0 {
			r.FuseLoadPercent = 100 * math.Abs(r.FullWhiteAmps) / b.FeederForLong(f)
		}
	}
}

// feederAmps is what flows into a feeder, by its unknown, as solved last.
func (g *group) feederAmps(u int) float64 { return g.g[u] * (g.supply[u] - g.u[u]) }

// loseFeeds takes each feed away in turn at full white and says what then fails.
// What shares a feeder with the string is held at the currents of the whole, up
// to first order in the feeders' volts, which is exact for constant current.
func (b *Budget) loseFeeds(g *group, gc *groupCap, power bool) {
	m := constant
	if power {
		m = careful
	}
	found := &returns{b: b, g: g, gc: gc}
	defer b.loseFeeders(g, gc, m, found)
	volts := slices.Clone(g.u) // the feeders'
	var whole []float64        // the same, where others' loss is worked out
	nodes := 0
	for _, l := range g.ladders {
		nodes += l.nodes * len(l.s.Feeds)
	}
	if tied := nodes * len(g.ladders); len(g.ladders) > 1 && tied <= mostTied {
		whole = volts
	} else if tied > mostTied && len(g.feeders) > 0 {
		b.tooTied(g, gc, "when one string loses a feed, what that does to the others is")
	}
	for i, l := range g.ladders {
		r := &b.Strings[gc.strings[i]]
		if len(l.s.Feeds) == 1 {
			r.Feeds[0].Lost = &Lost{Dark: true, Fails: []string{"the whole string is dark"}}
			continue
		}
		if !r.solved || gc.ceiling < 1 {
			continue
		}
		end := g.changing(l, volts)
		for j := range l.s.Feeds {
			l.lose(j, true)
			r.Feeds[j].Lost = b.without(g, l, r, j, m)
			if whole != nil && r.Feeds[j].Lost.solved { // else there are no volts to judge them by
				b.neighbours(r.Feeds[j].Lost, g, gc, l, whole)
			}
			if ok := r.Feeds[j].Lost.solved; len(g.feeders) > 0 {
				open := func() func() { return l.openReturn(j) }
				whole := open() // the one rail that stands for both is open already
				if g.rails == 2 {
					l.lose(j, false)
					whole = open()
					ok = g.solve([]*ladder{l}, fullWhite, m)
				}
				if ok {
					found.feeders(fmt.Sprintf("the feed of %s at %s", l.s.Name, l.s.Feeds[j].At), open)
				}
				whole()
			}
			l.lose(j, false)
		}
		if len(l.coupled) > 0 {
			g.solve([]*ladder{l}, fullWhite, m) // so that the next string's neighbours are whole
		}
		end()
	}
}

func (l *ladder) lose(feed int, lost bool) {
	for i := range l.terms {
		if l.terms[i].feed == feed {
			l.terms[i].lost = lost
		}
	}
	l.pieces()
}

// without solves a string that has lost a feed.
func (b *Budget) without(g *group, l *ladder, r *String, lost int, m mode) *Lost {
	res := &Lost{Dark: l.dark != nil}
	if l.dark != nil {
		res.Fails = append(res.Fails, "a piece of the string is dark")
	}
	if !g.solve([]*ladder{l}, fullWhite, m) {
		res.Fails = append(res.Fails, "the volts collapse: its pixels cannot get their power")
		return res
	}
	res.solved = true
	for _, t := range l.terms {
		if t.feed == lost || !l.positive(t) {
			continue
		}
		f := l.s.Feeds[t.feed]
		amps := g.termAmps(l, t)
		if text := overFuse(amps, f.FuseAmps, b.FuseForLong(l.s, f)); text != "" {
			res.Fails = append(res.Fails, fmt.Sprintf("the fuse of the feed at %s %s", f.At, text))
			res.fuses++
		}
		if t.feeder >= 0 {
			h := g.feeders[t.feeder/g.rails]
			if text := overFuse(g.feederAmps(t.feeder), h.FuseAmps, b.FeederForLong(h)); text != "" {
				res.Fails = append(res.Fails, fmt.Sprintf("the fuse of feeder %s %s", h.Name, text))
				res.fuses++
			}
		}
	}
	if !r.voltsKnown(l) {
		return res
	}
	res.LowestVolts, res.LowestVoltsPixel = l.lowest()
	if res.LowestVoltsPixel > 0 && res.LowestVolts < r.WorkingVolts-0.005 { // what two decimals show
		res.Fails = append(res.Fails, fmt.Sprintf("pixel %d has %.2f V and fades: it needs %.4g V", res.LowestVoltsPixel, max(res.LowestVolts, 0), r.WorkingVolts))
	}
	return res
}

// FusesIfLost is how many feeds and feeders leave a fuse with more than it may carry,
// each being lost alone at full white. Such a fuse opens: it goes dark, and nothing burns.
func (b *Budget) FusesIfLost() int {
	n := 0
	for _, s := range b.Strings {
		for _, f := range s.Feeds {
			if f.Lost != nil && f.Lost.fuses > 0 {
				n++
			}
		}
	}
	for _, f := range b.Feeders {
		if f.Lost != nil && f.Lost.fuses > 0 {
			n++
		}
	}
	return n
}

// overFuse says how a current is too much for a fuse, of which some may flow for long; "": it is not, or the fuse
// is not known.
func overFuse(amps, fuse, long float64) string {
	amps = math.Abs(amps)
	switch {
	case fuse <= 0:
		return ""
	case amps > fuse:
		return fmt.Sprintf("may blow: %.1f A through %g A", amps, fuse)
	case amps > long*(1+1e-9):
		return fmt.Sprintf("is overloaded: %.1f A, it may carry %.2f A for long", amps, long)
	}
	return ""
}

// byLaw solves the group as its chips really draw, and records it for the strings
// where that differs from constant current, be it through a neighbour on a feeder.
func (b *Budget) byLaw(g *group, gc *groupCap) {
	needed := false
	for i, l := range g.ladders {
		r := &b.Strings[gc.strings[i]]
		needed = needed || r.solved && !l.law.linear(aware) && (l.law.kind != config.LoadCurrent || r.LowestVolts < r.WorkingVolts)
	}
	if !needed {
		return
	}
	ok := gc.ceiling >= 1 && g.solve(g.ladders, fullWhite, aware)
	for i, l := range g.ladders {
		r := &b.Strings[gc.strings[i]]
		if !r.voltsKnown(l) {
			continue
		}
		if !ok {
			if gc.ceiling < 1 {
				r.ChipAware = &ChipAware{Collapse: true, CollapsePercent: 100 * gc.ceiling}
			}
			continue
		}
		low, _ := l.lowest()
		if l.law.kind == config.LoadCurrent && math.Abs(low-r.LowestVolts) < 0.0005 {
			continue
		}
		a := &ChipAware{}
		a.LowestVolts, a.LowestVoltsPixel = l.lowest()
		for _, t := range l.terms {
			if l.positive(t) {
				a.Amps += g.termAmps(l, t)
			}
		}
		for k := l.lit; k < l.nodes; k++ {
			if l.volt[k] < r.WorkingVolts {
				a.FirstFadedPixel = l.pixel(k)
				break
			}
		}
		r.ChipAware = a
	}
}
