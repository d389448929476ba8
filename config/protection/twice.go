package protection

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardproof/config/budget"
)

// twice is the piece that is furthest past its limit in two faults at once, with what
// would mend it; nil: all bear them.
func (w *wiring) twice(list []Piece) *Finding {
	var worst *Piece
	for i := range list {
		p := &list[i]
		if !p.twice() || p.over() <= 1 {
			continue
		}
		// what mends the pitch mends the jumpers in it
		if worst == nil || p.over() > worst.over()*(1+1e-9) || p.spot.kind == onPitch && p.over() > worst.over()*(1-1e-9) {
			worst = p
		}
	}
	if worst == nil {
		return nil
	}
	f := worst.finding()
	f.What = strings.Replace(f.What, "its ", "in two faults at once its ", 1)
	f.Brief = "In two faults at once: t" + strings.TrimPrefix(f.Brief, "T") // the pitch, the feed
	f.Mend = w.mendTwice(worst)
	return &f
}

// most is the sum of what a string's fuses are rated, none above a rating: whatever is wrong,
// no piece of the string carries more than they hold together. False: some fuse is not known.
func (w *wiring) most(rating float64) (amps float64, known bool) {
	boxes := make([]float64, len(w.boxes))
	for _, l := range w.leads {
		fuse := min(w.s.Feeds[l.feed].FuseAmps, rating)
		switch {
		case l.box < 0 && fuse == 0:
			return 0, false
		case l.box < 0:
			amps += fuse
		case fuse == 0:
			boxes[l.box] = math.Inf(1)
		default:
			boxes[l.box] += fuse
		}
	}
	for i, h := range w.boxes {
		if h.FuseAmps > 0 {
			boxes[i] = min(boxes[i], h.FuseAmps)
		}
		amps += boxes[i]
	}
	return amps, !math.IsInf(amps, 1)
}

// mendTwice finds fuses or wire that bear two faults at once, by what the fuses hold together:
// it need not be tried, and may be more than is needed.
func (w *wiring) mendTwice(p *Piece) string {
	more := 0.0
	if p.spot.kind == onFeeder {
		more = w.others[p.spot.n] / p.holds
	}
	bears := math.Inf(1)
	if p.MayAmps > 0 {
		bears = p.MayAmps * stepFactor
	}
	if p.Connector > 0 {
		bears = min(bears, p.Connector)
	}
	for _, rating := range ratings() {
		if amps, known := w.most(rating); known && amps+more <= bears && w.lowered(rating) != nil {
			return w.fuses(rating)
		}
	}
	total, known := w.most(math.Inf(1))
	if !known {
		return w.plan.Ask("fuse_amps") + " of every feed, then read this again"
	}
	var needs []string
	if total += more; p.MayAmps > 0 && total > p.MayAmps*stepFactor {
		wire, celsius, what := w.s.Pitch, w.hangs(), "its pitch"
		switch p.spot.kind {
		case onPitch:
			if len(w.s.Jumpers) > 0 {
				what = "its pitch and jumpers"
			}
		case onJumper:
			wire, what = w.s.Jumpers[p.spot.n].Wire, "its jumper"
		case onLead:
			f := w.s.Feeds[p.spot.n]
			wire, celsius, what = f.Wire, w.leadCelsius(f), "its lead"
		case onFeeder:
			h := w.boxes[p.spot.n]
			wire, celsius, what = h.Wire, w.feederCelsius(h), "feeder "+h.Name
		}
		n := slices.IndexFunc(gauges(), func(awg int) bool {
			may := budget.MayCarry(thicker(wire, awg), celsius)
			return may*stepFactor >= total
		})
		if n < 0 {
			return noMend + local
		}
		needs = append(needs, fmt.Sprintf("%d AWG for %s", gauges()[n], what))
	}
	if p.Connector > 0 && total > p.Connector {
		needs = append(needs, fmt.Sprintf("connectors for %.3g A there", math.Ceil(total)))
	}
	return strings.Join(needs, " and ") + local
}
