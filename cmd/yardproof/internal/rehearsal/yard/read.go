package yard

import (
	"math"

	"yardproof/config"
)

// Colour is what an eye sees of a pixel: how bright each LED is, 0 to 255.
type Colour struct{ R, G, B, W uint8 }

// Look appends what the lit pixels of a string show to dst, copies included, null
// pixels not. The string is given by its index in the plan.
func (y *Yard) Look(dst []Colour, n int) []Colour {
	c := y.circuit(n)
	for k := c.plan.NullPixels; k < len(c.alive); k++ {
		var o Colour
		if c.alive[k] && !c.dark[k] {
			for i, v := range c.latched[k*c.width : (k+1)*c.width] {
				letter := c.colour[i]
				if v == 0 || letter == c.noDie[k] {
					continue
				}
				lit := uint8(math.Round(float64(v) * c.law.light(c.volts[k], letter)))
				switch letter {
				case 'R':
					o.R = lit
				case 'G':
					o.G = lit
				case 'B':
					o.B = lit
				case 'W':
					o.W = lit
				}
			}
		}
		dst = append(dst, o)
	}
	return dst
}

// circuit settles a string and returns it.
func (y *Yard) circuit(n int) *circuit {
	for _, c := range y.settle(n).strings {
		if c.index == n {
			return c
		}
	}
	return nil
}

// Volts is what is between V+ and return at a lit pixel of a string, from 1; at 0,
// ahead of the first one, where `at: start` joins. Of copies it is the last one's.
func (y *Yard) Volts(n, pixel int) float64 {
	c := y.circuit(n)
	k := 0
	if pixel > 0 {
		k = min(c.plan.NullPixels+pixel*c.copies, len(c.alive))
	}
	g := y.groups[y.groupOf[n]]
	return g.x[c.base+2*k] - g.x[c.base+2*k+1]
}

// FeedAmps is what flows in the V+ lead of a feed of a string, from 0 as in the plan.
func (y *Yard) FeedAmps(n, feed int) float64 {
	c := y.circuit(n)
	g := y.groups[y.groupOf[n]]
	return g.flow(g.links[c.feeds[feed]])
}

// ReturnAmps is what flows back in the return lead of a feed of a string, from 0.
func (y *Yard) ReturnAmps(n, feed int) float64 {
	c := y.circuit(n)
	g := y.groups[y.groupOf[n]]
	return -g.flow(g.links[c.feeds[feed]+1])
}

// WireAmps is what flows in V+ from a lit pixel of a string, from 0, towards the next.
func (y *Yard) WireAmps(n, pixel int) float64 {
	c := y.circuit(n)
	k := c.plan.NullPixels + pixel*c.copies + 1
	if k > len(c.alive) {
		return 0
	}
	g := y.groups[y.groupOf[n]]
	l := g.links[c.wires[k]]
	return l.g * (g.x[l.a] - g.x[l.b])
}

// flow is the current into node a of a link.
func (g *group) flow(l link) float64 {
	switch {
	case l.b >= 0:
		return l.g * (g.x[l.b] - g.x[l.a])
	case l.supply == nil:
		return -l.g * g.x[l.a]
	case l.supply.off:
		return 0
	}
	return l.g * (l.supply.volts - g.x[l.a])
}

// SupplyVolts is what a supply has at its terminals.
func (y *Yard) SupplyVolts(p *config.Supply) float64 {
	for _, s := range y.supplies {
		if s.plan == p && !s.off {
			return s.volts
		}
	}
	return 0
}

func (y *Yard) supplyAmps(s *supply) float64 {
	sum := 0.0
	for _, g := range y.groups {
		for _, l := range g.links {
			if l.supply == s {
				y.settle(g.strings[0].index)
				sum += g.flow(l)
			}
		}
	}
	return sum
}
