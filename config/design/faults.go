package design

import (
	"math"
	"slices"

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

// faults are some of those that config/protection looks at, worked out for chosen leads:
// what would not pass there with some fuses is given up quickly.
type faults struct {
	*search
	points []point
	loads  []float64   // amperes of each tap at full white
	slab   []float64   // where shares are
	failed [][]float64 // fuses with which one is too much: bigger ones let through more
}

// A point is where a fault may be.
type point struct {
	shares      []float64 // of an ampere that the fault draws, by tap
	dead, white float64   // amperes of a dead short with the pixels dark, and at full white on top of the load
	left, right float64   // share that the wire brings from either side; 0: there is none
	fromLeft    float64   // amperes of the load in the wire ahead, and behind
	fromRight   float64
}

// What is near the edge is judged by the other room.
const slack = 1.001

// mostPoints bounds the faults that are looked at between two feeds.
const mostPoints = 12

// faults lays out faults along the wire; false when it does not even bear a lost lead
// at full white.
func (s *search) faults(taps []tap) (*faults, bool) {
	x := &faults{search: s}
	var st, one state
	rest := make([]tap, 0, len(taps))
	for lost := 0; lost < len(taps) && len(taps) > 1; lost++ {
		rest = append(append(rest[:0], taps[:lost]...), taps[lost+1:]...)
		s.white.solve(rest, s.s.Volts, &st)
		if s.white.steepest(rest, &st) > s.bears*slack {
			return nil, false
		}
	}
	feeder := 2 * budget.FeederOhms(s.plan, s.src.feeder)
	s.white.solve(taps, s.s.Volts-feeder*s.white.total(), &st)
	x.loads = slices.Clone(st.amps[:len(taps)])
	most := (len(taps) + 1) * (mostPoints + 4)
	x.points, x.slab = make([]point, 0, most), make([]float64, 0, most*len(taps))
	from := 0
	for i := 0; i <= len(taps); i++ {
		to := len(s.white.ohms)
		if i < len(taps) {
			to = taps[i].node
		}
		step := max(1, (to-from+mostPoints-1)/mostPoints)
		for k := from; k < to; k += step {
			x.add(k, taps, &st, &one, feeder)
			if k < to-1 && k+step > to-1 { // the last one is beside the feed
				k = to - 1 - step
			}
		}
		if i < len(taps) {
			x.beside(i, taps, &st, &one, feeder)
		}
		from = to + 1
	}
	return x, true
}

func (x *faults) keep(shares []float64) []float64 {
	n := len(x.slab)
	x.slab = append(x.slab, shares...)
	return x.slab[n:len(x.slab):len(x.slab)]
}

// add adds the fault at a node, with the taps solved at full white.
func (x *faults) add(node int, taps []tap, st, one *state, feeder float64) {
	l, m := x.white, len(taps)
	ohms := l.shares(taps, node, one) + feeder
	p := point{shares: x.keep(one.amps[:m])}
	volts := 0.0
	switch i := slices.IndexFunc(taps, func(t tap) bool { return t.node > node }); i {
	case 0:
		volts = l.along(taps[0].node, st.volts[0], node)
		p.fromRight = l.sum[node+1]
	case -1:
		volts = l.along(taps[m-1].node, st.volts[m-1], node)
		p.fromLeft = l.total() - l.sum[node]
	default:
		a := taps[i-1].node
		flow, _ := l.through(taps, i, st)
		drawn, turn := l.between(a, node)
		d := l.ohms[node] - l.ohms[a]
		volts = st.volts[i-1] - flow*d + drawn*d - turn
		p.fromLeft = flow - drawn
		p.fromRight = -(p.fromLeft - l.amps[node])
	}
	for i, t := range taps {
		if t.node < node {
			p.left += p.shares[i]
		} else {
			p.right += p.shares[i]
		}
	}
	p.dead, p.white = x.s.Volts/ohms, max(volts, 0)/ohms
	x.points = append(x.points, p)
}

// beside adds the faults right behind and right ahead of a tap, where the wire brings
// its amperes too.
func (x *faults) beside(i int, taps []tap, st, one *state, feeder float64) {
	l, node := x.white, taps[i].node
	ohms := l.shares(taps, node, one) + feeder
	behind := point{shares: x.keep(one.amps[:len(taps)]), dead: x.s.Volts / ohms, white: max(st.volts[i], 0) / ohms}
	ahead := behind
	for k, share := range behind.shares {
		if k <= i {
			behind.left += share
		}
		if k >= i {
			ahead.right += share
		}
	}
	behind.fromLeft, ahead.fromRight = l.total()-l.sum[node+1], l.sum[node]
	if i > 0 {
		_, in := l.through(taps, i, st)
		ahead.fromRight = -in
	}
	if i < len(taps)-1 {
		behind.fromLeft, _ = l.through(taps, i+1, st)
	}
	if node > 0 {
		x.points = append(x.points, ahead)
	}
	if node < len(l.ohms)-1 {
		x.points = append(x.points, behind)
	}
}

// through is what the wire between a tap and the one before it takes out of that one,
// and brings to this.
func (l *ladder) through(taps []tap, i int, st *state) (out, in float64) {
	a, b := taps[i-1].node, taps[i].node
	r := max(l.ohms[b]-l.ohms[a], 1e-9)
	amps, moment := l.between(a, b)
	out = (st.volts[i-1]-st.volts[i])/r + amps - moment/r
	return out, out - amps
}

// along is the volts at a node beyond the first or the last tap.
func (l *ladder) along(tap int, volts float64, node int) float64 {
	if node < tap {
		t := *l
		t.lit = node
		return t.before(tap, volts)
	}
	_, moment := l.between(tap, node)
	d := l.ohms[node] - l.ohms[tap]
	behind := l.total() - l.sum[node]
	return volts - moment - behind*d
}

// bear reports whether the wire bears the faults with fuses.
func (x *faults) bear(fuses []float64) bool {
	if slices.ContainsFunc(x.failed, func(f []float64) bool { return allAtLeast(fuses, f) }) {
		return false
	}
	feeder := math.Inf(1)
	if h := x.src.feeder; h != nil && h.FuseAmps > 0 {
		feeder = x.holds * h.FuseAmps
	}
	for i := range x.points {
		p := &x.points[i]
		dark, lit := min(p.dead, feeder), min(p.white, feeder)
		for k, share := range p.shares {
			if share > 1e-12 {
				dark = min(dark, x.holds*fuses[k]/share)
				lit = min(lit, max(x.holds*fuses[k]-x.loads[k], 0)/share)
			}
		}
		if x.past(p.left, p.fromLeft, dark, lit) || x.past(p.right, p.fromRight, dark, lit) {
			x.failed = append(x.failed, slices.Clone(fuses))
			return false
		}
	}
	return true
}

// past reports whether the wire on one side of a fault gets more than it bears.
func (x *faults) past(share, load, dark, lit float64) bool {
	return share > 1e-9 && max(share*dark, share*lit+load) > x.bears*slack
}

func allAtLeast(a, b []float64) bool {
	for i := range a {
		if a[i] < b[i] {
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
		if l.ohms[taps[i].node] > l.ohms[taps[i-1].node] {
			out, in := l.through(taps, i, st)
			top = max(top, math.Abs(out), math.Abs(in))
		}
	}
	return top
}
