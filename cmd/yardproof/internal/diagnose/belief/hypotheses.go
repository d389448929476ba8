package belief

import (
	"math"
	"slices"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
)

// The sizes that faults of a size are taken to have (common practice, no source).
var (
	jointOhms = []float64{0.05, 0.1, 0.19, 0.34, 0.6, 1, 1.7}
	leadOhms  = []float64{0.1, 0.19, 0.34, 0.6, 1, 1.7}
	thinTimes = []float64{1.5, 1.8, 2.2, 2.8, 3.5, 4.5}
	lowShares = []float64{0.07, 0.1, 0.14, 0.18, 0.23, 0.28, 0.34}
	planTimes = []float64{0.65, 0.8, 0.9, 1.12, 1.25, 1.45}
	leakAmps  = []float64{0.1, 0.3}
)

// mostPlaces is how many places of a string are told apart at most.
const mostPlaces = 250

// model lays out every hypothesis.
func (s *Subject) model(looks []Look) *model {
	m := &model{Subject: s, looks: looks, wire: newWire(s), dists: map[drawn][]float64{}, usual: map[seen]float64{}, lit: map[block]*underBlock{}}
	n := s.String.Pixels
	rows := table()
	stride := max(1, (n+mostPlaces-1)/mostPlaces)
	places := func(last int) (all []int) {
		for p := 1; p <= last; p += stride {
			all = append(all, p)
		}
		for _, l := range looks { // what was seen at a pixel may be exactly there
			for _, p := range []int{l.Pixel, l.Pixel + 1} {
				if stride > 1 && p >= 1 && p <= last && (p-1)%stride != 0 {
					all = append(all, p)
				}
			}
		}
		return all
	}
	for i := range rows {
		c := &rows[i]
		if !m.laidFor(c) {
			continue
		}
		c.fit(s.String, len(s.Plan.Map().Strings[s.String.Index].Segments))
		first := len(m.all)
		prior := c.prior + float64(s.Known[c.Kind])
		var hs []hypothesis
		each := func(sizes []float64, at []int, minus []bool) {
			for _, p := range at {
				for _, r := range minus {
					for k, z := range sizes {
						hs = append(hs, hypothesis{place: p, size: z, minus: r, step: step(k, sizes)})
					}
				}
			}
		}
		one, both := []float64{0}, []bool{false, true}
		plus := both[:1]
		switch c.Kind {
		case DeadPixel, DeadColour:
			each(one, places(n), plus)
		case BrokenData:
			each(one, places(n-1), plus)
		case Count: // a few too few, as a rule
			at := []int{0}
			for p := max(1, n-10); p < n; p++ {
				at = append(at, p)
			}
			each(one, at, plus)
		case BrokenWire:
			each([]float64{math.Inf(1)}, places(n-1), both)
		case WetJoint:
			each(leakAmps, places(n-1), plus)
		case Joint:
			each(jointOhms, places(n-1), both)
		case LeadJoint, OpenFeed:
			for f := range s.String.Feeds {
				sizes := leadOhms
				if c.Kind == OpenFeed {
					sizes = []float64{math.Inf(1)}
				}
				for k, z := range sizes {
					hs = append(hs, hypothesis{feed: f + 1, size: z, step: step(k, sizes)})
				}
			}
		case OpenFeeder:
			for _, f := range firstOn(s.String, func(f *config.Feed) *config.Feeder { return f.Feeder }) {
				hs = append(hs, hypothesis{feed: f})
			}
		case SupplyOff:
			on := firstOn(s.String, func(f *config.Feed) *config.Supply { return f.Supply })
			if len(on) < 2 {
				each(one, []int{0}, plus)
				break
			}
			c.signs = nil // the other supply lights what it can: the volts tell
			for _, f := range on {
				hs = append(hs, hypothesis{feed: f})
			}
		case LowSupply:
			each(lowShares, []int{0}, plus)
		case ThinWire:
			each(thinTimes, []int{0}, plus)
		case PlanAmps:
			each(planTimes, []int{0}, plus)
		default:
			each(one, []int{0}, plus)
		}
		for k := range hs {
			h := hs[k]
			h.cause, h.prior, h.index = c, prior/float64(len(hs)), len(m.all)
			m.all = append(m.all, h)
		}
		m.slots(m.all[first:])
	}
	for r := range reaches {
		m.near[r] = slices.ContainsFunc(s.Plan.Strings, func(o *config.String) bool { return o != s.String && m.touches(r, 0, o) > 0 })
	}
	if m.wire != nil {
		for i := range m.all {
			h := &m.all[i]
			if h.elec = m.electric(h, block{}); h.elec != nil {
				h.bright, h.good = m.wire.lightOf(h.elec)
				h.faint, h.faintGood = m.wire.lightOf(m.atCurrent(h.elec, m.wire.faint))
				h.low, _ = m.wire.lightOf(m.atCurrent(h.elec, m.wire.dim))
			}
		}
	}
	for i := range m.all {
		m.all[i].harmless = !m.harms(&m.all[i])
	}
	return m
}

// step is the way to the hypothesis beside one that differs in size alone.
func step(k int, sizes []float64) int {
	switch {
	case k+1 < len(sizes):
		return 1
	case k > 0:
		return -1
	}
	return 0
}

// electric is what a hypothesis does to meters while a block is lit; nil: nothing.
func (m *model) electric(h *hypothesis, b block) *electric {
	w := m.wire
	node := 0
	if h.place > 0 && h.place < len(w.node) {
		node = w.node[h.place] // of the pixel after the joint
	}
	c := change{lit: b}
	switch h.cause.Kind {
	case Joint, BrokenWire:
		c.node, c.ohms, c.minus = node, h.size, h.minus
	case BrokenData, Count:
		if c.ends = node - 1; h.place == 0 {
			return nil
		}
	case WetJoint:
		c.node, c.leaks = node, h.size
	case LeadJoint, OpenFeed:
		c.feed, c.lead = h.feed, h.size
	case LowSupply:
		c.lost = h.size
	case ThinWire:
		c.thin = h.size
	case PlanAmps:
		c.pulls = h.size
	case OpenFeeder:
		c.opened = m.opened(h)
	case SupplyOff:
		if c.opened = m.opened(h); c.opened != 0 {
			break
		}
		return &electric{volts: make([]float64, len(w.node)), feeds: make([]float64, len(w.feeds)), returns: make([]float64, len(w.feeds))}
	case Delivery, Swapped, NoReceiver, NoLink, NoUniverse: // no light, but power
		return w.soundDark
	default:
		return nil
	}
	return w.solve(c)
}

// block is lit pixels, the first and the last; zero: all.
type block struct{ first, last int }

// underBlock is what meters see while a block is lit, by the plan and by hypothesis.
type underBlock struct {
	plan  budget.Expectation
	sound *electric
	all   []*electric // nil: not worked out
}

// under works out what is lit; nil: the plan does not say enough.
func (m *model) under(b block) *underBlock {
	if u, ok := m.lit[b]; ok {
		return u
	}
	u := &underBlock{sound: m.wire.sound, plan: m.wire.plan}
	if b != (block{}) {
		lit := light.Lit{Pattern: patterns.Block, Options: patterns.Options{First: b.first, Last: b.last}, Level: m.Lit.Level}
		e, ok := light.Expected(m.Budget, m.String, lit, 0)
		if !ok {
			return nil
		}
		u.plan, u.sound, u.all = e, m.wire.solve(change{lit: b}), make([]*electric, len(m.all))
	}
	m.lit[b] = u
	return u
}

// elec is what meters see of a hypothesis while a block is lit; nil: as planned.
func (m *model) elecUnder(h *hypothesis, b block, u *underBlock) *electric {
	if u.all == nil || h.elec == nil || h.elec == m.wire.soundDark {
		return h.elec
	}
	if u.all[h.index] == nil {
		u.all[h.index] = m.electric(h, b)
	}
	return u.all[h.index]
}

// slots numbers the places of a cause: hypotheses of one slot differ in size alone.
func (m *model) slots(hs []hypothesis) {
	known := map[[2]int]int{}
	for i := range hs {
		key := [2]int{hs[i].place, hs[i].feed}
		at, ok := known[key]
		if !ok {
			at = len(m.slotGroup)
			known[key] = at
			group := len(m.groupCause)
			for g, c := range m.groupCause {
				if c == hs[i].cause && m.groupFeed[g] == hs[i].feed {
					group = g
				}
			}
			if group == len(m.groupCause) {
				m.groupCause, m.groupFeed = append(m.groupCause, hs[i].cause), append(m.groupFeed, hs[i].feed)
			}
			m.slotGroup = append(m.slotGroup, group)
			m.slotPlace = append(m.slotPlace, hs[i].place)
		}
		hs[i].slot = at
	}
}
