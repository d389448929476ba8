package belief

import (
	"math"
	"slices"
)

// stillThere is how often a cause that was put right is there as before (common
// practice, no source).
const stillThere = 0.002

// sceptic is how likely something is wrong besides what was put right, before another
// look: nobody says that all is well sooner than at first (common practice, no source).
const sceptic = 1.5

// mends reports whether a look says that a hypothesis was put right.
func (l *Look) mends(h *hypothesis) bool {
	if l.Test != Mended || l.Cause != h.cause.Kind {
		return false
	}
	if h.feed > 0 {
		return l.Feed == h.feed-1
	}
	return l.Pixel == 0 || h.place == 0 || max(l.Pixel-h.place, h.place-l.Pixel) <= 1
}

// start is what every hypothesis has before any look, less what was put right.
func (m *model) start() {
	m.begin, m.total = make([]float64, len(m.all)), 0
	for i := range m.all {
		h := &m.all[i]
		m.begin[i] = h.prior
		m.total += h.prior
		for k := range m.looks {
			if l := &m.looks[k]; l.Test == Mended && l.mends(h) {
				m.begin[i] *= stillThere
			}
		}
	}
}

// fresh is the looks since something was put right last.
func (m *model) fresh() []Look {
	for k := len(m.looks) - 1; k >= 0; k-- {
		if m.looks[k].Test == Mended {
			return m.looks[k+1:]
		}
	}
	return m.looks
}

// beside adds to each hypothesis that what was put right was wrong besides: then the
// looks before it show both, and those since then only what is left.
func (m *model) beside() {
	var sums [][]float64
	blocks := slices.ContainsFunc(m.looks, func(l Look) bool { return l.First > 0 })
	for j, l := range m.looks {
		if l.Test != Mended {
			continue
		}
		best, top, all := -1, math.Inf(-1), 0.0
		logs := map[int]float64{}
		for i := range m.all {
			if h := &m.all[i]; l.mends(h) {
				logs[i] = math.Log(h.prior) + m.alone(i, 0, j) + m.readBefore(h, j)
				if logs[i] > top {
					best, top = i, logs[i]
				}
			}
		}
		if best < 0 {
			continue
		}
		for _, v := range logs {
			all += math.Exp(v - top)
		}
		x := &m.all[best]
		had := math.Log(x.prior) + math.Log(all) // of any place and size of it
		sum := make([]float64, len(m.all))
		for i := range m.all {
			h := &m.all[i]
			sum[i] = had + m.withBoth(best, i, 0, j) + m.alone(i, j, len(m.looks)) + m.read(h, false, x, j)
			if h.cause.Kind != Well {
				sum[i] += math.Log(sceptic * m.begin[i] / m.total)
			}
		}
		least := slices.Max(sum) - excluded
		for i := range m.all {
			if h := &m.all[i]; blocks && sum[i] > least {
				sum[i] += m.read(h, true, x, j) - m.read(h, false, x, j)
			}
		}
		sums = append(sums, sum)
	}
	for _, sum := range sums {
		for i, s := range sum {
			top := max(m.log[i], s)
			m.log[i] = top + math.Log(math.Exp(m.log[i]-top)+math.Exp(s-top))
		}
	}
}

// readBefore is what meters read in the first looks.
func (m *model) readBefore(h *hypothesis, looks int) float64 {
	before := *m
	before.looks = m.looks[:looks]
	return before.read(h, true, nil, 0)
}
