package protection

import "math"

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

// worstCase finds the greatest currents on V+ and return, with loads in amperes by
// node; nil: dark. Holds are amperes that the fuses of V+'s leads and feeders hold for ever; 0:
// not known, which binds nothing.
//
// At a given place everything grows in proportion to the fault's current, so the
// worst resistance is the one at which the first fuse stands at what it holds, or
// none at all. Along a piece of wire the shares of an ampere are linear in the place
// and what the fault may draw is bound by one thing at a time, so that every current
// only rises or only falls: the worst place is an end of the piece, or where the
// binding changes.
func (m *memory) worstCase(plus, minus *rail, holds, loads []float64, volts float64) *worst {
	f := &m.faults
	f.rails, f.holds, f.volts = [2]*rail{plus, minus}, holds, volts
	n := len(plus.pos)
	w := &m.worst
	for i, r := range f.rails {
		if loads != nil {
			f.state[i] = r.loaded(loads)
		} else {
			d := &m.dark[i]
			d.leads, d.wire, d.lost = sized(d.leads, len(r.leads)+len(r.feeders)), sized(d.wire, n), sized(d.lost, n)
			f.state[i] = d
		}
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
	see := func(k int, share float64, at *fault) {
		place := float64(k-1) + share
		for i, r := range f.rails {
			for j := range w.leads[i] {
				w.leads[i][j].raise(f.state[i].leads[j]+at.amps*r.mix(at.draw[i], r.current, j), place)
			}
			m.reach[i].away(r, at.draw[i], place, at.amps)
			m.reach[i].near(at.draw[i], k, place, at.amps)
		}
	}
	var begin, end fault
	for k := 1; k < n; k++ {
		if plus.piece[k] < 0 || minus.piece[k] < 0 {
			continue
		}
		if plus.piece[k-1] == plus.piece[k] && minus.piece[k-1] == minus.piece[k] {
			begin = end // the same place, seen already from the piece before
			for i := range f.rails {
				m.reach[i].near(begin.draw[i], k, float64(k-1), begin.amps)
			}
		} else {
			begin = f.at(k, 0)
			see(k, 0, &begin)
		}
		end = f.at(k, 1)
		see(k, 1, &end)
		if by := begin.by; by != end.by {
			lo, hi := 0.0, 1.0
			for range 16 { // to a fraction of a pitch that no ampere shows
				if mid := (lo + hi) / 2; f.at(k, mid).by == by {
					lo = mid
				} else {
					hi = mid
				}
			}
			for _, share := range []float64{lo, hi} {
				x := f.at(k, share)
				see(k, share, &x)
			}
		}
	}
	for i, r := range f.rails {
		m.reach[i].spread(r, f.state[i].wire, w.wire[i])
	}
	return w
}

// memory is what one case after another is worked out in.
type memory struct {
	faults faults
	worst  worst
	reach  [2]reaches
	dark   [2]state
}

// faults are all that a case may have.
type faults struct {
	rails [2]*rail
	state [2]*state // without a fault
	holds []float64
	volts float64
}

// A fault is the one that draws most at its place while no fuse opens.
type fault struct {
	draw [2]draw
	amps float64
	by   int // the fuse that binds; -1: none, it is a dead short
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
	x.amps, x.by = math.Max(volts, 0)/ohms, -1
	for j, hold := range f.holds {
		a := f.rails[0].mix(x.draw[0], f.rails[0].current, j)
		if hold <= 0 || a <= 1e-12 {
			continue
		}
		if most := math.Max((hold-f.state[0].leads[j])/a, 0); most < x.amps {
			x.amps, x.by = most, j
		}
	}
	return x
}

func (c *current) raise(amps, place float64) {
	if a := math.Abs(amps); a > c.amps {
		c.amps, c.place = a, place
	}
}

// reaches gathers what faults add to the currents of a rail's sections.
type reaches struct {
	left, right []current // by node: what faults on the piece that leads there bring to its own section, from either side
	up, down    []current // by section, from faults in other sections
}

func (x *reaches) reset(r *rail, n int) {
	x.left, x.right = sized(x.left, n), sized(x.right, n)
	x.up, x.down = sized(x.up, len(r.sections)), sized(x.down, len(r.sections))
}

// near is for the section of the fault itself.
func (x *reaches) near(d draw, piece int, place, amps float64) {
	if a := d.left * amps; a > x.left[piece].amps {
		x.left[piece] = current{a, place}
	}
	if a := d.right * amps; a < x.right[piece].amps {
		x.right[piece] = current{a, place}
	}
}

// away is for the other sections.
func (x *reaches) away(r *rail, d draw, place, amps float64) {
	for t := range r.sections {
		if t == d.section {
			continue
		}
		a := amps * r.mix(d, r.through, t)
		if a > x.up[t].amps {
			x.up[t] = current{a, place}
		}
		if a < x.down[t].amps {
			x.down[t] = current{a, place}
		}
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
			if x.left[k].amps > before.amps {
				before = x.left[k]
			}
			to[k].raise(load[k]+before.amps, before.place)
		}
		for k := s.from + 1; k <= s.to; k++ {
			if x.right[k].amps < after.amps {
				after = x.right[k]
			}
			for _, e := range []current{after, x.up[t], x.down[t]} {
				to[k].raise(load[k]+e.amps, e.place)
			}
		}
	}
}
