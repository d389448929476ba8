package budget

import (
	"slices"

	"yardproof/config"
)

// A group is what has to be solved together: one string, or all strings that
// feeders tie to each other. Each string is a ladder with few feeders, so the
// ladders are eliminated first and what is left has one unknown for each
// conductor of a feeder (the Schur complement).
type group struct {
	ladders []*ladder
	feeders []*config.Feeder
	rails   int
	index   map[*config.Feeder]int

	supply []float64 // by feeder unknown: volts of its supply's rail
	g      []float64 // conductance of the feeder's conductor, or loop
	u      []float64 // volts at its far end
	matrix sparse
	rhs    []float64
	broken bool // the equations lack a ladder, since it had no state

	alone   *alone            // the string that is changed while the others stay; nil: none
	amperes map[int][]float64 // by unknown: see ampere
}

// mode says how far the solve follows what pixels do when their volts are not
// the nominal ones.
type mode int

const (
	constant mode = iota // every pixel draws its constant current
	careful              // as constant, but switching regulators draw more as volts fall: what fuses must bear
	aware                // each by its law, dropout included: what a meter would read
)

// sources connects the ladder's terms to supplies and feeders. A feed without a
// supply is taken at the string's own volts.
func (g *group) sources(l *ladder) {
	for i := range l.terms {
		t := &l.terms[i]
		f := l.s.Feeds[t.feed]
		ret := !l.positive(*t)
		if j, ok := g.index[f.Feeder]; ok {
			t.feeder = j * g.rails
			if ret {
				t.feeder++
			}
		}
		if t.feeder >= 0 {
			l.coupled = append(l.coupled, i)
			continue
		}
		if t.volts = feedVolts(l.s, f); ret {
			t.volts = 0
		}
	}
	n := len(l.coupled)
	l.offset = zeros(l.offset, n)
	l.block = make([][]float64, n)
	for i := range l.block {
		l.block[i] = make([]float64, n)
	}
	l.x = zeros(l.x, l.nodes*l.rails)
	l.volt = zeros(l.volt, l.nodes)
	l.passed = zeros(l.passed, l.nodes)
	l.amps = zeros(l.amps, l.nodes)
}

func feedVolts(s *config.String, f *config.Feed) float64 {
	if f.Supply != nil {
		return f.Supply.Volts
	}
	return s.Volts
}

func newGroup(strings []*config.String, feeders []*config.Feeder, celsius float64, at corner) *group {
	g := &group{feeders: feeders, rails: 1, index: make(map[*config.Feeder]int, len(feeders))}
	for i, f := range feeders {
		g.index[f] = i
	}
	for _, s := range strings {
		if len(s.CutPositiveAfter) > 0 {
			g.rails = 2
		}
	}
	for _, f := range feeders {
		c := 1 / at.ohms(f.Wire, config.Celsius(f.Temperature, celsius))
		volts := 0.0
		if f.Supply != nil {
			volts = f.Supply.Volts
		}
		if g.rails == 1 {
			g.g = append(g.g, c/2)
			g.supply = append(g.supply, volts)
		} else {
			g.g = append(g.g, c, c)
			g.supply = append(g.supply, volts, 0)
		}
	}
	g.u = slices.Clone(g.supply)
	g.rhs = make([]float64, len(g.u))
	for _, s := range strings {
		l := &ladder{}
		l.build(s, celsius, g.rails, at)
		g.sources(l)
		l.pieces()
		g.ladders = append(g.ladders, l)
	}
	return g
}

// linear solves the group for the loads in the active ladders' amps and slope;
// the others keep the block and offset of their last solve. It reports false
// when the network has no stable state.
func (g *group) linear(active []*ladder) bool {
	if x := g.alone; x != nil && len(active) == 1 && active[0] == x.l {
		if !x.l.assemble() {
			return false
		}
		x.l.inject(nil)
		x.l.reduce()
		if !x.solve(g) {
			return false
		}
		x.l.inject(g.u)
		return true
	}
	if len(active) == len(g.ladders) || g.broken {
		g.matrix.reset(len(g.u))
		for a, c := range g.g {
			g.matrix.add(a, a, c)
			g.rhs[a] = c * g.supply[a]
		}
		if len(active) < len(g.ladders) {
			for _, l := range g.ladders {
				if !slices.Contains(active, l) {
					g.count(l, 1)
				}
			}
		}
	} else {
		for _, l := range active {
			g.count(l, -1)
		}
	}
	g.broken = true
	for _, l := range active {
		if !l.assemble() {
			return false
		}
		l.inject(nil)
		l.reduce()
		g.count(l, 1)
	}
	g.broken = false
	if len(g.u) == 0 {
		return true
	}
	if !g.matrix.solve(g.rhs, g.u) {
		return false
	}
	for _, l := range active {
		if len(l.coupled) > 0 {
			l.inject(g.u)
		}
	}
	return true
}

// count adds what the feeders see of a ladder to their equations, or with -1
// takes it out again.
func (g *group) count(l *ladder, sign float64) {
	for i, ti := range l.coupled {
		a := l.terms[ti].feeder
		g.rhs[a] -= sign * l.offset[i]
		for j, tj := range l.coupled {
			g.matrix.add(a, l.terms[tj].feeder, sign*l.block[i][j])
		}
	}
}

// inject solves the ladder with its feeders' far ends at the volts u; nil: at 0.
func (l *ladder) inject(u []float64) {
	clear(l.x)
	if l.rails == 1 {
		for k, a := range l.amps {
			l.x[k] = -a
		}
	} else {
		for k, a := range l.amps {
			l.x[2*k], l.x[2*k+1] = -a, a
		}
	}
	for _, t := range l.terms {
		switch {
		case t.lost:
		case t.feeder < 0:
			l.x[t.unknown] += t.g * t.volts
		case u != nil:
			l.x[t.unknown] += t.g * u[t.feeder]
		}
	}
	l.matrix.solve(l.x)
}

// reduce fills in what the feeders see, after inject(nil).
func (l *ladder) reduce() {
	if len(l.coupled) == 0 {
		return
	}
	for i, ti := range l.coupled {
		t := l.terms[ti]
		l.offset[i] = 0
		if !t.lost {
			l.offset[i] = -t.g * l.x[t.unknown]
		}
	}
	var unit []float64
	for j, tj := range l.coupled {
		from := l.terms[tj]
		if from.lost {
			for i := range l.coupled {
				l.block[i][j] = 0
			}
			continue
		}
		unit = l.unit(from, unit)
		for i, ti := range l.coupled {
			to := l.terms[ti]
			l.block[i][j] = 0
			if !to.lost {
				l.block[i][j] = -to.g * from.g * unit[to.unknown]
			}
		}
		l.block[j][j] += from.g
	}
}

// unit returns the volts that one ampere into a term gives every unknown.
func (l *ladder) unit(t term, into []float64) []float64 {
	into = zeros(into, l.nodes*l.rails)
	into[t.unknown] = 1
	l.matrix.solve(into)
	return into
}

// termAmps is the current from the source into a term.
func (g *group) termAmps(l *ladder, t term) float64 {
	if t.lost {
		return 0
	}
	u := t.volts
	if t.feeder >= 0 {
		u = g.u[t.feeder]
	}
	return t.g * (u - l.x[t.unknown])
}
