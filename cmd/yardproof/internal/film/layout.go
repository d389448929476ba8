package film

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"yardproof/patterns/camera"
)

// Layout is where pixels of strings are, in any picture or drawing of the yard: by
// string, in the order of pixels. Two pixels of a string are enough where it is straight.
// With it a film tells swapped and reversed strings, and nulls from a wrong count.
type Layout map[string][]Spot

// Spot is one pixel's place.
type Spot struct {
	Pixel int // from 1
	X, Y  float64
}

// ErrLayout is wrapped by errors of a layout.
var ErrLayout = errors.New("the layout cannot be used")

// ParseLayout reads a layout, which has the form of a [Result]: places of pixels that
// an earlier film gave, or that somebody wrote by hand.
func ParseLayout(text []byte) (Layout, error) {
	var r Result
	if err := json.Unmarshal(text, &r); err != nil {
		return nil, fmt.Errorf("%w: it is not what film --format json prints: %w", ErrLayout, err)
	}
	l := Layout{}
	for _, p := range r.Pixels {
		if p.Pixel < 1 {
			return nil, fmt.Errorf("%w: string %q has a pixel %d; count from 1", ErrLayout, p.String, p.Pixel)
		}
		if (p.X != 0 || p.Y != 0) && p.Film == 0 {
			l[p.String] = append(l[p.String], Spot{p.Pixel, p.X, p.Y})
		}
	}
	for name, spots := range l {
		slices.SortFunc(spots, func(a, b Spot) int { return a.Pixel - b.Pixel })
		l[name] = slices.CompactFunc(spots, func(a, b Spot) bool { return a.Pixel == b.Pixel })
		if len(l[name]) < 2 {
			delete(l, name)
		}
	}
	if len(l) == 0 {
		return nil, fmt.Errorf("%w: no string has two pixels with places", ErrLayout)
	}
	return l, nil
}

// place is where pixel k, from 0, should be; it reports false beyond what is known.
func (l Layout) place(name string, k int) (x, y float64, ok bool) {
	spots := l[name]
	for i := 0; i+1 < len(spots); i++ {
		a, b := spots[i], spots[i+1]
		if k+1 >= a.Pixel && k+1 <= b.Pixel {
			s := float64(k+1-a.Pixel) / float64(b.Pixel-a.Pixel)
			return a.X + s*(b.X-a.X), a.Y + s*(b.Y-a.Y), true
		}
	}
	return 0, 0, false
}

// homography maps one picture of a flat yard to another: rows of a 3 by 3 matrix.
type homography [9]float64

func (h homography) apply(x, y float64) (float64, float64) {
	w := h[6]*x + h[7]*y + h[8]
	return (h[0]*x + h[1]*y + h[2]) / w, (h[3]*x + h[4]*y + h[5]) / w
}

type pair struct{ x, y, u, v float64 }

// solve finds the homography of four pairs or more, by least squares with h[8] = 1.
// Coordinates must be about 1.
func solve(pairs []pair) (h homography, ok bool) {
	a, b := mat.NewDense(2*len(pairs), 8, nil), mat.NewDense(2*len(pairs), 1, nil)
	for i, p := range pairs {
		a.SetRow(2*i, []float64{p.x, p.y, 1, 0, 0, 0, -p.u * p.x, -p.u * p.y})
		a.SetRow(2*i+1, []float64{0, 0, 0, p.x, p.y, 1, -p.v * p.x, -p.v * p.y})
		b.Set(2*i, 0, p.u)
		b.Set(2*i+1, 0, p.v)
	}
	var x mat.Dense
	if err := x.Solve(a, b); err != nil {
		return h, false
	}
	for i := range 8 {
		h[i] = x.At(i, 0)
	}
	h[8] = 1
	return h, true
}

const (
	draws     = 1000 // of four pairs: with five strings of eight wrong, one in fifty is of right ones alone
	flatness  = .01  // of the picture's longer side: how far a light may be from its place
	closeness = .6   // of that, for what draws find: a string that begins a pixel off is beyond the half
	minPairs  = 8
)

// fitLayout finds how the layout lies in the picture, by the lights that show what is
// planned: those that agree are enough when many strings are right.
func (s *sight) fitLayout() (func(x, y float64) (float64, float64), bool) {
	unit := float64(max(s.got.Size.X, s.got.Size.Y))
	span := 1e-9
	for _, spots := range s.yard.layout {
		for _, p := range spots {
			span = max(span, math.Abs(p.X), math.Abs(p.Y))
		}
	}
	var pairs []pair
	for _, l := range s.got.Lights {
		o, ok := s.yard.owner[l.First]
		if !ok || l.Echo {
			continue
		}
		if x, y, ok := s.yard.layout.place(s.yard.strings[o.str].Name, o.pixel); ok {
			pairs = append(pairs, pair{x / span, y / span, l.X / unit, l.Y / unit})
		}
	}
	if len(pairs) < minPairs {
		return nil, false
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	agree := func(h homography, tolerance float64) (in []pair, score float64) {
		for _, p := range pairs {
			u, v := h.apply(p.x, p.y)
			if off := math.Hypot(u-p.u, v-p.v) / tolerance; off < 1 {
				in, score = append(in, p), score+1-off*off
			}
		}
		return in, score
	}
	var most []pair
	best := 0.0 // few that agree closely tell more than many that a bent picture nearly suits, as with shifted strings
	for range draws {
		var four []pair
		for range 4 {
			four = append(four, pairs[rnd.IntN(len(pairs))])
		}
		if h, ok := solve(four); ok {
			if in, score := agree(h, closeness*flatness); score > best {
				most, best = in, score
			}
		}
	}
	// Shifted strings agree nearly: closer and closer they drop out.
	h := homography{}
	for tolerance := flatness; len(most) >= max(minPairs, len(pairs)/5); tolerance *= .6 {
		closer, ok := solve(most)
		if !ok {
			break
		}
		h = closer
		if most, _ = agree(h, tolerance*.6); tolerance < flatness/8 {
			break
		}
	}
	if h == (homography{}) {
		return nil, false
	}
	return func(x, y float64) (float64, float64) {
		u, v := h.apply(x/span, y/span)
		return u * unit, v * unit
	}, true
}

// along says, for a string that the layout has, which lights lie on it and at which
// pixel, from 0. It reports false for a string that the layout does not have.
func (s *sight) along(str int, to func(x, y float64) (float64, float64)) (on map[int]float64, ok bool) {
	p := s.yard.strings[str]
	type point struct{ x, y float64 }
	var line []point
	from := -1
	for k := range p.first {
		x, y, ok := s.yard.layout.place(p.Name, k)
		if !ok {
			if from >= 0 {
				break
			}
			continue
		}
		if from < 0 {
			from = k
		}
		x, y = to(x, y)
		line = append(line, point{x, y})
	}
	if len(line) < 2 {
		return nil, false
	}
	at := camera.NewGrid(s.got.Lights)
	on, away := map[int]float64{}, map[int]float64{}
	for k := 0; k+1 < len(line); k++ {
		a, b := line[k], line[k+1]
		dx, dy := b.x-a.x, b.y-a.y
		length := math.Hypot(dx, dy)
		if length == 0 {
			continue
		}
		for _, i := range at.Within((a.x+b.x)/2, (a.y+b.y)/2, 2.2*length) {
			l := s.got.Lights[i]
			t := ((l.X-a.x)*dx + (l.Y-a.y)*dy) / (length * length)
			lo, hi := 0.0, 1.0
			if k == 0 {
				lo = -1.5
			}
			if k == len(line)-2 {
				hi = 2.5
			}
			t = max(lo, min(hi, t))
			d := math.Hypot(a.x+t*dx-l.X, a.y+t*dy-l.Y)
			if d > 1.5*length {
				continue
			}
			if was, known := away[i]; !known || d < was {
				away[i], on[i] = d, float64(from+k)+t
			}
		}
	}
	return on, true
}
