package config

import (
	"fmt"
	"math"
)

// String names the wire by what it is made of: 18 AWG copper.
func (w Wire) String() string {
	text := fmt.Sprintf("%g milliohm/m", w.Milliohms)
	switch {
	case w.HasAWG:
		text = fmt.Sprintf("%d AWG", w.AWG)
	case w.MM2 > 0:
		text = fmt.Sprintf("%g mm2", w.MM2)
	}
	if w.Metal == CCA {
		return text + " copper-clad aluminium"
	}
	return text + " copper"
}

// What a wire in the plan is for decides what it may leave out.
type wireUse int

const (
	leadWire   wireUse = iota // no wire at all: the supply sits at the string
	pitchWire                 // no wire at all: not known
	jumperWire                // length needed; the gauge is inherited
	stockWire                 // by the metre: a gauge and no length
)

// wire reads the keys of a wire that stand among those of its section.
func (s *section) wire(inherit Wire, use wireUse) Wire {
	w := Wire{Metal: Copper}
	awg := s.whole("awg", "gauge of the wire (ASTM B258)", -1, 0, 40, gauge)
	w.MM2 = s.positive("mm2", "cross-section of one conductor", 0, 1000, squareMM)
	w.Milliohms = s.positive("milliohms", "measured resistance of one conductor", 0, 1e6, milliohms)
	var length *node
	if use != stockWire {
		w.Metres, length = s.length(10000)
	}
	metal := s.n.find("metal")
	w.Metal = Metal(s.word("metal", "what the wire is made of; cca is copper-clad aluminium", string(Copper), string(CCA)))

	var gauges []string
	for _, key := range []string{"awg", "mm2", "milliohms"} {
		if s.n.find(key) != nil {
			gauges = append(gauges, key)
		}
	}
	if awg >= 0 {
		w.AWG, w.HasAWG = awg, true
	}

	switch {
	case len(gauges) > 1:
		s.d.errorf(s.n.find(gauges[1]).at, "keep one", "%s: both %s and %s are given", s.who, gauges[0], gauges[1])
		return Wire{Metres: w.Metres, Metal: Copper}
	case use == stockWire && len(gauges) == 0:
		s.d.errorf(s.n.at, "add awg:, mm2: or milliohms:", "%s: the wire has no gauge", s.who)
	case use == stockWire:
	case len(gauges) == 1 && length == nil:
		s.d.errorf(s.n.find(gauges[0]).at, "add metres:, millimetres:, feet: or inches:, one way", "%s: the wire has a gauge but no length", s.who)
	case len(gauges) == 0 && use == jumperWire && inherit.Known():
		w.AWG, w.HasAWG, w.MM2, w.Milliohms = inherit.AWG, inherit.HasAWG, inherit.MM2, inherit.Milliohms
		if metal == nil {
			w.Metal = inherit.Metal
		}
	case len(gauges) == 0 && length != nil && w.Metres > 0:
		s.d.errorf(length.at, "add awg:, mm2: or milliohms:", "%s: the wire has a length but no gauge", s.who)
	}
	if use == jumperWire && length == nil {
		s.d.errorf(s.n.at, "add metres:, millimetres:, feet: or inches:, one way", "%s: the jumper has no length", s.who)
	}
	if use == pitchWire && len(gauges) == 0 && length == nil {
		s.d.errorf(s.n.at, "write it as {awg: 20, millimetres: 76}", "%s: the wire has neither gauge nor length", s.who)
	}
	return w
}

// length reads a length in one of its keys, in metres; feet and inches add up. The
// node is where it stands, nil when there is none.
func (s *section) length(most float64) (metres float64, at *node) {
	for _, in := range lengthKeys {
		v := s.number(in.key, "length one way", -1, 0, math.Round(most/in.metres), in.unit)
		n := s.n.find(in.key)
		switch {
		case n == nil:
			continue
		case at != nil && !(in.key == "inches" && s.n.find("feet") == at):
			s.d.errorf(n.at, "keep one", "%s: the length is given twice", s.who)
			continue
		}
		metres += max(v, 0) * in.metres
		at = n
	}
	return metres, at
}
