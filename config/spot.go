package config

import (
	"math"
	"strings"
)

// A Spot is where something stands, in metres: one number along a route, or two or
// three coordinates. Nil is not known. All spots of a plan have as many numbers.
type Spot []float64

// Metres is the way between two spots in a straight line, or along the route; false
// when either is not known.
func (s Spot) Metres(to Spot) (float64, bool) {
	if len(s) == 0 || len(s) != len(to) {
		return 0, false
	}
	sum := 0.0
	for i := range s {
		sum += (s[i] - to[i]) * (s[i] - to[i])
	}
	return math.Sqrt(sum), true
}

// Toward is the spot a share of the way to another one.
func (s Spot) Toward(to Spot, share float64) Spot {
	at := make(Spot, len(s))
	for i := range s {
		at[i] = s[i] + share*(to[i]-s[i])
	}
	return at
}

// farthest is how far a spot may be from zero: a route of 100 km.
const farthest = 100_000

// spot reads a place, as metres along a route or as coordinates.
func (s *section) spot(key, does string) Spot {
	s.declare(Key{Name: key, Does: does, Kind: KeyNumber, Lo: -farthest, Hi: farthest, Unit: metres.name, signs: metres.signs, OrList: true})
	n := s.n.find(key)
	if n == nil {
		return nil
	}
	numbers := n.oneOrMore()
	if len(numbers) < 1 || len(numbers) > 3 {
		s.d.errorf(n.at, "write metres along the route, or [x, y] in metres", "%s: %s has %d numbers", s.who, key, len(numbers))
		return nil
	}
	var at Spot
	for i := range numbers {
		one := &numbers[i]
		v, ok := metres.parse(one.text)
		if one.kind != scalar || !ok || math.Abs(v) > farthest {
			text := one.kind.String()
			if one.kind == scalar {
				text = quote(one.text)
			}
			fix := "write metres along the route, or [x, y] in metres"
			if strings.Contains(one.text, ",") {
				fix = "write a point, not a comma, before the decimals; coordinates stand as [x, y]"
			}
			s.d.errorf(one.at, fix, "%s: %s cannot be %s", s.who, key, text)
			return nil
		}
		at = append(at, v)
	}
	switch have := s.d.coordinates; {
	case have == 0:
		s.d.coordinates = len(at)
	case have != len(at):
		s.d.errorf(n.at, "write every place of the plan in the same way", "%s: %s has %d of the numbers that say where, the places above have %d", s.who, key, len(at), have)
		return nil
	}
	return at
}
