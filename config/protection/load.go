package protection

import "slices"

// A load is what is drawn at each node, and at each box by other strings; no others: dark.
type load struct{ nodes, others []float64 }

func (l load) is(o load) bool {
	same := func(a, b []float64) bool { return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0]) }
	return same(l.nodes, o.nodes) && same(l.others, o.others)
}

// A state is the currents of a rail under a load.
type state struct {
	load  load
	leads []float64 // and feeders after them
	wire  []float64 // wire[k]: amperes from node k-1 to k
	lost  []float64 // volts by node
	at    []float64 // what the load is worth at each lead and feeder
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

// table is so many rows of noughts, in the memory of another where it has room.
func table(of [][]float64, rows, columns int) [][]float64 {
	if cap(of) < rows {
		of = append(of[:cap(of)], make([][]float64, rows-cap(of))...)
	}
	of = of[:rows]
	for i := range of {
		of[i] = sized(of[i], columns)
	}
	return of
}

// loaded is the rail under a load that nobody changes afterwards.
func (r *rail) loaded(l load) *state {
	for _, st := range r.states[:r.solved] {
		if st.load.is(l) {
			return st
		}
	}
	if r.solved == len(r.states) {
		r.states = append(r.states, new(state))
	}
	st := r.states[r.solved]
	r.solved++
	st.load = l
	st.solve(r)
	return st
}

// solve superposes what is drawn.
func (st *state) solve(r *rail) {
	n, m := len(r.leads), len(r.leads)+len(r.feeders)
	st.leads, st.wire, st.lost, st.at = sized(st.leads, m), sized(st.wire, len(r.pos)), sized(st.lost, len(r.pos)), sized(st.at, m)
	amps := st.load.nodes
	for k, a := range amps {
		if t := r.of[k]; t >= 0 && a != 0 {
			s := &r.sections[t]
			x := 1.0
			if s.left >= 0 && s.right >= 0 {
				x = (r.pos[k] - r.pos[s.from]) / r.ohms(*s)
				st.at[s.left] += a * (1 - x)
			} else if s.left >= 0 {
				st.at[s.left] += a
			}
			if s.right >= 0 {
				st.at[s.right] += a * x
			}
		}
	}
	if st.load.others != nil {
		for h, f := range r.feeders {
			st.at[n+h] += st.load.others[f.box]
		}
	}
	if !slices.ContainsFunc(st.at, func(amps float64) bool { return amps != 0 }) { // dark
		return
	}
	r.drop = sized(r.drop, m)
	drop := r.drop
	for p, a := range st.at {
		if a == 0 {
			continue
		}
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
