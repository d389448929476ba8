package yard

import "math"

const (
	settledVolts = 1e-8
	mostSteps    = 80
	mostRounds   = 6 // of volts, then chips that go off, then volts
)

// settle makes the volts of a string's group those of the light that is lit. Chips
// without enough volts forget what they hold and pass nothing on, which changes the
// light again.
func (y *Yard) settle(n int) *group {
	g := y.groups[y.groupOf[n]]
	for range mostRounds {
		if g.solved {
			break
		}
		g.solve()
		changed := false
		for _, c := range g.strings {
			for k, v := range c.volts {
				if alive := v >= c.law.least; alive != c.alive[k] {
					c.alive[k], changed = alive, true
					clear(c.latched[k*c.width : (k+1)*c.width])
				}
			}
		}
		if changed {
			for _, l := range y.lines {
				for _, n := range l.strings {
					if y.groups[y.groupOf[n]] == g && l.ever {
						l.shift(y)
						break
					}
				}
			}
			g.solved = false
		}
	}
	g.solved = true
	return g
}

// solve finds the volts by Newton's method; from the unloaded wire downwards, with
// shorter steps when the load finds no rest.
func (g *group) solve() {
	if g.net == nil {
		g.net = g.network()
	}
	unloaded := 0.0
	for _, l := range g.links {
		if l.supply != nil && !l.supply.off {
			unloaded = max(unloaded, l.supply.volts)
		}
	}
	for _, c := range g.strings {
		c.draw()
		for k := range len(c.alive) + 1 {
			g.x[c.base+2*k], g.x[c.base+2*k+1] = unloaded, 0
		}
	}
	next := make([]float64, len(g.x))
	step := 1.0
	g.settled = false
	for i := range mostSteps {
		g.stamp(next)
		if !g.net.solve(next) {
			break
		}
		worst := 0.0
		for j, v := range next {
			d := v - g.x[j]
			worst = max(worst, math.Abs(d))
			g.x[j] += step * d
		}
		if worst < settledVolts {
			g.settled = true
			break
		}
		if i > 10 {
			step = max(0.1, step*0.9)
		}
	}
	for _, c := range g.strings {
		for k := range c.volts {
			c.volts[k] = g.x[c.base+2*k+2] - g.x[c.base+2*k+3]
		}
	}
	g.solved = true
}

// stamp fills the network with the wire and with what the loads do near the volts
// they have; b gets what flows into each node.
func (g *group) stamp(b []float64) {
	m := g.net
	m.reset()
	clear(b)
	for _, l := range g.links {
		conductance := l.g
		if l.supply != nil && l.supply.off {
			conductance = closedGap
		}
		if l.b >= 0 {
			m.add(l.a, l.b, conductance)
			continue
		}
		m.diag[l.a] += conductance
		if l.supply != nil && !l.supply.off {
			b[l.a] += conductance * l.supply.volts
		}
	}
	for _, c := range g.strings {
		m.add(c.base, c.base+1, strayLeak)
		for k := range c.alive {
			plus, minus := c.base+2*k+2, c.base+2*k+3
			v := g.x[plus] - g.x[minus]
			amps, slope := c.law.at(v, c.red[k], c.rest[k], c.idle[k])
			m.add(plus, minus, slope+strayLeak)
			m.diag[minus] += closedGap
			b[plus] -= amps - slope*v
			b[minus] += amps - slope*v
			if c.leak > 0 && k+1 == c.leakNode {
				m.add(plus, minus, c.leak/c.law.nominal)
			}
		}
	}
}
