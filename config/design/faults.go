package design

import (
	"math"
	"slices"

	"yardproof/config"
	"yardproof/config/budget"
)

// flows are the amperes of each tap, at the asked level and at full white, by the plan's
// own figures: what they are at most, with each tap lost in turn if that is asked.
func (s *search) flows(taps []tap) (now, full []float64) {
	now, full = make([]float64, len(taps)), make([]float64, len(taps))
	var st state
	take := func(l *ladder, taps []tap, lost int, into []float64) {
		l.solve(taps, s.s.Volts, &st)
		for i, a := range st.amps[:len(taps)] {
			if lost >= 0 && i >= lost {
				i++
			}
			into[i] = max(into[i], a)
		}
	}
	take(s.nominal, taps, -1, now)
	take(s.white, taps, -1, full)
	for lost := 0; s.opts.LoseOne && len(taps) > 1 && lost < len(taps); lost++ {
		take(s.nominal, slices.Delete(slices.Clone(taps), lost, lost+1), lost, now)
	}
	return now, full
}

func (s *search) forLong(f *config.Feed) float64 { return budget.FuseForLong(s.plan, s.s, f) }

// bearsFaults looks at some of the faults that config/protection looks at, and is quick
// to give up what would not pass there: a fault beside each feed and at each end, and
// each lead lost at full white.
func (s *search) bearsFaults(taps []tap, fuses []float64) bool {
	const slack = 1.001 // what is near the edge is judged by the other room
	m, last := len(taps), len(s.white.ohms)-1
	feeder := 2 * budget.FeederOhms(s.plan, s.src.feeder)
	var st state
	fault := func(node int) bool {
		if node < 0 || node > last {
			return true
		}
		amps := s.s.Volts / (s.white.shares(taps, node, &st) + feeder)
		for i := range taps {
			if st.amps[i] > 1e-12 {
				amps = min(amps, s.holds*fuses[i]/st.amps[i])
			}
		}
		if h := s.src.feeder; h != nil && h.FuseAmps > 0 {
			amps = min(amps, s.holds*h.FuseAmps)
		}
		left, right := 0.0, 0.0
		for i, t := range taps {
			if t.node <= node {
				left += st.amps[i] * amps
			}
			if t.node >= node {
				right += st.amps[i] * amps
			}
		}
		for _, t := range taps { // at a feed itself its own amperes need not pass the wire
			if t.node == node {
				return true
			}
		}
		return (left <= s.bears*slack || node == 0) && (right <= s.bears*slack || node == last)
	}
	for i, t := range taps {
		if !fault(t.node-1) || !fault(t.node+1) {
			return false
		}
		if i > 0 && !fault((taps[i-1].node+t.node)/2) {
			return false
		}
	}
	if !fault(0) || !fault(last) {
		return false
	}
	if m == 1 {
		return true
	}
	rest := make([]tap, 0, m)
	for lost := range taps {
		rest = append(append(rest[:0], taps[:lost]...), taps[lost+1:]...)
		s.white.solve(rest, s.s.Volts, &st)
		if s.white.steepest(rest, &st) > s.bears*slack {
			return false
		}
	}
	return true
}

// steepest is the greatest current in the wire beside a tap.
func (l *ladder) steepest(taps []tap, st *state) float64 {
	top, m := l.sum[taps[0].node], len(taps)
	top = max(top, l.total()-l.sum[taps[m-1].node+1])
	for i := 1; i < m; i++ {
		a, b := taps[i-1].node, taps[i].node
		r := l.ohms[b] - l.ohms[a]
		if r <= 0 {
			continue
		}
		amps, moment := l.between(a, b)
		flow := (st.volts[i-1]-st.volts[i])/r + amps - moment/r
		top = max(top, math.Abs(flow), math.Abs(flow-amps))
	}
	return top
}
