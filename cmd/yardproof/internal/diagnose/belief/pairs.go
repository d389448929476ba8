package belief

import (
	"cmp"
	"math"
	"slices"
)

const (
	second  = 0.1 // how often there is another fault beside one (common practice, no source)
	firsts  = 12  // of a pair, one is among so many of the likeliest,
	byLook  = 4   // or among so many of the likeliest by a look alone
	metered = 200 // so many pairs are held against meter readings
)

// pair is two faults at once.
type pair struct {
	a, b int // hypotheses
	log  float64
}

// weighPairs weighs two faults at once: one of the likeliest by all looks or by a single
// one, with any other. What neither of them is thought of for is left out.
func (m *model) weighPairs() []pair {
	if len(m.looks) == 0 {
		return nil
	}
	var all []pair
	best := math.Inf(-1)
	taken := make([]bool, len(m.all))
	for _, a := range m.seeds() {
		taken[a] = true
		ha := &m.all[a]
		group := m.slotGroup[ha.slot]
		for b := range m.all {
			hb := &m.all[b]
			if taken[b] || m.slotGroup[hb.slot] == group || alone(hb.cause.Kind) {
				continue
			}
			p := pair{a, b, math.Log(second*m.begin[a]*m.begin[b]/m.total) + m.withBoth(a, b, 0, len(m.looks))}
			switch {
			case ha.cause.unclear() || hb.elec == nil:
				p.log += m.meter[a]
			case hb.cause.unclear() || ha.elec == nil:
				p.log += m.meter[b]
			default:
				p.log += max(m.meter[a], m.meter[b])
			}
			if p.log > best-12 {
				best = max(best, p.log)
				all = append(all, p)
			}
		}
	}
	all = slices.DeleteFunc(all, func(p pair) bool { return p.log < best-12 })
	slices.SortFunc(all, func(a, b pair) int { return cmp.Compare(b.log, a.log) })
	if m.wire == nil || !slices.ContainsFunc(m.looks, func(l Look) bool { return l.Test == Amps || l.Test == Volts }) {
		return all
	}
	return m.bothRead(all)
}

// alone reports whether a cause is not thought of beside another: it is none, or it
// would make up for whatever the other lacks.
func alone(k Kind) bool { return k == Well || k == Unknown || k == PlanAmps }

// bothRead holds pairs against what meters read, where both of them show to meters.
func (m *model) bothRead(all []pair) []pair {
	left := metered
	out := all[:0]
	for _, p := range all {
		a, b := &m.all[p.a], &m.all[p.b]
		if a.elec != nil && b.elec != nil && !a.cause.unclear() && !b.cause.unclear() {
			if left--; left < 0 {
				continue
			}
			p.log += m.read(a, true, b, len(m.looks)) - max(m.meter[p.a], m.meter[p.b])
		}
		out = append(out, p)
	}
	return out
}

// seeds are the hypotheses that may be one of a pair, one of each place.
func (m *model) seeds() []int {
	var all []int
	taken := map[int]bool{}
	take := func(most int, worth func(i int) float64) {
		type one struct {
			i     int
			worth float64
		}
		best := map[int]one{} // by group
		for i := range m.all {
			if alone(m.all[i].cause.Kind) {
				continue
			}
			g := m.slotGroup[m.all[i].slot]
			w := worth(i)
			if o, ok := best[g]; !ok || w > o.worth {
				best[g] = one{i, w}
			}
		}
		var list []one
		for _, o := range best {
			list = append(list, o)
		}
		slices.SortFunc(list, func(a, b one) int { return cmp.Or(cmp.Compare(b.worth, a.worth), cmp.Compare(a.i, b.i)) })
		for _, o := range list[:min(most, len(list))] {
			if s := m.all[o.i].slot; !taken[s] {
				taken[s] = true
				all = append(all, o.i)
			}
		}
	}
	take(firsts, func(i int) float64 { return m.log[i] })
	for k, l := range m.looks {
		if signsOf[l.Test] != nil && l.Sign != Fine {
			take(byLook, func(i int) float64 { return math.Log(m.all[i].prior) + math.Log(max(m.told[k][i].seen, unlikely)) })
		}
	}
	return all
}
