package config

// What a wire in the plan is for decides what it may leave out.
type wireUse int

const (
	leadWire   wireUse = iota // no wire at all: the supply sits at the string
	pitchWire                 // no wire at all: not known
	jumperWire                // length needed; the gauge is inherited
)

// wire reads the keys of a wire that stand among those of its section.
func (s *section) wire(inherit Wire, use wireUse) Wire {
	w := Wire{Metal: Copper}
	awg := s.whole("awg", -1, 0, 40, "(gauge)")
	w.MM2 = s.positive("mm2", 0, 1000, "square millimetres")
	w.Milliohms = s.positive("milliohms", 0, 1e6, "milliohms for a metre of one conductor")
	metres := s.number("metres", -1, 0, 10000, "metres")
	millimetres := s.number("millimetres", -1, 0, 1e7, "millimetres")
	metal := s.n.find("metal")
	w.Metal = Metal(s.word("metal", string(Copper), string(CCA)))

	var gauges []string
	for _, key := range []string{"awg", "mm2", "milliohms"} {
		if s.n.find(key) != nil {
			gauges = append(gauges, key)
		}
	}
	length := s.n.find("metres")
	if mm := s.n.find("millimetres"); mm != nil {
		if length != nil {
			s.d.errorf(mm.at, "keep one", "%s: both metres and millimetres are given", s.who)
		}
		length = mm
		if millimetres >= 0 {
			metres = millimetres / 1000
		}
	}
	if awg >= 0 {
		w.AWG, w.HasAWG = awg, true
	}
	w.Metres = max(metres, 0)

	switch {
	case len(gauges) > 1:
		s.d.errorf(s.n.find(gauges[1]).at, "keep one", "%s: both %s and %s are given", s.who, gauges[0], gauges[1])
		return Wire{Metres: w.Metres, Metal: Copper}
	case len(gauges) == 1 && length == nil:
		s.d.errorf(s.n.find(gauges[0]).at, "add metres: or millimetres:, one way", "%s: the wire has a gauge but no length", s.who)
	case len(gauges) == 0 && use == jumperWire && inherit.Known():
		w.AWG, w.HasAWG, w.MM2, w.Milliohms = inherit.AWG, inherit.HasAWG, inherit.MM2, inherit.Milliohms
		if metal == nil {
			w.Metal = inherit.Metal
		}
	case len(gauges) == 0 && length != nil && w.Metres > 0:
		s.d.errorf(length.at, "add awg:, mm2: or milliohms:", "%s: the wire has a length but no gauge", s.who)
	}
	if use == jumperWire && length == nil {
		s.d.errorf(s.n.at, "add metres: or millimetres:, one way", "%s: the jumper has no length", s.who)
	}
	if use == pitchWire && len(gauges) == 0 && length == nil {
		s.d.errorf(s.n.at, "write it as {awg: 20, millimetres: 76}", "%s: the wire has neither gauge nor length", s.who)
	}
	return w
}
