package protection

import (
	"cmp"
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
	feeders  []feeder
	sections []section
	of       []int // by node: its section; -1: no lead reaches it
	piece    []int // by node: the section of the piece that leads there; -1: cut, or no lead reaches it

	z       [][]float64 // ohms: volts that unknown i loses for an ampere drawn at lead p, [p][i]; feeders follow the leads
	current [][]float64 // share of an ampere drawn at lead p that lead j brings, [p][j]
	through [][]float64 // amperes through section t, from its left to its right, [p][t]

	ends   []draw   // by node: at the end of the piece that leads there; empty: not worked out yet
	states []*state // kept for the loads that come again
	solved int      // how many of them are of this rail

	a    [][]float64 // memory of solve
	nth  []int       // and of lay: by feeder of the wiring
	drop []float64   // and of state
	mix  []float64   // and of mixed
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
	boxes  []*config.Feeder // that it hangs on
	others []float64        // by box: amperes of all other strings at full white
	jumper []int            // by node: which jumper leads there, from 1; 0: none
	dark   []float64        // what each node draws then
	whole  *brings          // at full white, once it is worked out
	laid   *rail            // V+ with all of its feeds, once it is laid

	room, spare *rail // memory for that, and for that of what the string is changed to; nil: none
}

// plus is V+ with all of its feeds.
func (w *wiring) plus() *rail {
	if w.laid == nil {
		if w.laid = w.room; w.laid == nil {
			w.laid = new(rail)
		}
		w.laid.lay(w, w.Cuts, nothing)
	}
	return w.laid
}

// newWiring is that of a string of the plan, by its index; false where it is not known.
func newWiring(p *config.Plan, b *budget.Budget, n int) (*wiring, bool) {
	w, ok := b.Wiring(n)
	if !ok {
		return nil, false
	}
	x := &wiring{Wiring: w, s: p.Strings[n], plan: p, budget: b, jumper: make([]int, len(w.White)+1), dark: make([]float64, len(w.White))}
	for i, j := range x.s.Jumpers {
		x.jumper[w.Node(x.s.NullPixels+j.After)+1] = 1 + i
	}
	x.join()
	x.others = make([]float64, len(x.boxes))
	for i, h := range x.boxes {
		x.others[i] = b.Feeders[slices.Index(p.Feeders, h)].FullWhiteAmps
	}
	for i, f := range x.s.Feeds {
		if f.Feeder != nil {
			x.others[slices.Index(x.boxes, f.Feeder)] -= b.Strings[n].Feeds[i].FullWhiteAmps
		}
	}
	for i, amps := range x.others {
		if amps < 0.001 { // the feeder is its own; or what others send back, which is taken to be dark
			x.others[i] = 0
		}
	}
	return x, true
}

// join finds the leads.
func (x *wiring) join() {
	w, s := &x.Wiring, x.s
	for i, f := range s.Feeds {
		l := lead{feed: i, node: w.Feeds[i], g: 1 / x.leadOhms(f), box: -1}
		if f.Feeder != nil {
			if l.box = slices.Index(x.boxes, f.Feeder); l.box < 0 {
				l.box = len(x.boxes)
				x.boxes = append(x.boxes, f.Feeder)
			}
		}
		x.leads = append(x.leads, l)
	}
	slices.SortStableFunc(x.leads, func(a, b lead) int { return cmp.Compare(a.node, b.node) })
}

// hangs is the temperature where the string hangs.
func (w *wiring) hangs() float64 { return config.Celsius(w.s.Temperature, w.plan.Temperature) }

// leadOhms is one conductor of a feed's own wire, at its own temperature.
func (w *wiring) leadOhms(f *config.Feed) float64 {
	return budget.Ohms(f.Wire, w.leadCelsius(f))
}

// loads are those of which one is the worst: currents and what fuses leave for a fault rise or
// fall with each string's level.
func (w *wiring) loads() []load {
	list := []load{{nodes: w.dark}, {nodes: w.White}}
	if slices.ContainsFunc(w.others, func(amps float64) bool { return amps > 0 }) {
		list = append(list, load{w.dark, w.others}, w.full())
	}
	return list
}

// full is full white of all strings.
func (w *wiring) full() load { return load{w.White, w.others} }

func (w *wiring) leadCelsius(f *config.Feed) float64 { return config.Celsius(f.Temperature, w.hangs()) }

func (w *wiring) feederCelsius(f *config.Feeder) float64 {
	return config.Celsius(f.Temperature, w.plan.Temperature)
}

func (w *wiring) feederOhms(f *config.Feeder) float64 {
	return budget.Ohms(f.Wire, w.feederCelsius(f))
}

// A lead is where a feed joins the rail.
type lead struct {
	feed, node int
	g          float64 // of its own wire
	box        int     // of the wiring; -1: a supply
	feeder     int     // of the rail; -1: a supply
}

// A feeder is one of the wiring's boxes as its leads reach it.
type feeder struct {
	box int
	g   float64
}

// A section is wire without a branch between two leads, or a loose end (-1).
type section struct{ from, to, left, right int }

// newRail lays out a conductor. Lost says which feeds do not reach it; cuts are
// the nodes after which it is cut.
func newRail(w *wiring, cuts []int, lost func(*config.Feed) bool) *rail {
	r := new(rail)
	r.lay(w, cuts, lost)
	return r
}

// lay is newRail in the memory of a rail that nobody looks at any more.
func (r *rail) lay(w *wiring, cuts []int, lost func(*config.Feed) bool) {
	r.pos, r.leads, r.feeders, r.ends, r.solved = w.Wiring.Ohms, r.leads[:0], r.feeders[:0], r.ends[:0], 0
	r.nth = sized(r.nth, len(w.boxes))
	for _, l := range w.leads {
		if lost(w.s.Feeds[l.feed]) {
			continue
		}
		l.feeder = -1
		if l.box >= 0 {
			if r.nth[l.box] == 0 {
				r.feeders = append(r.feeders, feeder{l.box, 1 / w.feederOhms(w.boxes[l.box])})
				r.nth[l.box] = len(r.feeders)
			}
			l.feeder = r.nth[l.box] - 1
		}
		r.leads = append(r.leads, l)
	}
	r.divide(cuts)
	r.solve()
}

// divide finds the sections.
func (r *rail) divide(cuts []int) {
	last := len(r.pos) - 1
	r.sections = r.sections[:0]
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
	r.of, r.piece = sized(r.of, len(r.pos)), sized(r.piece, len(r.pos))
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
	r.a, r.z, r.current, r.through = table(r.a, m, m), table(r.z, m, m), table(r.current, m, m), table(r.through, m, len(r.sections))
	a := r.a
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
	for h, f := range r.feeders {
		a[n+h][n+h] += f.g
	}
	for _, s := range r.sections {
		if s.left >= 0 && s.right >= 0 {
			join(s.left, s.right, 1/r.ohms(s))
		}
	}
	invert(a, r.z) // symmetric
	for p, z := range r.z {
		for j, l := range r.leads {
			r.current[p][j] = l.g * z[j]
			if l.feeder >= 0 {
				r.current[p][j] -= l.g * z[n+l.feeder]
			}
		}
		for h, f := range r.feeders {
			r.current[p][n+h] = f.g * z[n+h]
		}
		for t, s := range r.sections {
			if s.left >= 0 && s.right >= 0 {
				r.through[p][t] = (z[s.right] - z[s.left]) / r.ohms(s)
			}
		}
	}
}

func (r *rail) ohms(s section) float64 { return max(r.pos[s.to]-r.pos[s.from], leastOhms) }

// invert is Gauss-Jordan on a symmetric positive definite matrix, which needs no pivots.
// The inverse, of noughts before, is the second; the first is used up.
func invert(a, inv [][]float64) {
	n := len(a)
	for i := range inv {
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
	if len(r.ends) > 0 {
		return
	}
	r.ends = sized(r.ends, len(r.pos))
	for k, t := range r.piece {
		if t >= 0 {
			r.ends[k] = r.draw(t, r.pos[k])
		}
	}
}

// draw is for a place in a section, in ohms from node 0.
func (r *rail) draw(t int, pos float64) draw {
	s := &r.sections[t]
	d := draw{section: t}
	switch {
	case s.right < 0:
		d.wl, d.left = 1, 1
		d.ohms = r.z[s.left][s.left] + pos - r.pos[s.from]
	case s.left < 0:
		d.wr, d.right = 1, -1
		d.ohms = r.z[s.right][s.right] + r.pos[s.to] - pos
	default:
		whole := r.ohms(*s)
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

// mixed is what a draw does to all that is known lead by lead, until the next.
func (r *rail) mixed(d *draw, table [][]float64, columns int) []float64 {
	s := &r.sections[d.section]
	r.mix = sized(r.mix, columns)
	if s.left >= 0 {
		for i, v := range table[s.left] {
			r.mix[i] = d.wl * v
		}
	}
	if s.right >= 0 {
		for i, v := range table[s.right] {
			r.mix[i] += d.wr * v
		}
	}
	return r.mix
}
