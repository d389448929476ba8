package budget

import (
	"fmt"
	"math"
	"slices"

	"yardproof/config"
)

// Cap is a limit on the level of what is lit.
type Cap struct {
	Level float64 // 0-1
	By    string  // what binds: `fuse of gable-left at start, 5 A at 75 %`; "": nothing does

	// What is known holds even where somebody takes the unknown upon himself by
	// asking for a level.
	Bound   float64 // the limit by what is known
	BoundBy string
}

// careful default where a fuse, supply or current is not known (common practice,
// no source).
const unknownLevel = 0.3

// A meterPoint is something with a limit, and its current.
type meterPoint struct {
	idle, light float64 // light: at level 1
	pushed      float64 // the part of light that other feeders' drop pushes here
	limit       float64 // 0: not known
	lit         bool    // some of what is lit is on it
	name        func() string
}

// level is the level up to which the limit holds: 0 where what flows in the dark is
// over it already. What nothing lit hangs on does not bind.
func (m meterPoint) level() float64 {
	switch {
	case m.limit <= 0 || !m.lit || m.idle+max(m.light, 0) <= m.limit:
		return 1
	case m.idle >= m.limit:
		return 0
	}
	return (m.limit - m.idle) / m.light
}

// points is the load of everything that has a limit, for strings lit with some
// duties.
type points struct {
	feeds       [][]meterPoint // by string, by feed
	reverse     [][]meterPoint // the same, for current that runs back into a feeder
	feeders     []meterPoint
	supplies    []meterPoint
	controllers []meterPoint
}

// load works out the currents of strings lit with a duty from 0 to 1 each. With
// spread, what is lit is spread evenly over each string; without, it may sit
// anywhere, and so each feed is given as much of it as it could get.
func (b *Budget) load(duty []float64, spread bool) points {
	p := b.plan
	pt := points{
		feeds:       make([][]meterPoint, len(p.Strings)),
		reverse:     make([][]meterPoint, len(p.Strings)),
		feeders:     make([]meterPoint, len(p.Feeders)),
		supplies:    make([]meterPoint, len(p.Supplies)),
		controllers: make([]meterPoint, len(p.Controllers)),
	}
	for i, f := range p.Feeders {
		pt.feeders[i].limit = b.FeederForLong(f)
		pt.feeders[i].name = func() string {
			return fmt.Sprintf("fuse of feeder %s, %s", f.Name, fuseText(f.FuseAmps, f.FuseContinuousShare, b.feederFuseCelsius(f)))
		}
	}
	for i, s := range p.Supplies {
		pt.supplies[i].limit = b.SupplyForLong(s)
		pt.supplies[i].name = func() string {
			return fmt.Sprintf("supply %s, %g W at %.0f %%", s.Name, s.Watts, 100*b.supplyShare(s))
		}
	}
	for i, c := range p.Controllers {
		pt.controllers[i].limit = c.MaxAmps
		pt.controllers[i].name = func() string { return fmt.Sprintf("power input of controller %s, %g A", c.Name, c.MaxAmps) }
	}
	for _, gc := range b.groups {
		b.loadGroup(gc, duty, spread, &pt)
	}
	return pt
}

func (b *Budget) loadGroup(gc *groupCap, duty []float64, spread bool, pt *points) {
	p := b.plan
	var drop, still []float64 // volts that each feeder's far end loses to light, and to extra
	if len(gc.feeders) > 0 {
		out, dark := make([]float64, len(gc.feeders)), make([]float64, len(gc.feeders))
		for i, n := range gc.strings {
			for _, c := range gc.feeds[i] {
				if c.feeder >= 0 {
					out[c.feeder] += c.light(duty[n], spread)
					dark[c.feeder] += c.extra
				}
			}
		}
		drop, still = make([]float64, len(out)), make([]float64, len(out))
		gc.matrix.solve(out, drop)
		gc.matrix.solve(dark, still)
	}
	shared := false // a feeder carries something lit
	for _, n := range gc.strings {
		shared = shared || len(gc.feeders) > 0 && duty[n] > 0
	}
	for i, n := range gc.strings {
		s := p.Strings[n]
		caps := gc.feeds[i]
		pt.feeds[n] = make([]meterPoint, len(caps))
		pt.reverse[n] = make([]meterPoint, len(caps))
		for j := range caps {
			c, f := &caps[j], s.Feeds[j]
			m := meterPoint{idle: c.idle, light: c.light(duty[n], spread), limit: b.FuseForLong(s, f), lit: shared || duty[n] > 0}
			for _, x := range c.cross {
				m.pushed += x.amps * max(drop[x.feeder], 0)
				m.idle += x.amps * max(still[x.feeder], 0)
			}
			m.light += m.pushed
			m.name = func() string {
				return fmt.Sprintf("fuse of %s at %s, %s", s.Name, f.At, fuseText(f.FuseAmps, f.FuseContinuousShare, b.fuseCelsius(s, f)))
			}
			pt.feeds[n][j] = m
			if c.feeder >= 0 {
				back := m
				back.idle = c.self*max(still[c.feeder], 0) - c.dark
				back.light = c.self * max(drop[c.feeder], 0)
				if spread && !gc.power {
					back.light -= c.least(duty[n])
				}
				pt.reverse[n][j] = back
			}
			if k, ok := b.controller[s.Controller]; ok && throughController(f) {
				pt.controllers[k].add(m)
			}
		}
		most := min(max(duty[n], 0), 1) * gc.total[i]
		for j, f := range s.Feeds {
			if k, ok := b.feeder[f.Feeder]; ok {
				pt.feeders[k].addShared(s, pt.feeds[n], j, most, func(o *config.Feed) bool { return o.Feeder == f.Feeder })
			}
			if k, ok := b.supply[f.Supply]; ok {
				pt.supplies[k].addShared(s, pt.feeds[n], j, most, func(o *config.Feed) bool { return o.Supply == f.Supply })
			}
		}
	}
}

func (m *meterPoint) add(o meterPoint) {
	m.idle += o.idle
	m.light += o.light
	m.lit = m.lit || o.lit
}

// addShared adds those of a string's feeds that share something, at the first of
// them. Of the string's own light they bring no more than there is, and what is
// pushed from one feed to another stays among them if they are all there are.
func (m *meterPoint) addShared(s *config.String, feeds []meterPoint, first int, most float64, shared func(*config.Feed) bool) {
	own, pushed, all := 0.0, 0.0, true
	for j, f := range s.Feeds {
		switch {
		case !shared(f):
			all = false
		case j < first:
			return
		default:
			m.idle += feeds[j].idle
			m.lit = m.lit || feeds[j].lit
			own += feeds[j].light - feeds[j].pushed
			pushed += feeds[j].pushed
		}
	}
	m.light += min(own, most)
	if !all {
		m.light += pushed
	}
}

// light is the most that a duty brings onto a feed. A count of pixels that is spread
// evenly never runs ahead of its share of the string by a pixel, nor behind it by
// more than one (Abel's summation gives what that is worth at most).
func (c *feedCap) light(duty float64, spread bool) float64 {
	duty = min(max(duty, 0), 1)
	most := min(duty*c.peak, c.full)
	if spread && duty > 0 {
		most = min(most, duty*c.full+c.rising)
	}
	return most
}

// least is the least that a duty brings onto a feed when it is spread evenly.
func (c *feedCap) least(duty float64) float64 {
	if duty >= 1 {
		return c.full
	}
	return max(0, min(duty, 1)*c.full-c.falling)
}

// Cap returns the highest level at which the strings, each lit with a duty from
// 0 to 1 of its full white (index as in the plan; what is missing is dark), load
// no fuse, feeder fuse, supply or controller input past its continuous share,
// wherever on the strings the light sits. Lighting less never lowers it. It takes
// the ports' `brightness` for 100 % and their gamma for 1, as a setting that was not
// written down may be.
func (b *Budget) Cap(duty []float64) Cap { return b.cap(duty, false) }

// CapSpread is Cap for light that is spread evenly over each string: full white,
// or every n-th pixel of it.
func (b *Budget) CapSpread(duty []float64) Cap { return b.cap(duty, true) }

func (b *Budget) cap(duty []float64, spread bool) Cap {
	if len(duty) < len(b.Strings) {
		duty = append(slices.Clone(duty), make([]float64, len(b.Strings)-len(duty))...)
	}
	if b.refused {
		return Cap{By: "the plan is too big to work out"}
	}
	pt := b.load(duty, spread)
	c := Cap{Level: 1}
	lower := func(m meterPoint) {
		if l := m.level(); l < c.Level {
			c.Level, c.By = l, m.name()
		}
	}
	for _, lists := range [][][]meterPoint{pt.feeds, pt.reverse, {pt.feeders, pt.supplies, pt.controllers}} {
		for _, list := range lists {
			for _, m := range list {
				lower(m)
			}
		}
	}
	for _, gc := range b.groups {
		most := 0.0
		for _, n := range gc.strings {
			most = max(most, duty[n])
		}
		if !spread && most > 0 {
			most = 1
		}
		if most > 0 && gc.ceiling/most < c.Level {
			c.Level, c.By = gc.ceiling/most, b.collapseText(gc)
		}
	}
	if math.IsNaN(c.Level) {
		return Cap{By: "the plan's figures make no sense"}
	}
	c.Bound, c.BoundBy = c.Level, c.By
	for i := range b.Strings {
		if duty[i] <= 0 {
			continue
		}
		if why := b.unknown(i); why != "" {
			if c.Level > unknownLevel {
				c.Level, c.By = unknownLevel, why
			}
			break
		}
	}
	return c
}

func (b *Budget) collapseText(gc *groupCap) string {
	return fmt.Sprintf("the volts of %s collapse above this level", b.plan.Strings[gc.strings[0]].Name)
}

// unknown says what about a string is not known that its cap would need; "":
// nothing.
func (b *Budget) unknown(n int) string {
	s := b.plan.Strings[n]
	if b.Strings[n].FullWhiteAmps <= 0 {
		return fmt.Sprintf("the amperes of %s are not known: %s", s.Name, b.plan.Ask("amps_per_pixel"))
	}
	if !b.Strings[n].solved {
		return fmt.Sprintf("how %s shares its current among its feeds is not known: %s", s.Name, b.plan.Ask("pitch"))
	}
	for _, f := range s.Feeds {
		supply, noFuse := f.Supply, f.FuseAmps <= 0 && (f.Feeder == nil || f.Feeder.FuseAmps <= 0)
		switch {
		case noFuse && supply == nil:
			return fmt.Sprintf("the fuse and the supply of %s at %s are not known: %s", s.Name, f.At, b.plan.Ask("fuse_amps", "supply"))
		case noFuse:
			return fmt.Sprintf("the fuse of %s at %s is not known: %s", s.Name, f.At, b.plan.Ask("fuse_amps"))
		case supply == nil:
			return fmt.Sprintf("the supply of %s at %s is not known: %s", s.Name, f.At, b.plan.Ask("supply"))
		case supply.Watts <= 0:
			return fmt.Sprintf("the watts of supply %s are not known: %s", supply.Name, b.plan.Ask("watts"))
		case supply.Volts <= 0:
			return fmt.Sprintf("the volts of supply %s are not known: %s", supply.Name, b.plan.Ask("volts"))
		}
	}
	return ""
}

// levels fills in the levels at which everything may be lit together.
func (b *Budget) levels() {
	p := b.plan
	all := slices.Repeat([]float64{1}, len(p.Strings))
	pt := b.load(all, true)
	together := b.CapSpread(all)
	b.WithinFusesPercent, b.WithinFusesBy = 100*together.Level, together.By
	for i := range b.Feeders {
		b.Feeders[i].WithinFusesPercent = 100 * pt.feeders[i].level()
	}
	for i, s := range p.Strings {
		r := &b.Strings[i]
		level, by := 1.0, ""
		lower := func(m meterPoint) float64 {
			l := m.level()
			if l < level {
				level, by = l, m.name()
			}
			return l
		}
		for j, f := range s.Feeds {
			own := min(lower(pt.feeds[i][j]), lower(pt.reverse[i][j]))
			if k, ok := b.feeder[f.Feeder]; ok {
				own = min(own, lower(pt.feeders[k]))
			}
			if k, ok := b.supply[f.Supply]; ok {
				own = min(own, lower(pt.supplies[k]))
			}
			if k, ok := b.controller[s.Controller]; ok && throughController(f) {
				own = min(own, lower(pt.controllers[k]))
			}
			feed := &r.Feeds[j]
			feed.WithinFusesPercent = 100 * own
			if f.FuseAmps > 0 {
				feed.FuseLoadPercent = 100 * math.Abs(feed.FullWhiteAmps) / b.FuseForLong(s, f)
			}
		}
		if gc := b.groups[b.of[i].group]; gc.ceiling < level {
			level, by = gc.ceiling, b.collapseText(gc)
		}
		r.WithinFusesKnown = true
		if why := b.unknown(i); why != "" {
			r.WithinFusesKnown = false
			if level > unknownLevel {
				level, by = unknownLevel, why
			}
		}
		r.WithinFusesPercent, r.WithinFusesBy = 100*level, by
		for j := range r.Feeds {
			if f := &r.Feeds[j]; !r.WithinFusesKnown {
				f.WithinFusesPercent = min(f.WithinFusesPercent, 100*unknownLevel)
			}
		}
	}
}

// SupplyAmps returns what each supply, by its name, should deliver when each
// string is lit evenly with its duty from 0 to 1 at a level from 0 to 1. Strings
// whose amperes are not known are left out.
func (b *Budget) SupplyAmps(duty []float64, level float64) map[string]float64 {
	amps := make(map[string]float64, len(b.plan.Supplies))
	for _, s := range b.plan.Supplies {
		amps[s.Name] = 0
	}
	for i, s := range b.plan.Strings {
		if b.refused {
			break
		}
		d := 0.0
		if i < len(duty) {
			d = min(max(duty[i], 0), 1) * min(max(level, 0), 1)
		}
		for j, f := range s.Feeds {
			if supply := f.Supply; supply != nil {
				feed := &b.Strings[i].Feeds[j]
				amps[supply.Name] += feed.IdleAmps + d*(feed.FullWhiteAmps-feed.IdleAmps)
			}
		}
	}
	return amps
}
