package budget

import (
	"slices"

	"yardproof/config"
)

// A ladder is the wire of one string: node 0 is where `at: start` joins, one
// pitch ahead of the first pixel, and node k is the k-th pixel on the line, null
// pixels and copies included.
//
// Out and return are equal wires, so as long as V+ is nowhere cut both rails
// obey the same equations with opposite signs, and the volts between them are
// those of a single rail with the loop's resistance: superposition makes that
// exact for any number of feeds. A cut breaks the likeness, because the returns
// stay joined across it, so a string with a cut is solved on both rails, as is
// all that shares a feeder with one. The returns of all supplies are taken as
// joined (common practice: data needs it).
type ladder struct {
	s *config.String

	rails  int       // 1: loop; 2: V+ and return apart, unknowns 2k and 2k+1
	nodes  int       //
	wire   []float64 // wire[k]: conductance from node k-1 to k, of the loop or of one conductor
	cut    []int     // nodes after which V+ is cut, ascending
	dark   []bool    // nodes on a piece of V+ without a feed; nil: none
	lit    int       // first lit node
	copies int
	terms  []term
	chip   Chip
	law    law

	amps, slope  []float64 // by node: what is drawn at no volts, and its change with the volts; slope nil: none
	matrix       band
	x            []float64 // unknowns, solved
	volt, passed []float64 // by node: volts, and amperes that the wire brings there

	// What the group's feeders see of the string: the current into coupled term i
	// is offset[i] + the sum over j of block[i][j] times the volts of term j's feeder.
	coupled []int // indices of terms on feeders
	block   [][]float64
	offset  []float64
}

// A term is where a feed's conductor meets a rail.
type term struct {
	feed    int
	unknown int
	g       float64 // of the lead
	feeder  int     // unknown of the group; -1: a supply
	volts   float64 // of that supply's rail
	lost    bool
}

// positive reports whether a term is on the V+ rail, where fuses and clamp meters
// sit, or on the one rail that stands for both.
func (l *ladder) positive(t term) bool { return l.rails == 1 || t.unknown%2 == 0 }

// firstNode is the node of a lit pixel, counted from 1; with copies, its first.
func (l *ladder) firstNode(pixel int) int { return l.lit + (pixel-1)*l.copies }

// pixel is the lit pixel at a node, from 1; 0 for null pixels and node 0.
func (l *ladder) pixel(node int) int {
	if node < l.lit {
		return 0
	}
	return (node-l.lit)/l.copies + 1
}

// node is where something joins at an address of the data line, counted from 1.
func (l *ladder) node(address int) int {
	n := address
	if lit := address - l.s.NullPixels; lit > 0 {
		n = l.s.NullPixels + lit*l.copies
	}
	return min(max(n, 0), l.nodes-1)
}

func feedNode(l *ladder, f *config.Feed) int {
	if f.At == "start" {
		return 0
	}
	return l.node(f.Address)
}

// cutNodes are the nodes after which V+ is cut.
func cutNodes(l *ladder) []int {
	var cuts []int
	for _, pixel := range l.s.CutPositiveAfter {
		if n := l.node(l.s.NullPixels + pixel); n >= 0 && n < l.nodes-1 {
			cuts = append(cuts, n)
		}
	}
	slices.Sort(cuts)
	return slices.Compact(cuts)
}

// piece is which piece of V+ a term is on, counted from the start.
func (l *ladder) piece(t term) int {
	n, _ := slices.BinarySearch(l.cut, t.unknown/l.rails)
	return n
}

// build lays the ladder out. Volts and feeders of its feeds are filled in by the
// group, which knows how the feeders are numbered. Celsius is the plan's temperature.
func (l *ladder) build(s *config.String, celsius float64, rails int, c corner) {
	l.s, l.rails = s, rails
	celsius = config.Celsius(s.Temperature, celsius)
	l.copies = max(s.Copies, 1)
	l.nodes = 1 + LinePixels(s)
	l.lit = 1 + s.NullPixels
	each := 1 / max(c.pitch*wireOhms(s.Pitch, celsius), noPitchOhms)
	if rails == 1 {
		each /= 2
	}
	l.wire = zeros(l.wire, l.nodes)
	for i := range l.wire {
		l.wire[i] = each
	}
	for _, j := range s.Jumpers {
		if n := l.node(s.NullPixels+j.After) + 1; n > 0 && n < l.nodes {
			ohms := 1/l.wire[n] + float64(3-rails)*(c.pitch*wireOhms(j.Wire, celsius)+jointsOfWire*c.joint)
			l.wire[n] = 1 / ohms
		}
	}
	l.cut = cutNodes(l)
	l.terms, l.coupled = l.terms[:0], l.coupled[:0]
	for i, f := range s.Feeds[:min(len(s.Feeds), manyFeeds)] {
		g := 1 / c.ohms(f.Wire, config.Celsius(f.Temperature, celsius))
		node := feedNode(l, f)
		if rails == 1 {
			l.terms = append(l.terms, term{feed: i, unknown: node, g: g / 2, feeder: -1})
			continue
		}
		l.terms = append(l.terms,
			term{feed: i, unknown: 2 * node, g: g, feeder: -1},
			term{feed: i, unknown: 2*node + 1, g: g, feeder: -1})
	}
}

// pieces finds the nodes on pieces of V+ that no feed reaches, and reports
// whether there are any.
func (l *ladder) pieces() bool {
	l.dark = nil
	from := 0
	for i := 0; i <= len(l.cut); i++ {
		to := l.nodes // exclusive
		if i < len(l.cut) {
			to = l.cut[i] + 1
		}
		fed := slices.ContainsFunc(l.terms, func(t term) bool {
			n := t.unknown / l.rails
			return !t.lost && n >= from && n < to
		})
		if !fed {
			if l.dark == nil {
				l.dark = make([]bool, l.nodes)
			}
			for n := from; n < to; n++ {
				l.dark[n] = true
			}
		}
		from = to
	}
	return l.dark != nil
}

// assemble fills the matrix with the wire, and with the slopes of the loads when
// they have any, and factors it.
func (l *ladder) assemble() bool {
	slope := l.slope
	n := l.nodes * l.rails
	l.matrix.reset(n, l.rails)
	a := &l.matrix
	if l.rails == 1 {
		for k := 1; k < l.nodes; k++ {
			g := l.wire[k]
			a.diag[k-1] += g
			a.diag[k] += g
			a.one[k] = -g
		}
		for k, g := range slope {
			a.diag[k] += g
		}
	} else {
		next := 0
		for k := 1; k < l.nodes; k++ {
			g := l.wire[k]
			a.diag[2*k-1] += g
			a.diag[2*k+1] += g
			a.two[2*k+1] = -g
			if next < len(l.cut) && l.cut[next] == k-1 {
				next++
				continue
			}
			a.diag[2*k-2] += g
			a.diag[2*k] += g
			a.two[2*k] = -g
		}
		for k, g := range slope {
			a.diag[2*k] += g
			a.diag[2*k+1] += g
			a.one[2*k+1] -= g
		}
	}
	for _, t := range l.terms {
		if !t.lost {
			a.diag[t.unknown] += t.g
		}
	}
	if l.dark != nil {
		for k, dark := range l.dark { // they float: hold their V+ at the return of nothing
			if dark {
				a.diag[l.rails*k]++
			}
		}
	}
	return a.factor()
}

// read turns the solved unknowns into volts between the rails.
func (l *ladder) read() {
	if l.rails == 1 {
		copy(l.volt, l.x)
	} else {
		for k := range l.volt {
			l.volt[k] = l.x[2*k] - l.x[2*k+1]
		}
	}
	if l.dark != nil {
		for k, dark := range l.dark {
			if dark {
				l.volt[k] = 0
			}
		}
	}
}
