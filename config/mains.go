package config

import (
	"maps"
	"slices"
)

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
	m.Supplies = references(s, "supplies", "the supplies that hang on it", "supply", d.supplies, func(v *Supply) string {
		if other := d.onMains[v]; other != nil {
			return "on mains circuit " + other.Name
		}
		d.onMains[v] = m
		return ""
	})
	s.end()
	d.plan.Mains = append(d.plan.Mains, m)
	if _, double := taken[name]; !double {
		taken[name] = m
	}
}

// references reads the names of things of a kind, one or a list. Claim takes one of them,
// or tells what has it already.
func references[T any](s *section, key, does, kind string, known map[string]*T, claim func(*T) string) (list []*T) {
	s.declare(Key{Name: key, Does: does, Kind: KeyText, OrList: true})
	n := s.n.find(key)
	if n == nil {
		return nil
	}
	for one := range s.d.each(n.oneOrMore()) {
		v := known[one.text]
		if one.kind != scalar || v == nil {
			s.d.errorf(one.at, Suggest(one.text, slices.Sorted(maps.Keys(known))), "%s: there is no %s %s", s.who, kind, quote(one.text))
			continue
		}
		if has := claim(v); has != "" {
			s.d.errorf(one.at, "name it once", "%s: %s %s is %s already", s.who, kind, one.text, has)
			continue
		}
		list = append(list, v)
	}
	return list
}
