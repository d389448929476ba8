package budget

import "yardproof/config"

// Wiring is a string's conductors as the budget sees them. Node 0 is where `at:
// start` joins, node k is the k-th pixel on the line, null pixels and copies included.
type Wiring struct {
	Ohms  []float64 // of one conductor from node 0 to each node
	Cuts  []int     // nodes after which V+ is cut, ascending
	Feeds []int     // by feed as in the plan: the node that it joins
	White []float64 // amperes that each node draws at full white, with constant current
	Idle  []float64 // and dark

	ladder ladder
}

// Wiring returns the conductors of a string (index as in the plan); false when its
// wire, current or volts are not known, or it has too many feeds.
func (b *Budget) Wiring(n int) (Wiring, bool) {
	s := b.plan.Strings[n]
	if b.refused || !b.Strings[n].solved || s.Volts <= 0 || !s.Pitch.Known() && LinePixels(s) > 1 {
		return Wiring{}, false
	}
	var w Wiring
	l := &w.ladder
	l.build(s, b.plan.Temperature, 2, plain())
	l.chip = b.Strings[n].Chip
	l.pieces()
	w.Ohms, w.White, w.Idle = make([]float64, l.nodes), make([]float64, l.nodes), make([]float64, l.nodes)
	for k := 1; k < l.nodes; k++ {
		w.Ohms[k] = w.Ohms[k-1] + 1/l.wire[k]
		w.White[k], w.Idle[k] = fullWhite(l, k), dark(l, k)
	}
	w.Cuts = l.cut
	for i := range s.Feeds {
		w.Feeds = append(w.Feeds, l.terms[2*i].unknown/2)
	}
	return w, true
}

// Pixel is the lit pixel at a node, from 1; 0 ahead of the first.
func (w *Wiring) Pixel(node int) int { return w.ladder.pixel(node) }

// Node is the node of an address on the data line, counted from 1.
func (w *Wiring) Node(address int) int { return w.ladder.node(address) }

// Ohms is the resistance of one conductor of a wire at a temperature in degrees
// Celsius; a wire of no length has next to none.
func Ohms(w config.Wire, celsius float64) float64 { return max(wireOhms(w, celsius), noLengthOhms) }

// Known reports whether the volts and currents of a string (index as in the plan) are
// worked out.
func (b *Budget) Known(n int) bool {
	_, ok := b.Wiring(n)
	return ok
}
