package budget

import (
	"math"

	"yardproof/config"
)

// groupCap is what is kept of a group for caps: its feeds' currents as linear
// functions of the strings' duties.
type groupCap struct {
	strings []int
	feeders []*config.Feeder
	ceiling float64     // level up to which its switching regulators have a steady state; 1 without any
	feeds   [][]feedCap // by string of the group, by feed
	total   []float64   // by string of the group: what light adds at level 1, all feeds together
	power   bool        // some of its pixels draw more as their volts fall
	matrix  sparse      // by feeder: amperes out of it to how far its volts drop

	returns []Return // what is found of it, until all groups are solved
	notes   []Note
}

// A feedCap is one feed's current at level L and duty d of its own string:
// idle + L·min(d·peak, full), and what the other feeders' drop pushes onto it, less
// what its own feeder's drop takes away.
type feedCap struct {
	idle   float64
	dark   float64 // what flows in the dark, with its sign
	still  float64 // its string's own part of idle
	extra  float64 // the part of idle that the other feeds' idle does not yet reckon with
	full   float64 // lit evenly
	peak   float64 // for each unit of duty when what is lit sits nearest this feed
	feeder int     // in the group; -1: none
	self   float64 // amperes fewer for each volt that its own feeder drops
	cross  []cross

	// What the share of a pixel that this feed brings rises and falls by along the
	// string, in amperes of one pixel: what an uneven count may do.
	rising, falling float64
}

type cross struct {
	feeder int
	amps   float64 // for each volt that feeder drops
}

// reduceCaps fills in the caps of a group whose matrices are those of constant
// current, solved at full white.
func (b *Budget) reduceCaps(g *group, gc *groupCap) {
	gc.ceiling = 1
	gc.feeds = make([][]feedCap, len(g.ladders))
	gc.total = make([]float64, len(g.ladders))
	var unit []float64
	for i, l := range g.ladders {
		r := &b.Strings[gc.strings[i]]
		caps := make([]feedCap, len(l.s.Feeds))
		gc.feeds[i] = caps
		total := 0.0 // of what light adds
		for k := l.lit; k < l.nodes; k++ {
			total += fullWhite(l, k) - dark(l, k)
		}
		gc.total[i] = total
		if !r.solved {
			for j, f := range l.s.Feeds { // each may have to bear all of it
				caps[j] = feedCap{full: total, peak: total, feeder: -1}
				if k, ok := g.index[f.Feeder]; ok {
					caps[j].feeder = k
				}
			}
			continue
		}
		for _, t := range l.terms {
			if !l.positive(t) {
				continue
			}
			c := &caps[t.feed]
			c.idle = r.Feeds[t.feed].IdleAmps
			c.dark = c.idle
			c.feeder = -1
			if t.feeder >= 0 {
				c.feeder = t.feeder / g.rails
			}
			if len(caps) == 1 {
				c.full, c.peak, c.still = total, total, r.IdleAmps
				continue
			}
			// By reciprocity, the share of each pixel's current that this feed
			// brings is what one ampere into the feed does to that pixel.
			unit = l.unit(t, unit)
			share, before, each := 0.0, 0.0, float64(l.copies)*(l.pixelAmps(l.lit, 1)-l.pixelAmps(l.lit, 0))
			for k := 1; k < l.nodes; k++ {
				s := t.g * unit[k*l.rails]
				c.still += s * dark(l, k)
				if k >= l.lit {
					share = max(share, s)
					if k > l.lit {
						c.rising += each * max(s-before, 0)
						c.falling += each * max(before-s, 0)
					}
					before = s
					c.full += s * (fullWhite(l, k) - dark(l, k))
				}
			}
			c.peak = share * total
			if t.feeder >= 0 {
				c.self = t.g
			}
			for _, oi := range l.coupled {
				o := l.terms[oi]
				switch {
				case !l.positive(o):
				case o.feeder == t.feeder: // the feeder lowers all its feeds together
					c.self -= t.g * o.g * unit[o.unknown]
				default:
					c.cross = append(c.cross, cross{o.feeder / g.rails, t.g * o.g * unit[o.unknown]})
				}
			}
			c.self = max(c.self, 0)
		}
	}
	if n := len(g.feeders); n > 0 {
		gc.matrix.reset(n)
		for a, row := range g.matrix.rows {
			for _, e := range row {
				if a%g.rails == 0 && e.column%g.rails == 0 {
					gc.matrix.add(a/g.rails, e.column/g.rails, e.value)
				}
			}
		}
	}
}

// regulators puts switching regulators' rising current in the place of the
// constant one in a group that has any.
func (b *Budget) regulators(g *group, gc *groupCap) {
	at := func(level float64) bool {
		return g.solve(g.ladders, func(l *ladder, k int) float64 { return l.pixelAmps(k, level) }, careful)
	}
	gc.power = true
	gc.ceiling = bisect(at)
	if gc.ceiling == 0 || !at(0) {
		gc.ceiling = 0
		return
	}
	for i, l := range g.ladders {
		b.feedAmps(g, l, gc.strings[i], func(f *Feed) *float64 { return &f.IdleAmps })
	}
	at(gc.ceiling)
	for i, l := range g.ladders {
		r := &b.Strings[gc.strings[i]]
		if !r.solved {
			continue
		}
		if r.voltsKnown(l) {
			r.WireHeatWatts = max(r.WireHeatWatts, g.heat(l))
		}
		// No pixel ever draws more, against its nominal current, than the one with
		// the lowest volts at the ceiling: with that rise on every pixel, what holds
		// for constant currents bounds these.
		rise := 1.0
		if l.law.kind == config.LoadPower {
			for _, v := range l.volt[1:] {
				if v > 0 { // not on a piece without a feed
					rise = max(rise, l.law.nominal/v)
				}
			}
		}
		gc.total[i] *= rise
		total := 0.0
		for _, t := range l.terms {
			if !l.positive(t) {
				continue
			}
			amps := g.termAmps(l, t)
			total += amps
			f, c := &r.Feeds[t.feed], &gc.feeds[i][t.feed]
			c.peak *= rise
			c.rising *= rise
			c.dark = f.IdleAmps
			if len(g.feeders) == 0 && len(l.s.Feeds) == 1 {
				// Alone, the current is a convex function of the level.
				c.idle, c.full = f.IdleAmps, (amps-f.IdleAmps)/gc.ceiling
				c.rising = math.Inf(1) // it draws more where more of it is lit
			} else {
				c.extra = (rise - 1) * c.still
				c.idle, c.full = c.idle+c.extra, rise*c.full
			}
			if gc.ceiling == 1 {
				f.FullWhiteAmps = amps
			}
		}
		if gc.ceiling == 1 && l.law.kind == config.LoadPower {
			r.FullWhiteAmps = total
		}
	}
	if gc.ceiling == 1 {
		b.feederFigures(g)
	}
	b.workingLevels(g, gc, at)
	at(gc.ceiling)
}

// eachOwn is how many strings of constant current each get a working level of their own
// where regulators on the same feeder pull their volts down; more share the lowest.
const eachOwn = 16

// workingLevels lowers the working levels of a group to what regulators leave of them:
// those of the regulators to one level, since each pulls on the others.
func (b *Budget) workingLevels(g *group, gc *groupCap, at func(level float64) bool) {
	lower := func(ladders []int) {
		works := func(level float64) bool {
			if !at(level) {
				return false
			}
			for _, i := range ladders {
				if v, pixel := g.ladders[i].lowest(); pixel > 0 && v < b.Strings[gc.strings[i]].WorkingVolts {
					return false
				}
			}
			return true
		}
		own := 0.0
		for _, i := range ladders {
			own = max(own, b.Strings[gc.strings[i]].WorkingLevelPercent)
		}
		if own == 0 || works(own/100) {
			return
		}
		level := 100 * bisect(works)
		for _, i := range ladders {
			r := &b.Strings[gc.strings[i]]
			r.WorkingLevelPercent = min(r.WorkingLevelPercent, level)
		}
	}
	var power, current []int
	for i, l := range g.ladders {
		r := &b.Strings[gc.strings[i]]
		switch {
		case !r.voltsKnown(l) || r.WorkingLevelPercent == 0:
		case l.law.kind == config.LoadPower:
			power = append(power, i)
		default:
			current = append(current, i)
		}
	}
	lower(power)
	if len(current) > eachOwn {
		lower(current)
		return
	}
	for _, i := range current {
		lower([]int{i})
	}
}

// bisect finds the highest level from 0 to 1 that a property holds up to.
func bisect(holds func(level float64) bool) float64 {
	if holds(1) {
		return 1
	}
	low, high := 0.0, 1.0
	for range 12 {
		if mid := (low + high) / 2; holds(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}
