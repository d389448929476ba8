package belief

import (
	"math"
	"reflect"
	"slices"
)

// A glimpse is how likely a look is under a hypothesis, as it was; and how likely it
// would have been that nothing was seen, or that the whole string was dark.
type glimpse struct{ seen, fine, dark float64 }

// glimpses works out what was not worked out for the looks before.
func (m *model) glimpses() {
	same := 0
	for same < min(len(m.of), len(m.looks)) && reflect.DeepEqual(m.of[same], m.looks[same]) {
		same++
	}
	m.told, m.of = m.told[:same], slices.Clone(m.looks)
	for k := same; k < len(m.looks); k++ {
		l := m.looks[k]
		if signsOf[l.Test] == nil {
			m.told = append(m.told, nil)
			continue
		}
		all := make([]glimpse, len(m.all))
		group, around := -1, 1.0
		for i := range m.all {
			h := &m.all[i]
			if g := m.slotGroup[h.slot]; g != group { // places and sizes of one cause touch the same strings
				group, around = g, m.around(h, l)
			}
			all[i] = glimpse{math.Exp(m.toldBy(h, k)) * around, m.sign(h, l.Test, Fine), m.blacks(h, l.Test)}
		}
		m.told = append(m.told, all)
	}
}

// blacks is how likely nothing of the string lights, so that no other fault shows.
func (m *model) blacks(h *hypothesis, t Test) float64 {
	switch t {
	case White, Bright, Low, Later, Ends:
		return m.sign(h, t, AllDark)
	case Alone, Slots:
		return m.sign(h, t, Nothing)
	case Dark, More:
		return m.sign(h, White, AllDark)
	}
	return 0
}

// both is how likely a look is when two faults are there: either may be what is seen,
// and what leaves the whole string dark hides the other.
func both(a, b *glimpse, l *Look) float64 {
	hidden := 1 - (1-a.dark)*(1-b.dark)
	switch {
	case l.Test == Dark || l.Test == More:
		if l.Sign == Fine {
			return a.fine * b.fine
		}
	case l.Sign == AllDark || l.Sign == Nothing:
		return max(hidden*max(a.seen, b.seen), (1-hidden)*slip)
	case l.Sign == Fine:
		return a.seen * b.seen
	}
	return a.seen*(b.fine+0.5*max(0, 1-b.fine-b.dark)) + b.seen*(a.fine+0.5*max(0, 1-a.fine-a.dark))
}

// weigh gives every hypothesis its share: alone, in a pair with another, and beside
// what was put right since.
func (m *model) weigh() {
	m.glimpses()
	m.start()
	m.log, m.meter = make([]float64, len(m.all)), make([]float64, len(m.all))
	for i := range m.all {
		h := &m.all[i]
		m.meter[i] = m.read(h, false, nil, 0)
		m.log[i] = math.Log(m.begin[i]) + m.alone(i, 0, len(m.looks)) + m.meter[i]
	}
	if slices.ContainsFunc(m.looks, func(l Look) bool { return l.First > 0 }) {
		top := slices.Max(m.log)
		for i := range m.all { // what is all but excluded is not worked out for every block
			less := excluded + 0.0
			if h := &m.all[i]; m.log[i] > top-excluded {
				less = m.meter[i] - m.read(h, true, nil, 0)
			}
			m.log[i] -= less
			m.meter[i] -= less
		}
	}
	m.beside()
	pairs := m.weighPairs()
	top := slices.Max(m.log)
	for _, p := range pairs {
		top = max(top, p.log)
	}
	m.share, m.pairs = make([]float64, len(m.all)), make([]float64, len(m.all))
	sum := 0.0
	for i, l := range m.log {
		m.share[i] = math.Exp(l - top)
		sum += m.share[i]
	}
	for _, p := range pairs {
		w := math.Exp(p.log - top)
		sum += w
		for _, i := range []int{p.a, p.b} {
			m.share[i] += w / 2
			m.pairs[i] += w
		}
	}
	for i := range m.share {
		m.share[i] /= sum
		m.pairs[i] /= sum
	}
}

// alone is the logarithm of how likely what was seen in some looks is.
func (m *model) alone(i, from, to int) float64 {
	sum, product := 0.0, 1.0
	for _, g := range m.told[from:to] {
		if g == nil {
			continue
		}
		if product *= max(g[i].seen, unlikely); product < 1e-200 {
			sum, product = sum+math.Log(product), 1
		}
	}
	return sum + math.Log(product)
}

// withBoth is the same of two faults at once.
func (m *model) withBoth(a, b, from, to int) float64 {
	sum, product := 0.0, 1.0
	for k := from; k < to; k++ {
		if m.told[k] == nil {
			continue
		}
		if product *= max(both(&m.told[k][a], &m.told[k][b], &m.looks[k]), unlikely); product < 1e-200 {
			sum, product = sum+math.Log(product), 1
		}
	}
	return sum + math.Log(product)
}
