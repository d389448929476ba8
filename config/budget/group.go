package budget

import (
	"math"
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

// feedSupply is the supply that a feed hangs on, over its feeder or not; nil: not
// known.
func feedSupply(f *config.Feed) *config.Supply {
	if f.Feeder != nil {
		return f.Feeder.Supply
	}
	return f.Supply
}

func feedVolts(s *config.String, f *config.Feed) float64 {
	if supply := feedSupply(f); supply != nil {
		return supply.Volts
	}
	return s.Volts
}

func newGroup(strings []*config.String, feeders []*config.Feeder, celsius float64) *group {
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
		c := 1 / max(wireOhms(f.Wire, celsius), noLengthOhms)
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
	g.u = append([]float64(nil), g.supply...)
	g.rhs = make([]float64, len(g.u))
	for _, s := range strings {
		l := &ladder{}
		l.build(s, celsius, g.rails)
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

// A law is how a string's pixels draw current.
type law struct {
	kind    config.LoadKind
	nominal float64 // volts at which a pixel draws its stated amperes
	fade    Fade
}

// at returns what a pixel of so many nominal amperes draws at v volts, and how
// that changes with the volts.
func (w law) at(amps, v float64, m mode) (current, slope float64) {
	switch {
	case amps == 0 || m == constant:
	case w.kind == config.LoadPower && w.nominal > 0:
		p := amps * w.nominal
		return p / v, -p / (v * v)
	case m == careful:
	case w.kind == config.LoadResistor && w.nominal > 0:
		return amps / w.nominal * v, amps / w.nominal
	case w.kind == config.LoadCurrent && w.fade.ZeroVolts > 0 && v < w.fade.LowestVolts:
		if v <= w.fade.ZeroVolts {
			return 0, 0
		}
		slope = amps / (w.fade.LowestVolts - w.fade.ZeroVolts)
		return slope * (v - w.fade.ZeroVolts), slope
	}
	return amps, 0
}

const (
	settled    = 1e-8 // volts: a step below this ends the iteration
	maxNewton  = 60
	maxHalving = 20
)

// solve finds the state of the group when each pixel draws by the mode; draw
// gives each node's nominal amperes. It reports false when there is no state: a
// switching regulator that cannot get its power pulls its volts down for good.
//
// It is Newton's method. From the volts of the unloaded wire downwards it cannot
// step past the state that regulators settle in, since their current is a convex
// function of the volts. Dropout is not convex, but the whole is then the
// gradient of a convex energy, and halving any step that runs past the valley's
// floor makes it converge.
func (g *group) solve(active []*ladder, draw func(l *ladder, node int) float64, m mode) bool {
	nominal := make([][]float64, len(active))
	plain := true
	for i, l := range active {
		l.slope = nil
		for k := range l.amps {
			l.amps[k] = draw(l, k)
		}
		plain = plain && l.law.linear(m)
		nominal[i] = nil
	}
	if plain {
		if !g.linear(active) {
			return false
		}
		for _, l := range active {
			l.read()
		}
		return true
	}
	for i, l := range active {
		nominal[i] = append([]float64(nil), l.amps...)
		clear(l.amps)
		clear(l.passed)
	}
	if !g.linear(active) {
		return false
	}
	for _, l := range active {
		l.read()
		l.slope = make([]float64, l.nodes)
	}
	defer func() {
		for _, l := range active {
			l.slope = nil
		}
	}()
	before := make([][]float64, len(active)) // volts
	flow := make([][]float64, len(active))   // what the linearised loads would take
	for i, l := range active {
		before[i] = make([]float64, l.nodes)
		flow[i] = make([]float64, l.nodes)
	}
	for range maxNewton {
		down := 0.0 // how fast the energy falls along the step
		for i, l := range active {
			copy(before[i], l.volt)
			for k, a := range nominal[i] {
				amps, slope := l.law.at(a, l.volt[k], m)
				l.slope[k] = slope
				l.amps[k] = amps - slope*l.volt[k]
			}
		}
		if !g.linear(active) {
			return false
		}
		step := 0.0
		for i, l := range active {
			l.read()
			for k, v := range l.volt {
				d := v - before[i][k]
				step = max(step, math.Abs(d))
				amps, _ := l.law.at(nominal[i][k], before[i][k], m)
				down += (amps - l.passed[k]) * d
				flow[i][k] = l.amps[k] + l.slope[k]*v
				if !(v > 0) && l.law.kind == config.LoadPower && nominal[i][k] > 0 {
					return false
				}
			}
		}
		if step < settled {
			return true
		}
		share := 1.0
		for range maxHalving {
			slope := 0.0
			for i, l := range active {
				for k, v := range l.volt {
					d := v - before[i][k]
					amps, _ := l.law.at(nominal[i][k], before[i][k]+share*d, m)
					slope += (amps - l.passed[k] - share*(flow[i][k]-l.passed[k])) * d
				}
			}
			if slope <= math.Abs(down)/2 {
				break
			}
			share /= 2
		}
		for i, l := range active {
			for k := range l.volt {
				l.volt[k] = before[i][k] + share*(l.volt[k]-before[i][k])
				l.passed[k] += share * (flow[i][k] - l.passed[k])
			}
		}
	}
	return false
}

// linear reports whether pixels draw the same at any volts.
func (w law) linear(m mode) bool {
	switch {
	case m == constant:
		return true
	case w.kind == config.LoadPower:
		return w.nominal <= 0
	case m == careful:
		return true
	case w.kind == config.LoadResistor:
		return w.nominal <= 0
	}
	return w.fade.ZeroVolts <= 0
}
