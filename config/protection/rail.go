package protection

import (
	"cmp"
	"math"
	"slices"

	"yardproof/config"
	"yardproof/config/budget"
)

// A rail is one conductor of a string, V+ or return, with the leads and feeders
// that bring its current. It is linear: everything is known from what an ampere
// drawn at each lead's end does.
type rail struct {
	pos      []float64 // ohms of the conductor from node 0 to each node
	leads    []lead    // by rising node
	feeders  []*config.Feeder
	feederG  []float64
	sections []section
	of       []int // by node: its section; -1: no lead reaches it
	piece    []int // by node: the section of the piece that leads there; -1: cut, or no lead reaches it

	z       [][]float64 // ohms: volts that unknown i loses for an ampere drawn at lead p, [p][i]
	current [][]float64 // share of an ampere drawn at lead p that lead j brings, [p][j]; feeders follow the leads
	through [][]float64 // amperes through section t, from its left to its right, [p][t]

	ends  []draw // by node: at the end of the piece that leads there; nil: not worked out yet
	under []float64
	state *state // under those loads
}

// What stands for no wire at all between two leads.
const leastOhms = 1e-8

// wiring is a string's conductors with its leads in the order of their nodes.
type wiring struct {
	budget.Wiring
	s      *config.String
	plan   *config.Plan
	budget *budget.Budget
	leads  []lead
	jumper map[int]int // by node: which jumper leads there
	whole  *brings     // at full white, once it is worked out
}

// newWiring is that of a string of the plan, by its index; false where it is not known.
func newWiring(p *config.Plan, b *budget.Budget, n int) (*wiring, bool) {
	w, ok := b.Wiring(n)
	if !ok {
		return nil, false
	}
	x := &wiring{Wiring: w, s: p.Strings[n], plan: p, budget: b}
	x.join()
	return x, true
}

// join finds the leads and the jumpers.
func (x *wiring) join() {
	w, s := &x.Wiring, x.s
	for i, f := range s.Feeds {
		x.leads = append(x.leads, lead{feed: i, node: w.Feeds[i], g: 1 / x.leadOhms(f)})
	}
	for i, j := range s.Jumpers {
		if x.jumper == nil {
			x.jumper = map[int]int{}
		}
		x.jumper[w.Node(s.NullPixels+j.After)+1] = i
	}
	slices.SortStableFunc(x.leads, func(a, b lead) int { return cmp.Compare(a.node, b.node) })
}

// hangs is the temperature where the string hangs.
func (w *wiring) hangs() float64 { return config.Celsius(w.s.Temperature, w.plan.Temperature) }

// leadOhms is one conductor of a feed's own wire, at its own temperature.
func (w *wiring) leadOhms(f *config.Feed) float64 {
	return budget.Ohms(f.Wire, w.leadCelsius(f))
}

func (w *wiring) leadCelsius(f *config.Feed) float64 { return config.Celsius(f.Temperature, w.hangs()) }

func (w *wiring) feederOhms(f *config.Feeder) float64 {
	return budget.Ohms(f.Wire, config.Celsius(f.Temperature, w.plan.Temperature))
}

// A lead is where a feed joins the rail.
type lead struct {
	feed, node int
	g          float64 // of its own wire
	feeder     int     // -1: a supply
}

// A section is wire without a branch between two leads, or a loose end (-1).
type section struct{ from, to, left, right int }

// newRail lays out a conductor. Lost says which feeds do not reach it; cuts are
// the nodes after which it is cut.
func newRail(w *wiring, cuts []int, lost func(*config.Feed) bool) *rail {
	r := &rail{pos: w.Wiring.Ohms}
	index := map[*config.Feeder]int{}
	for _, l := range w.leads {
		f := w.s.Feeds[l.feed]
		if lost(f) {
			continue
		}
		l.feeder = -1
		if f.Feeder != nil {
			n, ok := index[f.Feeder]
			if !ok {
				n = len(r.feeders)
				index[f.Feeder] = n
				r.feeders = append(r.feeders, f.Feeder)
				r.feederG = append(r.feederG, 1/w.feederOhms(f.Feeder))
			}
			l.feeder = n
		}
		r.leads = append(r.leads, l)
	}
	r.divide(cuts)
	r.solve()
	return r
}

// divide finds the sections.
func (r *rail) divide(cuts []int) {
	last := len(r.pos) - 1
	from, left := 0, -1
	add := func(to, right int) {
		r.sections = append(r.sections, section{from, to, left, right})
	}
	next := 0
	cutBefore := func(node int) {
		for next < len(cuts) && cuts[next] < node {
			add(cuts[next], -1)
			from, left = cuts[next]+1, -1
			next++
		}
	}
	for i, l := range r.leads {
		cutBefore(l.node)
		add(l.node, i)
		from, left = l.node, i
	}
	cutBefore(last + 1)
	add(last, -1)
	r.of, r.piece = make([]int, len(r.pos)), make([]int, len(r.pos))
	for i := range r.of {
		r.of[i], r.piece[i] = -1, -1
	}
	for t, s := range r.sections {
		if s.left < 0 && s.right < 0 {
			continue
		}
		for k := s.from; k <= s.to; k++ {
			r.of[k] = t
			if k > s.from {
				r.piece[k] = t
			}
		}
	}
}

// solve inverts the small network of leads and feeders.
func (r *rail) solve() {
	n, m := len(r.leads), len(r.leads)+len(r.feeders)
	a := make([][]float64, m)
	for i := range a {
		a[i] = make([]float64, m)
	}
	join := func(i, j int, g float64) {
		a[i][i] += g
		a[j][j] += g
		a[i][j] -= g
		a[j][i] -= g
	}
	for i, l := range r.leads {
		if l.feeder < 0 {
			a[i][i] += l.g
		} else {
			join(i, n+l.feeder, l.g)
		}
	}
	for h, g := range r.feederG {
		a[n+h][n+h] += g
	}
	for _, s := range r.sections {
		if s.left >= 0 && s.right >= 0 {
			join(s.left, s.right, 1/r.ohms(s))
		}
	}
	inverse := invert(a)
	r.z = inverse[:n] // symmetric
	r.current, r.through = make([][]float64, n), make([][]float64, n)
	for p := range n {
		z := r.z[p]
		r.current[p] = make([]float64, m)
		for j, l := range r.leads {
			r.current[p][j] = l.g * z[j]
			if l.feeder >= 0 {
				r.current[p][j] -= l.g * z[n+l.feeder]
			}
		}
		for h, g := range r.feederG {
			r.current[p][n+h] = g * z[n+h]
		}
		r.through[p] = make([]float64, len(r.sections))
		for t, s := range r.sections {
			if s.left >= 0 && s.right >= 0 {
				r.through[p][t] = (z[s.right] - z[s.left]) / r.ohms(s)
			}
		}
	}
}

func (r *rail) ohms(s section) float64 { return math.Max(r.pos[s.to]-r.pos[s.from], leastOhms) }

// invert is Gauss-Jordan on a symmetric positive definite matrix, which needs no pivots.
func invert(a [][]float64) [][]float64 {
	n := len(a)
	inv := make([][]float64, n)
	for i := range inv {
		inv[i] = make([]float64, n)
		inv[i][i] = 1
	}
	for c := range n {
		d := 1 / a[c][c]
		for j := range n {
			a[c][j] *= d
			inv[c][j] *= d
		}
		for i := range n {
			if f := a[i][c]; i != c && f != 0 {
				for j := range n {
					a[i][j] -= f * a[c][j]
					inv[i][j] -= f * inv[c][j]
				}
			}
		}
	}
	return inv
}

// A draw is what an ampere drawn at a place does.
type draw struct {
	section     int
	wl, wr      float64 // shares that reach its section's two leads
	left, right float64 // amperes, rightwards, in its section before and after the place
	ohms        float64 // volts that the place itself loses
}

// reach works out the draws at the ends of the pieces.
func (r *rail) reach() {
	if r.ends != nil {
		return
	}
	r.ends = make([]draw, len(r.pos))
	for k, t := range r.piece {
		if t >= 0 {
			r.ends[k] = r.draw(t, r.pos[k])
		}
	}
}

// draw is for a place in a section, in ohms from node 0.
func (r *rail) draw(t int, pos float64) draw {
	s := r.sections[t]
	d := draw{section: t}
	switch {
	case s.right < 0:
		d.wl, d.left = 1, 1
		d.ohms = r.z[s.left][s.left] + pos - r.pos[s.from]
	case s.left < 0:
		d.wr, d.right = 1, -1
		d.ohms = r.z[s.right][s.right] + r.pos[s.to] - pos
	default:
		whole := r.ohms(s)
		x := (pos - r.pos[s.from]) / whole
		d.wl, d.wr = 1-x, x
		vl := d.wl*r.z[s.left][s.left] + d.wr*r.z[s.right][s.left]
		vr := d.wl*r.z[s.left][s.right] + d.wr*r.z[s.right][s.right]
		d.left = (vr-vl)/whole + 1 - x
		d.right = d.left - 1
		d.ohms = (1-x)*vl + x*vr + x*(1-x)*whole
	}
	return d
}

// mix is what a draw does to something known lead by lead.
func (r *rail) mix(d draw, table [][]float64, i int) float64 {
	s, v := r.sections[d.section], 0.0
	if s.left >= 0 {
		v += d.wl * table[s.left][i]
	}
	if s.right >= 0 {
		v += d.wr * table[s.right][i]
	}
	return v
}

// A state is the currents of a rail under loads at its nodes.
type state struct {
	leads []float64 // and feeders after them
	wire  []float64 // wire[k]: amperes from node k-1 to k
	lost  []float64 // volts by node
}

// sized is a slice of n zeros, in the memory of another where it has room.
func sized[T any](of []T, n int) []T {
	if cap(of) < n {
		return make([]T, n)
	}
	of = of[:n]
	clear(of)
	return of
}

// loaded superposes the loads of the nodes, which nobody changes afterwards.
func (r *rail) loaded(amps []float64) *state {
	if r.state == nil || &r.under[0] != &amps[0] {
		r.under, r.state = amps, new(state)
		r.state.load(r, amps)
	}
	return r.state
}

func (st *state) load(r *rail, amps []float64) {
	n, m := len(r.leads), len(r.leads)+len(r.feeders)
	st.leads, st.wire, st.lost = make([]float64, m), make([]float64, len(r.pos)), make([]float64, len(r.pos))
	at := make([]float64, n) // what the loads are worth at the leads
	for k, a := range amps {
		if r.of[k] >= 0 && a != 0 {
			d := r.draw(r.of[k], r.pos[k])
			s := r.sections[d.section]
			if s.left >= 0 {
				at[s.left] += a * d.wl
			}
			if s.right >= 0 {
				at[s.right] += a * d.wr
			}
		}
	}
	drop := make([]float64, m)
	for p, a := range at {
		for i := range m {
			drop[i] += a * r.z[p][i]
			st.leads[i] += a * r.current[p][i]
		}
	}
	for _, s := range r.sections {
		if s.left < 0 && s.right < 0 {
			continue
		}
		begin, v := 0.0, 0.0
		whole := r.ohms(s)
		for k := s.from + 1; k <= s.to; k++ { // what enters the section at its left
			switch {
			case s.right < 0:
				begin += amps[k]
			case s.left >= 0 && k < s.to:
				begin += amps[k] * (r.pos[s.to] - r.pos[k]) / whole
			}
		}
		if s.left >= 0 {
			v = drop[s.left]
			if s.right >= 0 {
				begin += (drop[s.right] - drop[s.left]) / whole
			}
		} else {
			begin = -amps[s.from] // the loose end feeds nothing; what is drawn there comes back
			v = drop[s.right]
			flow := begin
			for k := s.from + 1; k <= s.to; k++ {
				v -= flow * (r.pos[k] - r.pos[k-1])
				flow -= amps[k]
			}
		}
		if s.left < 0 {
			st.lost[s.from] = v
		} else {
			st.lost[s.from] = drop[s.left]
		}
		for k := s.from + 1; k <= s.to; k++ {
			st.wire[k] = begin
			v += begin * (r.pos[k] - r.pos[k-1])
			st.lost[k] = v
			begin -= amps[k]
		}
	}
}
