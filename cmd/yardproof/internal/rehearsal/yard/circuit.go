package yard

import (
	"cmp"
	"slices"
	"time"

	"yardproof/config"
)

// A group is what wire ties together: one string, or all that share a feeder.
// Supplies hold their volts, so that what shares a supply alone is apart.
type group struct {
	strings []*circuit
	links   []link
	net     *network
	x       []float64 // volts of every node, as solved last
	solved  bool
	settled bool // false: the load found no rest, as where regulators pull their supply down
}

// A circuit is one string in its group. Node 0 is ahead of the first pixel and
// node k is the k-th chip; each has its V+ and its return, counted one after the other.
type circuit struct {
	*pixels
	base  int // its first unknown
	law   law
	feeds []int // by feed: the link of its V+ lead
	wires []int // by node: the link of V+ from the node before; [0] is not used
	red, rest, idle,
	volts []float64 // by chip: amperes that it would draw at its own volts, and the volts it has
	leak     float64 // amperes at its own volts of a wet joint
	leakNode int
}

// A link is a resistance between two nodes, or from a supply's rail to one.
type link struct {
	a, b   int // b -1: the rail
	g      float64
	supply *supply // of a V+ rail; nil: of the returns, which all supplies share
}

// A supply holds its volts, or nothing.
type supply struct {
	plan  *config.Supply // nil: strings that name none
	volts float64
	off   bool
	trips float64 // minutes at a fifth of its rating until it trips; 0: never
	heat  float64 // share of the way there
}

func (y *Yard) supplyOf(p *config.Supply, volts float64) *supply {
	for _, s := range y.supplies {
		if s.plan == p && (p != nil || s.volts == volts) {
			return s
		}
	}
	s := &supply{plan: p, volts: volts}
	if p != nil && p.Volts > 0 {
		s.volts = p.Volts
	}
	for _, f := range y.Faults {
		if at := y.Plan.Find(f.String); at.Feeds[0].Supply != p {
			continue
		}
		switch f.Kind {
		case SupplySag:
			s.volts *= 1 - f.Severity
		case SupplyOff:
			s.off = true
		case HotSupply:
			s.trips, y.hot = f.Severity, true
		}
	}
	y.supplies = append(y.supplies, s)
	return s
}

// layCircuit numbers the nodes and lays the wires.
func (y *Yard) layCircuit() {
	y.groupOf = make([]int, len(y.strings))
	ofFeeder := map[*config.Feeder]int{}
	for i := range y.strings { // strings that share a feeder, directly or over others, get one number
		own := i
		y.groupOf[i] = own
		for _, f := range y.Plan.Strings[i].Feeds {
			if f.Feeder == nil {
				continue
			}
			old, known := ofFeeder[f.Feeder]
			if !known {
				ofFeeder[f.Feeder] = own
				continue
			}
			for j := range y.groupOf[:i+1] {
				if y.groupOf[j] == old {
					y.groupOf[j] = own
				}
			}
			for other, n := range ofFeeder {
				if n == old {
					ofFeeder[other] = own
				}
			}
		}
	}
	place := map[int]int{}
	for i, p := range y.strings {
		at, ok := place[y.groupOf[i]]
		if !ok {
			at = len(y.groups)
			place[y.groupOf[i]] = at
			y.groups = append(y.groups, &group{})
		}
		y.groupOf[i] = at
		y.groups[at].strings = append(y.groups[at].strings, &circuit{pixels: p})
	}
	for _, g := range y.groups {
		y.lay(g)
	}
}

func (y *Yard) lay(g *group) {
	n := 0
	for _, c := range g.strings {
		c.base = n
		n += 2 * (len(c.alive) + 1)
	}
	feeders := map[*config.Feeder]int{}
	for _, c := range g.strings {
		for _, f := range c.plan.Feeds {
			if f.Feeder == nil {
				continue
			}
			if _, ok := feeders[f.Feeder]; !ok {
				feeders[f.Feeder] = n
				lead := 1 / ohms(f.Feeder.Wire, config.Celsius(f.Feeder.Temperature, y.Plan.Temperature))
				g.links = append(g.links, link{n, -1, lead, y.supplyOf(f.Feeder.Supply, 0)}, link{n + 1, -1, lead, nil})
				n += 2
			}
		}
	}
	for _, c := range g.strings {
		y.layString(g, c, feeders)
	}
	g.x = make([]float64, n)
}

// network lays out the equations, once they are needed.
func (g *group) network() *network {
	var pairs [][2]int
	for _, l := range g.links {
		if l.b >= 0 {
			pairs = append(pairs, [2]int{l.a, l.b})
		}
	}
	for _, c := range g.strings {
		for k := range len(c.alive) + 1 {
			pairs = append(pairs, [2]int{c.base + 2*k, c.base + 2*k + 1})
		}
	}
	return newNetwork(len(g.x), pairs)
}

// layString lays the wire and the feeds of one string, faults included.
func (y *Yard) layString(g *group, c *circuit, feeders map[*config.Feeder]int) {
	s, n := c.plan, len(c.alive)
	warm := config.Celsius(s.Temperature, y.Plan.Temperature)
	times := cmp.Or(y.severity(c.index, ThinWire), 1)
	plus, minus := make([]float64, n+1), make([]float64, n+1) // ohms to node k from the one before
	for k := 1; k <= n; k++ {
		plus[k] = times * ohms(s.Pitch, warm)
		minus[k] = plus[k]
	}
	behind := func(pixel int) int { return min(s.NullPixels+pixel*c.copies+1, n) } // the node after a pixel
	for _, j := range s.Jumpers {
		r := times * ohms(j.Wire, warm)
		plus[behind(j.After)] += r
		minus[behind(j.After)] += r
	}
	const open = 1 / closedGap
	for _, after := range s.CutPositiveAfter {
		plus[behind(after)] = open
	}
	for _, f := range y.byString[c.index] {
		switch k := behind(f.Place); f.Kind {
		case BrokenPositive:
			plus[k] = open
		case BrokenReturn:
			minus[k] = open
		case JointPositive:
			plus[k] += f.Severity
		case JointReturn:
			minus[k] += f.Severity
		case WetJoint:
			c.leak, c.leakNode = f.Severity, k
		}
	}
	c.wires = make([]int, n+1)
	for k := 1; k <= n; k++ {
		at := c.base + 2*k
		c.wires[k] = len(g.links)
		g.links = append(g.links, link{at - 2, at, 1 / plus[k], nil}, link{at - 1, at + 1, 1 / minus[k], nil})
	}
	nominal := y.nominal(s, c)
	for i, f := range s.Feeds {
		node := 0
		if f.At != "start" {
			if node = f.Address; node > s.NullPixels {
				node = s.NullPixels + (node-s.NullPixels)*c.copies
			}
			node = min(node, n)
		}
		lead := ohms(f.Wire, config.Celsius(f.Temperature, warm))
		out, back := 1/lead, 1/lead
		for _, fault := range y.byString[c.index] {
			switch {
			case fault.Place != i+1:
			case fault.Kind == FuseBlown:
				out = closedGap
			case fault.Kind == FeedOff:
				out, back = closedGap, closedGap
			case fault.Kind == JointLead:
				out = 1 / (lead + fault.Severity)
			}
		}
		at := c.base + 2*node
		c.feeds = append(c.feeds, len(g.links))
		if from, ok := feeders[f.Feeder]; ok && f.Feeder != nil {
			g.links = append(g.links, link{at, from, out, nil}, link{at + 1, from + 1, back, nil})
		} else {
			g.links = append(g.links, link{at, -1, out, y.supplyOf(f.Supply, nominal)}, link{at + 1, -1, back, nil})
		}
	}
	c.law = newLaw(c.chip, s, nominal)
	c.red, c.rest, c.idle, c.volts = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
}

// nominal is the volts that a string is made for.
func (y *Yard) nominal(s *config.String, c *circuit) float64 {
	switch {
	case s.Volts > 0:
		return s.Volts
	case c.chip.MaxVolts > 0 && c.chip.MaxVolts < 7:
		return 5
	}
	return 12
}

// warm moves hot supplies on: they trip after so many minutes at a fifth of their
// rating or more, and come back when they have cooled to a third (common practice, no source).
func (y *Yard) warm(step time.Duration) {
	for _, s := range y.supplies {
		if s.trips <= 0 {
			continue
		}
		load := 0.0
		if s.plan != nil && s.plan.Watts > 0 {
			load = y.supplyAmps(s) * s.volts / s.plan.Watts
		}
		was := s.off
		s.heat += step.Minutes() / s.trips * (1.2*min(1, load/0.2) - 0.2)
		switch s.heat = max(s.heat, 0); {
		case s.heat >= 1:
			s.off = true
		case s.heat < 1.0/3:
			s.off = false
		}
		if was != s.off {
			for _, g := range y.groups {
				if slices.ContainsFunc(g.links, func(l link) bool { return l.supply == s }) {
					g.solved = false
				}
			}
		}
	}
}
