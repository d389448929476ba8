package design

import "sort"

// A ladder is a string's wire between its feeds, with constant currents, out and
// return as one loop. It answers what a set of feeds gives in a time that grows with
// the feeds and not with the pixels: sums along the wire are kept.
type ladder struct {
	lit  int       // first node of a lit pixel
	ohms []float64 // of the loop from node 0 to each node
	amps []float64 // drawn at each node
	sum  []float64 // of amps at the nodes before
	turn []float64 // of amps times ohms at the nodes before
}

// newLadder takes one conductor's ohms and the amperes by node, with what each is
// multiplied by.
func newLadder(ohms, amps []float64, lit int, wire, load float64) *ladder {
	n := len(ohms)
	l := &ladder{lit: lit, ohms: make([]float64, n), amps: make([]float64, n), sum: make([]float64, n+1), turn: make([]float64, n+1)}
	for k := range n {
		l.ohms[k], l.amps[k] = 2*wire*ohms[k], load*amps[k]
		l.sum[k+1] = l.sum[k] + l.amps[k]
		l.turn[k+1] = l.turn[k] + l.amps[k]*l.ohms[k]
	}
	return l
}

func (l *ladder) total() float64 { return l.sum[len(l.amps)] }

// between is what the nodes from a to b, without these, draw, and what that is in
// amperes times ohms from node a.
func (l *ladder) between(a, b int) (amps, moment float64) {
	if b <= a+1 {
		return 0, 0
	}
	amps = l.sum[b] - l.sum[a+1]
	return amps, l.turn[b] - l.turn[a+1] - amps*l.ohms[a]
}

// A tap is a feed: where it joins, and the conductance of its lead's loop, at the worst
// side of the tolerance or as it is asked for; plain is by the plan's own figures.
type tap struct {
	node     int
	g, plain float64
}

// state is what taps from a source give: volts at each tap and amperes into it.
type state struct {
	volts, amps   []float64
	diag, up, rhs []float64
}

// solve takes taps by rising node, all from a source of some volts.
func (l *ladder) solve(taps []tap, source float64, st *state) {
	l.load(taps, source, st)
	st.eliminate(taps, source)
}

// load sets up the equations at the taps, which need one unknown each.
func (l *ladder) load(taps []tap, source float64, st *state) {
	m := len(taps)
	st.begin(taps)
	for i, t := range taps {
		st.rhs[i] = t.g*source - l.amps[t.node]
	}
	st.rhs[0] -= l.sum[taps[0].node]
	last := taps[m-1].node
	st.rhs[m-1] -= l.total() - l.sum[last+1]
	for i := 1; i < m; i++ {
		a, b := taps[i-1].node, taps[i].node
		g := st.join(i, l.ohms[b]-l.ohms[a])
		amps, moment := l.between(a, b)
		right := moment * g // of the amperes, what comes from the far end
		st.rhs[i] -= right
		st.rhs[i-1] -= amps - right
	}
}

// begin makes room for the equations at the taps, and has their leads in them.
func (st *state) begin(taps []tap) {
	m := len(taps)
	st.volts, st.amps = room(st.volts, m), room(st.amps, m)
	st.diag, st.up, st.rhs = room(st.diag, m), room(st.up, m), room(st.rhs, m)
	for i, t := range taps {
		st.diag[i] = t.g
	}
}

// join puts the wire between a tap and the one before it into the equations, and
// returns its conductance.
func (st *state) join(i int, ohms float64) float64 {
	g := 1 / max(ohms, 1e-9)
	st.diag[i-1] += g
	st.diag[i] += g
	st.up[i-1] = -g
	return g
}

func (st *state) eliminate(taps []tap, source float64) {
	m := len(taps)
	for i := 1; i < m; i++ {
		f := st.up[i-1] / st.diag[i-1]
		st.diag[i] -= f * st.up[i-1]
		st.rhs[i] -= f * st.rhs[i-1]
	}
	for i := m - 1; i >= 0; i-- {
		v := st.rhs[i]
		if i+1 < m {
			v -= st.up[i] * st.volts[i+1]
		}
		st.volts[i] = v / st.diag[i]
		st.amps[i] = taps[i].g * (source - st.volts[i])
	}
}

func room(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}

// lowest is the lowest volts of a lit pixel, with the taps solved.
func (l *ladder) lowest(taps []tap, st *state) float64 {
	m := len(taps)
	low := min(l.before(taps[0].node, st.volts[0]), l.after(taps[m-1].node, st.volts[m-1]))
	for i := 1; i < m; i++ {
		low = min(low, l.sag(taps[i-1].node, taps[i].node, st.volts[i-1], st.volts[i]))
	}
	return low
}

// before is the lowest ahead of the first tap, at whose node there are some volts.
func (l *ladder) before(node int, volts float64) float64 {
	t := l.lit
	if t >= node {
		return volts
	}
	ahead := l.sum[node] - l.sum[t+1] // drawn between
	moment := l.turn[node] - l.turn[t+1]
	return volts - (ahead*l.ohms[node] - moment) - l.sum[t+1]*(l.ohms[node]-l.ohms[t])
}

// after is the lowest behind the last tap.
func (l *ladder) after(node int, volts float64) float64 {
	last := len(l.amps) - 1
	amps := l.total() - l.sum[node+1]
	return volts - (l.turn[last+1] - l.turn[node+1] - amps*l.ohms[node])
}

// sag is the lowest between two taps with volts at both: where the current turns.
func (l *ladder) sag(a, b int, va, vb float64) float64 {
	r := l.ohms[b] - l.ohms[a]
	if r <= 0 {
		return min(va, vb)
	}
	amps, moment := l.between(a, b)
	flow := (va-vb)/r + amps - moment/r // out of a to the right
	k := a
	if flow > 0 {
		k = a + 1 + sort.Search(b-a-1, func(i int) bool { return flow-(l.sum[a+2+i]-l.sum[a+1]) <= 0 })
	}
	k = max(k, min(l.lit, b))
	if k >= b {
		return vb
	}
	if k == a {
		return va
	}
	_, m := l.between(a, k)
	drawn := l.sum[k] - l.sum[a+1]
	d := l.ohms[k] - l.ohms[a]
	return va - flow*d + drawn*d - m
}

// shares are the amperes that each tap brings of one drawn at a node, and the ohms
// from the source to there.
func (l *ladder) shares(taps []tap, node int, st *state) (ohms float64) {
	m := len(taps)
	st.begin(taps)
	clear(st.rhs)
	tail, local := -1, 0.0
	for i := 1; i < m; i++ {
		a, b := taps[i-1].node, taps[i].node
		g := st.join(i, l.ohms[b]-l.ohms[a])
		if node > a && node < b {
			right := (l.ohms[node] - l.ohms[a]) * g
			st.rhs[i] -= right
			st.rhs[i-1] -= 1 - right
			tail = i
		}
	}
	last := m - 1
	switch {
	case tail >= 0:
	case node <= taps[0].node:
		st.rhs[0] = -1
		local = l.ohms[taps[0].node] - l.ohms[node]
	case node >= taps[last].node:
		st.rhs[last] = -1
		local = l.ohms[node] - l.ohms[taps[last].node]
	default: // at a tap
		for i, t := range taps {
			if t.node == node {
				st.rhs[i] = -1
			}
		}
	}
	st.eliminate(taps, 0)
	switch {
	case tail >= 0:
		a, b := taps[tail-1].node, taps[tail].node
		r := l.ohms[b] - l.ohms[a]
		left := (l.ohms[node] - l.ohms[a])
		flow := (st.volts[tail-1]-st.volts[tail])/r + 1 - left/r
		return -(st.volts[tail-1] - flow*left)
	case node <= taps[0].node:
		return -st.volts[0] + local
	case node >= taps[last].node:
		return -st.volts[last] + local
	}
	for i, t := range taps {
		if t.node == node {
			return -st.volts[i]
		}
	}
	return 0
}
