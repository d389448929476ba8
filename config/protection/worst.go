package protection

import (
	"math"
	"sort"
)

// A current is the greatest that something can carry, and how it comes about.
type current struct {
	amps  float64
	place float64 // of the fault: node k plus a share of the piece after it; -1: no fault, the load alone
}

// A worst is the greatest currents of one case: of each piece of wire and lead on
// both rails, over every place and resistance of one fault.
type worst struct {
	wire  [2][]current // by node: the piece that leads there
	leads [2][]current // by lead of the rail, feeders after them
}

// worstCase finds the greatest currents on V+ and return, under a load. Holds are amperes that the fuses of V+'s leads and feeders hold for ever; 0:
// not known, which binds nothing.
//
// At a given place everything grows in proportion to the fault's current, so the
// worst resistance is the one at which the first fuse stands at what it holds, or
// none at all. Along a piece of wire the shares of an ampere are linear in the place
// and what the fault may draw is bound by one thing at a time, so that every current
// only rises or only falls: the worst place is an end of the piece, or where the
// binding changes.
func (m *memory) worstCase(plus, minus *rail, holds []float64, load load, volts float64) *worst {
	f := &m.faults
	f.rails, f.holds, f.volts = [2]*rail{plus, minus}, holds, volts
	n := len(plus.pos)
	w := &m.worst
	for i, r := range f.rails {
		f.state[i] = r.loaded(load)
		w.wire[i], w.leads[i] = sized(w.wire[i], n), sized(w.leads[i], len(f.state[i].leads))
		for k, a := range f.state[i].wire {
			w.wire[i][k] = current{math.Abs(a), -1}
		}
		for j, a := range f.state[i].leads {
			w.leads[i][j] = current{math.Abs(a), -1}
		}
	}
	if volts <= 0 {
		return w
	}
	for i, r := range f.rails {
		r.reach()
		m.reach[i].reset(r, n)
	}
	reached := func(k int) bool { return plus.piece[k] >= 0 && minus.piece[k] >= 0 }
	var begin, end fault
	last := 0 // node of the stretch that lies in one section of each rail
	for k := 1; k < n; k++ {
		if !reached(k) {
			continue
		}
		if k <= last {
			begin = end // the same place, seen already from the piece before
			m.near(k, 0, &begin)
		} else {
			f.bind(plus.piece[k])
			begin = f.at(k, 0)
			if k > 1 && reached(k-1) { // a lead between: seen as well
				m.near(k, 0, &begin)
			} else {
				m.see(k, 0, &begin)
			}
			last = min(plus.sections[plus.piece[k]].to, minus.sections[minus.piece[k]].to)
		}
		if to := m.along(k, last, &begin); to >= k {
			k, end = to, f.at(to, 1)
			begin = end
		} else {
			end = f.at(k, 1)
		}
		m.turns(k, 0, 1, &begin, &end)
		// While one fuse binds, all that a fault brings elsewhere only rises or only falls from
		// piece to piece of a section as well: the ends of such a stretch are seen, and no more. Where
		// one fuse takes over from another, that is inside the piece.
		if k == last || end.by < 0 || begin.by < 0 {
			m.see(k, 1, &end)
		} else {
			m.near(k, 1, &end)
		}
	}
	for i, r := range f.rails {
		m.reach[i].spread(r, f.state[i].wire, w.wire[i])
	}
	return w
}

// near takes a fault for the piece that it is on, its own sections' share of it.
func (m *memory) near(k int, share float64, at *fault) {
	for i := range m.reach {
		m.reach[i].near(&at.draw[i], k, float64(k-1)+share, at.amps)
	}
}

// see takes a fault on piece k for all leads and sections.
func (m *memory) see(k int, share float64, at *fault) {
	f, place := &m.faults, float64(k-1)+share
	for i, r := range f.rails {
		leads := m.worst.leads[i]
		for j, part := range r.mixed(&at.draw[i], r.current, len(leads)) {
			leads[j].raise(f.state[i].leads[j]+at.amps*part, place)
		}
		m.reach[i].away(r, &at.draw[i], place, at.amps)
	}
	m.near(k, share, at)
}

// turns sees all places between two shares along piece k at which something else begins to
// bind, from what binds at one to what binds at the other.
func (m *memory) turns(k int, from, to float64, begin, end *fault) {
	f := &m.faults
	if begin.by == end.by {
		return
	}
	if begin.by >= 0 && end.by >= 0 { // straight lines that cross; a third may lie above them there
		was, is := &f.bounds[begin.by], &f.bounds[end.by]
		a, b := was.at(&begin.draw[0])-is.at(&begin.draw[0]), is.at(&end.draw[0])-was.at(&end.draw[0])
		share := from + (to-from)*a/max(a+b, 1e-300)
		x := f.at(k, share)
		m.see(k, share, &x)
		if x.by != begin.by && x.by != end.by && from < share && share < to {
			m.turns(k, from, share, begin, &x)
			m.turns(k, share, to, &x, end)
		}
		return
	}
	for to-from > 1e-5 { // of a pitch, which no ampere shows
		if mid := (from + to) / 2; f.at(k, mid).by == begin.by {
			from = mid
		} else {
			to = mid
		}
	}
	for _, share := range []float64{from, to} {
		x := f.at(k, share)
		m.see(k, share, &x)
	}
}

// along goes from a fault at the begin of piece k over the pieces up to node last, all in one
// section of each rail, for as long as the fuse that binds it does so alone, and returns the last
// of these pieces; k-1: none. What the fuses allow are straight lines: one that binds at two
// places binds between them.
func (m *memory) along(k, last int, begin *fault) (to int) {
	f := &m.faults
	if begin.by < 0 {
		return k - 1
	}
	if to = last; f.fuse(last) != begin.by {
		to = k - 1 + sort.Search(last-k, func(i int) bool { return f.fuse(k+i) != begin.by })
	}
	bound, plus, minus := f.bounds[begin.by], f.rails[0].ends, f.rails[1].ends
	was := [2]own{begin.draw[0].own(begin.amps), begin.draw[1].own(begin.amps)}
	for i := k; i <= to; i++ {
		amps := 1 / bound.at(&plus[i])
		if f.state[0].lost[i]+f.state[1].lost[i]+amps*(plus[i].ohms+minus[i].ohms) >= f.volts { // a dead short draws less
			return i - 1
		}
		is := [2]own{plus[i].own(amps), minus[i].own(amps)}
		for r := range is {
			m.reach[r].left[i].rise(was[r].left, is[r].left, i)
			m.reach[r].right[i].rise(was[r].right, is[r].right, i)
		}
		was = is
	}
	return to
}

// An own is what a fault brings to its own section before and after its place, rightwards and leftwards.
type own struct{ left, right float64 }

func (d *draw) own(amps float64) own { return own{d.left * amps, -d.right * amps} }

// rise is up at both ends of the piece that leads to a node.
func (c *current) rise(begin, end float64, node int) {
	c.up(begin, float64(node-1))
	c.up(end, float64(node))
}

// memory is what one case after another is worked out in.
type memory struct {
	faults  faults
	worst   worst
	reach   [2]reaches
	plus    [2]rail // of the string, and of what it is changed to
	minus   rail
	without rail
	trial   pieces // of a mend
}

// faults are all that a case may have.
type faults struct {
	rails  [2]*rail
	state  [2]*state // without a fault
	holds  []float64
	volts  float64
	bounds []bound // in one section of V+
}

// A bound is a fuse that a fault may load: the faults that it allows are below one over the
// share of each lead of the section times its figure.
type bound struct{ left, right float64 }

func (b *bound) at(d *draw) float64 { return d.wl*b.left + d.wr*b.right }

// bind finds the bounds in a section of V+.
func (f *faults) bind(t int) {
	r, s := f.rails[0], f.rails[0].sections[t]
	f.bounds = f.bounds[:0]
	for j, hold := range f.holds {
		var b bound
		left := max(hold-f.state[0].leads[j], 1e-15) // a fuse that stands at what it holds leaves nothing
		if s.left >= 0 {
			b.left = r.current[s.left][j] / left
		}
		if s.right >= 0 {
			b.right = r.current[s.right][j] / left
		}
		if hold > 0 && max(b.left, b.right) > 0 {
			f.bounds = append(f.bounds, b)
		}
	}
}

// fuse is the one that would bind at a node if no dead short drew less.
func (f *faults) fuse(k int) int {
	most, by := 0.0, -1
	for i := range f.bounds {
		if b := f.bounds[i].at(&f.rails[0].ends[k]); b > most {
			most, by = b, i
		}
	}
	return by
}

// A fault is the one that draws most at its place while no fuse opens.
type fault struct {
	draw [2]draw
	amps float64
	by   int // the fuse that binds, of the section's bounds; -1: none, it is a dead short
}

// at is the fault some share along the piece of wire that leads to node k.
func (f *faults) at(k int, share float64) fault {
	var x fault
	volts, ohms := f.volts, 0.0
	for i, r := range f.rails {
		if share == 1 {
			x.draw[i] = r.ends[k]
		} else {
			x.draw[i] = r.draw(r.piece[k], r.pos[k-1]+share*(r.pos[k]-r.pos[k-1]))
		}
		ohms += x.draw[i].ohms
		lost := f.state[i].lost
		volts -= lost[k-1] + share*(lost[k]-lost[k-1])
	}
	least := ohms / max(volts, 1e-15)
	x.by = -1
	for i := range f.bounds {
		if l := f.bounds[i].at(&x.draw[0]); l > least {
			least, x.by = l, i
		}
	}
	x.amps = 1 / least
	return x
}

func (c *current) raise(amps, place float64) {
	c.up(math.Abs(amps), place)
}

// up keeps the greatest; of places that are as bad, the first.
func (c *current) up(amps, place float64) {
	if amps > c.amps {
		if amps > c.amps*(1+1e-9)+1e-9 {
			c.place = place
		}
		c.amps = amps
	}
}

// reaches gathers what faults add to the currents of a rail's sections.
type reaches struct {
	left, right []current // by node: what faults on the piece that leads there bring to its own section, rightwards and leftwards
	up, down    []current // by section, from faults in other sections
}

func (x *reaches) reset(r *rail, n int) {
	x.left, x.right = sized(x.left, n), sized(x.right, n)
	x.up, x.down = sized(x.up, len(r.sections)), sized(x.down, len(r.sections))
}

// near is for the section of the fault itself.
func (x *reaches) near(d *draw, piece int, place, amps float64) {
	own := d.own(amps)
	x.left[piece].up(own.left, place)
	x.right[piece].up(own.right, place)
}

// away is for the other sections.
func (x *reaches) away(r *rail, d *draw, place, amps float64) {
	for t, share := range r.mixed(d, r.through, len(r.sections)) {
		if t == d.section {
			continue
		}
		a := amps * share
		x.up[t].up(a, place)
		x.down[t].up(-a, place)
	}
}

// spread raises each piece of wire to the worst that reaches it.
func (x *reaches) spread(r *rail, load []float64, to []current) {
	for t, s := range r.sections {
		if s.left < 0 && s.right < 0 {
			continue
		}
		before, after := current{0, -1}, current{0, -1}
		for k := s.to; k > s.from; k-- { // faults to its right
			before.up(x.left[k].amps, x.left[k].place)
			to[k].raise(load[k]+before.amps, before.place)
		}
		for k := s.from + 1; k <= s.to; k++ {
			after.up(x.right[k].amps, x.right[k].place)
			to[k].raise(load[k]-after.amps, after.place)
			to[k].raise(load[k]+x.up[t].amps, x.up[t].place)
			to[k].raise(load[k]-x.down[t].amps, x.down[t].place)
		}
	}
}
