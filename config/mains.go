package config

// Mains is one mains circuit, as far as its labels tell.
type Mains struct {
	Marks
	Name        string
	Volts       float64
	BreakerAmps float64
	Curve       string  // of the breaker: B, C or D
	RCD         float64 // residual current that trips it, milliamperes; 0: not known
	Supplies    []*Supply
}

func (d *decoder) mains(n *node, taken map[string]*Mains) {
	m := &Mains{}
	s, name := named(d, n, "mains circuit", &m.Marks, taken)
	if s == nil {
		return
	}
	m.Name = name
	m.Volts = s.number("volts", "volts of the mains", 0, 90, 300, volts)
	m.BreakerAmps = s.positive("breaker_amps", "the breaker's rating, as printed on it", 0, 1000, amperes)
	m.Curve = s.word("curve", "the letter ahead of the breaker's rating", "B", "C", "D")
	m.RCD = s.positive("rcd_ma", "residual current that trips its RCD (GFCI), in mA, as printed on it", 0, 1000, bare)
	s.require("add it", "volts", "breaker_amps", "supplies")
	const key = "supplies"
	s.declare(Key{Name: key, Does: "the supplies that hang on it", Kind: KeyText, OrList: true})
	if at := s.n.find(key); at != nil {
		for one := range d.each(at.oneOrMore()) {
			supply := d.supplies[one.text]
			switch {
			case one.kind != scalar || supply == nil:
				var known []string
				for _, o := range d.plan.Supplies {
					known = append(known, o.Name)
				}
				d.errorf(one.at, Suggest(one.text, known), "%s: there is no supply %s", s.who, quote(one.text))
			case d.onMains[supply] != nil:
				d.errorf(one.at, "name it once", "%s: supply %s is on mains circuit %s already", s.who, supply.Name, d.onMains[supply].Name)
			default:
				d.onMains[supply] = m
				m.Supplies = append(m.Supplies, supply)
			}
		}
	}
	s.end()
	d.plan.Mains = append(d.plan.Mains, m)
	if _, double := taken[name]; !double {
		taken[name] = m
	}
}
