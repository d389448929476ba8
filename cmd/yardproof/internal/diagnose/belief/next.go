package belief

import (
	"cmp"
	"math"
	"slices"

	"yardproof/patterns"
)

// What looks take, in minutes (common practice, no source).
const (
	lookMinutes   = 0.5
	meterMinutes  = 2.0
	ladderMinutes = 12.0 // five, and what it is worth to have stayed on the ground
	laterMinutes  = 10.0
	watchMinutes  = 4.0
	missedMinutes = 240.0 // a fault that is told to be none, and comes back in the season
)

// natMinutes is what it is worth, in minutes, to know a cause by one nat better: who is
// sent to the wrong thing walks, tries, and trusts the next advice less.
const natMinutes = 6

// next finds the look that spares most for each minute that it takes: by how much it
// brings down what putting the string right takes (after Langseth and Jensen, Decision
// theoretic troubleshooting of coherent systems; and arXiv 1302.3563), and by what it
// tells. Nil: none is worth it.
func (m *model) next() *Look {
	if l := m.confirm(); l != nil {
		return l
	}
	groups := m.groups()
	top := groups[0]
	sound := m.sound()
	later := Look{Test: Later} // what comes with warmth or time
	if top.cause.Kind == Well && sound >= well {
		if !slices.ContainsFunc(m.fresh(), later.is) {
			return &later
		}
		return nil
	}
	if first := m.named()[0]; first.share >= sure && m.hides(first) {
		return nil
	}
	slots := m.bySlot()
	now := m.trouble(slots)
	var best *Look
	most := 0.0
	closest, closestGain := (*Look)(nil), 0.0
	for _, l := range m.candidates() {
		after, told := m.after(l)
		takes := m.minutes(l, slots)
		spares := now - after + natMinutes*told
		if gain := spares / takes; spares > takes && gain > most {
			best, most = &l, gain
		}
		if worth := told / takes; worth > closestGain {
			closest, closestGain = &l, worth
		}
	}
	if best == nil {
		best = m.across(slots)
	}
	if best != nil {
		return m.ground(best)
	}
	// Nothing is worth its trouble, and yet nobody may say that all is well.
	if top.cause.Kind == Well && closestGain > 2e-4 {
		return m.ground(closest)
	}
	return nil
}

// hides reports whether a cause leaves the whole string dark: it is put right before
// anything else is looked for, since nothing else would show.
func (m *model) hides(g group) bool {
	h := m.likeliest(g.index)
	return m.blacks(h, White) >= 0.8 && m.blacks(h, Low) >= 0.8
}

// confirm is the look that goes before acting on the likeliest cause, whatever the odds:
// the volts of a supply before its trimmer is turned, a feed's current before its fuse
// is blamed, and two looks from the ground before a ladder is carried.
func (m *model) confirm() *Look {
	if len(m.looks) == 0 {
		return nil
	}
	top := m.groups()[0]
	if top.share < 0.5 {
		return nil
	}
	var before []Look
	switch top.cause.Kind {
	case LowSupply, SupplyOff:
		before = []Look{{Test: Volts}}
	case OpenFeed, LeadJoint, OpenFeeder:
		before = []Look{{Test: Amps, Feed: top.feed - 1}}
	case Well: // what shows to somebody on the ground is looked for before all is said to be well
		before = []Look{{Test: White}, {Test: Ends}, {Test: Slots}, {Test: Dark}, {Test: Bright}, {Test: Alone}}
		for f := range m.String.Feeds {
			before = append(before, Look{Test: Amps, Feed: f})
		}
	case WetJoint, DataLead, Bond:
		before = []Look{{Test: White}, {Test: More}, {Test: Watch}}
	case Unknown, PlanAmps:
	default:
		if top.cause.ladder {
			before = []Look{{Test: White}, {Test: Ends}, {Test: Slots}}
		}
	}
	return m.undone(before)
}

// is reports whether two looks are one to do.
func (l Look) is(o Look) bool {
	return l.Test == o.Test && l.Feed == o.Feed && l.Return == o.Return && l.First == o.First && l.Last == o.Last && (l.Test != Volts || l.Pixel == o.Pixel)
}

// candidates are the looks that are not done yet.
func (m *model) candidates() []Look {
	var all []Look
	looks := m.fresh()
	add := func(l Look) {
		if !slices.ContainsFunc(looks, l.is) && !slices.ContainsFunc(all, l.is) {
			all = append(all, l)
		}
	}
	dark := slices.ContainsFunc(looks, func(l Look) bool { return l.Test == White && l.Sign == AllDark })
	for _, t := range []Test{White, Dark, Alone, Slots, Ends, Bright, Low, Heard, More, Later} {
		if !dark || t != Bright && t != Low && t != More { // no level lights what nothing lights
			add(Look{Test: t})
		}
	}
	if m.wire == nil {
		return all
	}
	n := m.String.Pixels
	slots := m.bySlot()
	share := m.along(slots)
	blocks := []block{{}}
	if mass := share[n]; mass > 0.15 {
		blocks = append(blocks, m.blocks(share)...)
	}
	for f := range m.String.Feeds {
		for _, b := range blocks {
			add(Look{Test: Amps, Feed: f, First: b.first, Last: b.last})
			if len(m.String.Feeds) > 1 {
				add(Look{Test: Amps, Feed: f, First: b.first, Last: b.last, Return: true})
			}
		}
	}
	add(Look{Test: Volts})
	pixels := []int{n, max(1, n/2), 1, max(1, n/4), max(1, 3*n/4)}
	for _, kind := range []Kind{Joint, BrokenWire, BrokenData} { // halfway, and beside the likeliest place
		sum, half, top := 0.0, 0.0, 0
		for i, p := range slots {
			if m.groupCause[m.slotGroup[i]].Kind == kind {
				if sum += p; p > slots[top] || m.groupCause[m.slotGroup[top]].Kind != kind {
					top = i
				}
			}
		}
		if sum < 0.01 {
			continue
		}
		for i, p := range slots {
			if m.groupCause[m.slotGroup[i]].Kind == kind {
				if half += p; half >= sum/2 {
					pixels = append(pixels, min(n, m.slotPlace[i]+1), min(n, m.slotPlace[top]+1), max(1, m.slotPlace[top]))
					break
				}
			}
		}
	}
	for _, p := range pixels {
		add(Look{Test: Volts, Pixel: p})
	}
	if len(m.String.Feeds) == 1 { // the tail carries idle current only: what a block loses on its way is read there
		for _, b := range blocks {
			add(Look{Test: Volts, Pixel: n, First: b.first, Last: b.last})
		}
	}
	return all
}

// along is how likely a bad place in the wire is up to each pixel.
func (m *model) along(slots []float64) []float64 {
	sum := make([]float64, m.String.Pixels+1)
	for i, p := range slots {
		if k := m.groupCause[m.slotGroup[i]].Kind; k == Joint || k == BrokenWire {
			sum[m.slotPlace[i]] += p
		}
	}
	for i := 1; i < len(sum); i++ {
		sum[i] += sum[i-1]
	}
	return sum
}

// blocks are those that part the places of a bad joint or a break.
func (m *model) blocks(share []float64) (all []block) {
	n := m.String.Pixels
	at := func(part float64) int {
		for p, s := range share {
			if s >= part*share[n] {
				return p
			}
		}
		return n
	}
	longest := patterns.MostBlock(n)
	add := func(from, to int) {
		from, to = max(1, from), min(n, to)
		if to-from+1 > longest {
			to = from + longest - 1
		}
		if to-from >= 4 {
			all = append(all, block{from, to})
		}
	}
	q1, q2, q3 := at(0.25), at(0.5), at(0.75)
	add(q1+1, q3)
	add(q2-longest/2, q2)
	add(q2+1, q2+longest/2)
	add(1, longest)
	add(n-longest+1, n)
	return all
}

// bySlot is the share of each cause at each place.
func (m *model) bySlot() []float64 {
	s := make([]float64, len(m.slotGroup))
	for i := range m.all {
		s[m.all[i].slot] += m.share[i]
	}
	return s
}

// after is the trouble that is left on average once a look is done, and how many
// nats it tells about the cause.
func (m *model) after(l Look) (left, told float64) {
	outcomes := map[int][]float64{}
	put := func(outcome, slot int, p float64) {
		if outcomes[outcome] == nil {
			outcomes[outcome] = make([]float64, len(m.slotGroup))
		}
		outcomes[outcome][slot] += p
	}
	width, least, late := 0.0, 1e-6, l.Test == Volts && m.late()
	if l.First > 0 {
		least = 1e-4
	}
	switch l.Test {
	case Amps:
		u := m.under(block{l.First, l.Last})
		width = 2.5 * (ampsOff + 0.03*u.plan.Feeds[l.Feed])
	case Volts:
		width = 2.5 * (2*voltsOff + 0.003*m.wire.volts)
	}
	for i := range m.all {
		h := &m.all[i]
		if m.share[i] < least {
			continue
		}
		switch {
		case l.Test == Amps:
			l.Dark = new(float64)
			put(int(math.Round(m.ampsOf(h, nil, l, false).value/width)), h.slot, m.share[i])
		case l.Test == Volts:
			put(int(math.Round(m.voltsOf(h, nil, l, false, late).value/width)), h.slot, m.share[i])
		default:
			class := 0
			if (l.Test == White || l.Test == Later) && m.near[h.cause.reach] {
				class = int(h.cause.reach) // the other strings tell it
			}
			for s, p := range m.dist(h, l.Test) {
				if p*m.share[i] > 1e-7 {
					put(int(reaches)*s+class, h.slot, p*m.share[i])
				}
			}
		}
	}
	before := m.surprise(m.bySlot())
	uncertain := 0.0
	for _, slots := range outcomes {
		p := 0.0
		for _, s := range slots {
			p += s
		}
		for i := range slots {
			slots[i] /= p
		}
		left += p * m.trouble(slots)
		uncertain += p * m.surprise(slots)
	}
	return left, before - uncertain
}

// surprise is the entropy of the cause, in nats.
func (m *model) surprise(slots []float64) float64 {
	groups := make([]float64, len(m.groupCause))
	for i, p := range slots {
		groups[m.slotGroup[i]] += p
	}
	e := 0.0
	for _, p := range groups {
		if p > 0 {
			e -= p * math.Log(p)
		}
	}
	return e
}

// trouble is what putting the string right takes on average, in minutes: causes are
// tried in the order of their share over their own work, or all is said to be well.
func (m *model) trouble(slots []float64) float64 {
	type pile struct{ share, entropy float64 }
	piles := make([]pile, len(m.groupCause))
	for i, p := range slots {
		if p > 0 {
			piles[m.slotGroup[i]].share += p
			piles[m.slotGroup[i]].entropy -= p * math.Log(p)
		}
	}
	type try struct{ share, takes float64 }
	var tries []try
	sound := 0.0
	for g, p := range piles {
		c := m.groupCause[g]
		switch {
		case p.share < 1e-9:
		case c.Kind == Well:
			sound = p.share
		default: // a place that is not known is looked for at several
			places := math.Exp(p.entropy/p.share + math.Log(p.share))
			tries = append(tries, try{p.share, c.minutes() * min(8, max(1, (1+places)/2))})
		}
	}
	slices.SortFunc(tries, func(a, b try) int { return cmp.Compare(b.share/b.takes, a.share/a.takes) })
	sum, left := 0.0, 1.0
	for _, t := range tries {
		if left-sound < 0.01 {
			break
		}
		sum += t.takes * left
		left -= t.share
	}
	return min(sum, (1-sound)*missedMinutes)
}
