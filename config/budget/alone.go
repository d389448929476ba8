package budget

import "slices"

// Volts for an ampere are kept of a group with no more unknowns: 32 MiB.
const mostKept = 2048

// An alone is one string of a group that is changed while the others stay as they are. It
// changes what few feeders see, so that the equations of all need not be solved anew: what it
// draws otherwise is an ampere here and there, and what an ampere does is known.
type alone struct {
	l      *ladder
	volts  []float64   // of the feeders, as solved for the whole
	block  [][]float64 // of the string, as counted there
	offset []float64
}

// changing begins to change a string of a group that is solved, and returns what ends it. Where
// too much would have to be kept it does nothing: the equations are then solved anew.
func (g *group) changing(l *ladder, whole []float64) (end func()) {
	if len(l.coupled) == 0 || len(g.u) > mostKept {
		return func() {}
	}
	x := &alone{l: l, volts: whole, offset: slices.Clone(l.offset)}
	for _, row := range l.block {
		x.block = append(x.block, slices.Clone(row))
	}
	g.alone = x
	return func() { g.alone = nil }
}

// ampere is what the volts of the feeders gain by an ampere into one of them; false: nothing
// that makes sense.
func (g *group) ampere(unknown int) ([]float64, bool) {
	if v, ok := g.amperes[unknown]; ok {
		return v, true
	}
	into, v := make([]float64, len(g.u)), make([]float64, len(g.u))
	into[unknown] = 1
	if !g.matrix.solve(into, v) {
		return nil, false
	}
	if g.amperes == nil {
		g.amperes = map[int][]float64{}
	}
	g.amperes[unknown] = v
	return v, true
}

// solve finds the feeders' volts now that the string's block and offset are others: the
// amperes y that it brings besides, terminal by terminal, are those of its change at the volts
// v that they themselves lead to, y = -dOffset - dBlock·v (Woodbury's identity).
func (x *alone) solve(g *group) bool {
	l := x.l
	n := len(l.coupled)
	gain := make([][]float64, n)
	for i, t := range l.coupled {
		v, ok := g.ampere(l.terms[t].feeder)
		if !ok {
			return false
		}
		gain[i] = v
	}
	a, y := make([][]float64, n), make([]float64, n)
	for i := range n {
		a[i] = make([]float64, n)
		a[i][i] = 1
		y[i] = x.offset[i] - l.offset[i]
		for j, t := range l.coupled {
			d := l.block[i][j] - x.block[i][j]
			if d == 0 {
				continue
			}
			y[i] -= d * x.volts[l.terms[t].feeder]
			for k := range n {
				a[i][k] += d * gain[k][l.terms[t].feeder]
			}
		}
	}
	if !eliminate(a, y) {
		return false
	}
	copy(g.u, x.volts)
	for i, amps := range y {
		if amps == 0 {
			continue
		}
		for k, v := range gain[i] {
			g.u[k] += amps * v
		}
	}
	return true
}
