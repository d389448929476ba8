package protection

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardproof/config"
	"yardproof/config/budget"
)

// mend finds what would bring the piece within its limit, and proves it by working
// the string out again.
func (w *wiring) mend(worst Piece, mem *memory) string {
	passes := func(s *config.String) bool {
		m := newWiring(w.Wiring, s, w.celsius, w.protection)
		return furthest(m.worst(mem)) == nil
	}
	hold := w.protection.FuseHolds
	white := newRail(w, w.Cuts, nothing).loaded(w.White)
	for _, rating := range ratings() {
		s := *w.s
		s.Feeds = nil
		if slices.ContainsFunc(white.leads, func(amps float64) bool { return amps > rating }) {
			break // full white would blow it
		}
		lower := false
		for _, f := range w.s.Feeds {
			g := *f
			if g.FuseAmps > rating {
				g.FuseAmps, lower = rating, true
			}
			s.Feeds = append(s.Feeds, &g)
		}
		if lower && passes(&s) {
			return fmt.Sprintf("fuses of at most %g A on its feeds would keep every piece of it within its limit; or cut V+ between the feeds; local codes prevail", rating)
		}
	}
	if worst.Connector > 0 && worst.Amps > worst.Connector*hold {
		return fmt.Sprintf("connectors for %.3g A there, or V+ cut between the feeds; local codes prevail", math.Ceil(worst.Amps/hold))
	}
	for awg := 20; awg >= 8; awg -= 2 {
		wire := config.Wire{AWG: awg, HasAWG: true, Metal: config.Copper}
		if may, _ := budget.Ampacity(wire); may*hold*stepFactor >= worst.Amps {
			return fmt.Sprintf("about %d AWG there, or V+ cut between the feeds; local codes prevail", awg)
		}
	}
	return fmt.Sprintf("feed it so that at most %.3g A can meet there; local codes prevail", math.Floor(worst.MayAmps*hold*10)/10)
}

// seeing finds the fuse or the wire with which the fuse of a feed sees every short,
// and proves it by working the string out again.
func (w *wiring) seeing(reach Reach) string {
	was := w.s.Feeds[reach.feed]
	passes := func(f *config.Feed, ohms []float64) bool {
		s, m := *w.s, *w
		s.Feeds = slices.Clone(w.s.Feeds)
		s.Feeds[reach.feed] = f
		m.s = &s
		if ohms != nil {
			m.Wiring.Ohms = ohms
		}
		return slices.ContainsFunc(m.reaches(), func(r Reach) bool { return r.feed == reach.feed && r.Unseen == 0 })
	}
	var ways []string
	white := newRail(w, w.Cuts, nothing)
	needed := white.loaded(w.White).leads[slices.IndexFunc(white.leads, func(l lead) bool { return l.feed == reach.feed })]
	if rating := fuseUpTo(reach.LargestFit); rating >= needed && rating < reach.FuseAmps {
		f := *was
		f.FuseAmps = rating // one ahead of the feeder's would see it as well
		if passes(&f, nil) {
			ways = append(ways, fmt.Sprintf("a fuse of %g A", rating))
		}
	}
	for _, pitch := range []bool{false, true} {
		for awg := 20; awg >= 8; awg -= 2 {
			f, of, ohms := *was, "lead", []float64(nil)
			f.Wire = thicker(was.Wire, awg)
			if pitch {
				of = "lead and pitch"
				less := budget.Ohms(w.s.Pitch, w.hangs()) - budget.Ohms(thicker(w.s.Pitch, awg), w.hangs())
				for k, sum := range w.Wiring.Ohms {
					ohms = append(ohms, sum-float64(k)*less)
				}
			}
			if passes(&f, ohms) {
				return strings.Join(append(ways, fmt.Sprintf("%d AWG for its %s", awg, of)), " or ") + " would see it"
			}
		}
	}
	if len(ways) == 0 {
		return ""
	}
	return ways[0] + " would see it"
}

// thicker is copper of a gauge in place of a wire, where that leads better.
func thicker(w config.Wire, awg int) config.Wire {
	t := w
	t.AWG, t.HasAWG, t.MM2, t.Milliohms, t.Metal = awg, true, 0, 0, config.Copper
	if budget.Ohms(t, 20) < budget.Ohms(w, 20) {
		return t
	}
	return w
}
