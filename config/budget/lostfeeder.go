package budget

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// LostFeeder is what happens at full white when a feeder is gone as a whole: its fuse
// blown or its plug out. Strings that have another feed go on feeding its far end, and
// whatever hangs there.
type LostFeeder struct {
	Dark        []string `json:"dark,omitempty"`         // strings that are dark, or a piece of them
	LowestVolts float64  `json:"lowest_volts,omitempty"` // of what is still lit in the strings tied together
	LowestAt    string   `json:"lowest_at,omitempty"`    // where: string and pixel
	Fails       []string `json:"fails,omitempty"`        // what then fails besides

	fuses  int // how many then have too much
	solved bool
}

// What is tied together by feeders is not worked out anew for each that is lost where it
// is this many pixels times feeders, or times feeds: nobody builds that.
const mostTied = 20_000_000

// loseFeeders takes each feeder away in turn. The figures of the group are those of full
// white with everything whole.
func (b *Budget) loseFeeders(g *group, gc *groupCap, m mode, found *returns) {
	nodes := 0
	for _, l := range g.ladders {
		nodes += l.nodes
	}
	defer found.record()
	if gc.ceiling < 1 {
		return
	}
	if nodes*len(g.feeders) > mostTied {
		b.tooTied(g, gc, "when a feeder is gone as a whole, what that does is")
		return
	}
	for j := range g.feeders {
		whole := g.lose(j)
		lost := b.withoutFeeder(g, gc, j, m)
		b.Feeders[b.feeder[g.feeders[j]]].Lost = lost
		if g.returnsElsewhere(j) {
			ok, open := lost.solved, func() func() { return g.openReturn(j) }
			if g.rails == 2 { // else the one rail that stands for both is open already
				whole()
				whole = open()
				ok = g.solve(g.ladders, fullWhite, m)
			}
			if ok {
				found.feeders("feeder "+g.feeders[j].Name, open)
				found.strings("feeder "+g.feeders[j].Name, open)
			}
		}
		whole()
	}
	found.gauges(m)
}

// tooTied says what is not worked out of a group.
func (b *Budget) tooTied(g *group, gc *groupCap, lost string) {
	f := g.feeders[0]
	what := fmt.Sprintf("feeder %s ties %d strings together: %s not worked out: too many hang together", f.Name, len(g.ladders), lost)
	if n := len(g.feeders); n > 1 {
		what = fmt.Sprintf("feeder %s and %d more tie %d strings together: %s not worked out: too many hang together", f.Name, n-1, len(g.ladders), lost)
	}
	gc.notes = append(gc.notes, Note{Where: b.plan.Where(f.At("name")), What: what})
}

// lose opens a feeder where it leaves its supply, and returns what closes it again.
func (g *group) lose(j int) (whole func()) {
	from := j * g.rails
	conductance, volts := slices.Clone(g.g[from:from+g.rails]), slices.Clone(g.supply[from:from+g.rails])
	var dark []*ladder
	fed := false // its far end, by some string
	for _, l := range g.ladders {
		on := slices.ContainsFunc(l.terms, func(t term) bool { return t.feeder == from })
		if on {
			dark = append(dark, l)
		}
		fed = fed || on && l.feeds(from)
	}
	for u := from; u < from+g.rails; u++ {
		if g.g[u] = 0; !fed { // it floats: hold it somewhere
			g.g[u], g.supply[u] = 1, 0
		}
	}
	if fed {
		dark = nil
	}
	mark := func(lost bool) {
		for _, l := range dark {
			for i := range l.terms {
				if t := &l.terms[i]; t.feeder >= from && t.feeder < from+g.rails {
					t.lost = lost
				}
			}
			l.pieces()
		}
	}
	mark(true)
	return func() {
		copy(g.g[from:], conductance)
		copy(g.supply[from:], volts)
		mark(false)
		g.broken = true
	}
}

// feeds reports whether a piece of the string's V+ hangs on a feeder, by its unknown,
// and on something else as well.
func (l *ladder) feeds(feeder int) bool {
	for _, t := range l.terms {
		if t.feeder == feeder && slices.ContainsFunc(l.terms, func(o term) bool {
			return l.positive(o) && o.feeder != feeder && l.piece(o) == l.piece(t)
		}) {
			return true
		}
	}
	return false
}

func (b *Budget) withoutFeeder(g *group, gc *groupCap, j int, m mode) *LostFeeder {
	res := &LostFeeder{}
	if !g.solve(g.ladders, fullWhite, m) {
		res.Fails = append(res.Fails, "the volts collapse: pixels cannot get their power")
		return res
	}
	res.solved = true
	for i, l := range g.ladders {
		r := &b.Strings[gc.strings[i]]
		if l.dark != nil {
			res.Dark = append(res.Dark, l.s.Name)
		}
		over := b.newlyOver(g, l, r)
		res.Fails, res.fuses = append(res.Fails, over...), res.fuses+len(over)
		if !r.voltsKnown(l) {
			continue
		}
		volts, pixel := l.lowest()
		if pixel == 0 {
			continue
		}
		if res.LowestAt == "" || volts < res.LowestVolts {
			res.LowestVolts, res.LowestAt = volts, fmt.Sprintf("%s, pixel %d", l.s.Name, pixel)
		}
		if text := r.newlyFaded(l); text != "" {
			res.Fails = append(res.Fails, text)
		}
	}
	for k, f := range g.feeders {
		amps := g.feederAmps(k * g.rails)
		if k == j || math.Abs(amps) <= math.Abs(b.Feeders[b.feeder[f]].FullWhiteAmps)*1.001 {
			continue
		}
		if text := overFuse(amps, f.FuseAmps, b.FeederForLong(f)); text != "" {
			res.Fails = append(res.Fails, fmt.Sprintf("the fuse of feeder %s %s", f.Name, text))
			res.fuses++
		}
	}
	res.LowestVolts = math.Round(max(res.LowestVolts, 0)*1e6) / 1e6
	return res
}

// newlyOver says which fuses of a string carry more than when everything is whole, and
// more than they may.
func (b *Budget) newlyOver(g *group, l *ladder, r *String) (fails []string) {
	for _, t := range l.terms {
		f := l.s.Feeds[t.feed]
		amps := g.termAmps(l, t)
		if !l.positive(t) || math.Abs(amps) <= math.Abs(r.Feeds[t.feed].FullWhiteAmps)*1.001 {
			continue
		}
		if text := overFuse(amps, f.FuseAmps, b.FuseForLong(l.s, f)); text != "" {
			fails = append(fails, fmt.Sprintf("the fuse of %s at %s %s", l.s.Name, f.At, text))
		}
	}
	return fails
}

// newlyFaded says which pixel of a string fades that does not while everything is whole.
func (r *String) newlyFaded(l *ladder) string {
	const shown = 0.005 // what two decimals show
	volts, pixel := l.lowest()
	if pixel == 0 || r.WorkingVolts == 0 || volts >= r.WorkingVolts-shown || r.LowestVolts < r.WorkingVolts-shown {
		return ""
	}
	return fmt.Sprintf("pixel %d of %s has %.2f V and fades: it needs %.4g V", pixel, l.s.Name, max(volts, 0), r.WorkingVolts)
}

// neighbours adds what fails on the other strings of a group whose feeders' volts have
// moved, since a string lost a feed.
func (b *Budget) neighbours(res *Lost, g *group, gc *groupCap, l *ladder, whole []float64) {
	for i, o := range g.ladders {
		if o == l || !slices.ContainsFunc(o.terms, func(t term) bool {
			return t.feeder >= 0 && math.Abs(g.u[t.feeder]-whole[t.feeder]) > 1e-6
		}) {
			continue
		}
		r := &b.Strings[gc.strings[i]]
		o.inject(g.u)
		o.read()
		over := b.newlyOver(g, o, r)
		res.Fails, res.fuses = append(res.Fails, over...), res.fuses+len(over)
		if text := r.newlyFaded(o); r.voltsKnown(o) && text != "" {
			res.Fails = append(res.Fails, text)
		}
	}
}

// Text says what is lost with a feeder.
func (l *LostFeeder) Text() string {
	var parts []string
	const most = 4
	if n := len(l.Dark); n > 0 {
		names := strings.Join(l.Dark[:min(n, most)], ", ")
		if n > most {
			names += fmt.Sprintf(" and %d more", n-most)
		}
		parts = append(parts, "dark, or in part: "+names)
	}
	parts = append(parts, l.Fails[:min(len(l.Fails), most)]...)
	if n := len(l.Fails) - most; n > 0 {
		parts = append(parts, fmt.Sprintf("and %d more", n))
	}
	if len(parts) == 0 {
		return fmt.Sprintf("everything stays lit, and no fuse has too much; the lowest is %.2f V, at %s", l.LowestVolts, l.LowestAt)
	}
	return strings.Join(parts, "; ")
}
