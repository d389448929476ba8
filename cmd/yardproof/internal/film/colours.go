package film

import (
	"math"
	"slices"
	"strings"

	"yardproof/config"
	"yardproof/patterns/camera"
)

// Shares by which colours are judged; dies.go has those of single dies.
const (
	judgedFit   = .55 // of a light that tells what is typical
	absentShare = .08 // of the string's other slots: no pixel shows it
	orderGain   = .3  // by which another order must fit better: in the dark the right one does by .54 at least
	leastChroma = .14 // of a string whose order is told: dark films had .2 at least
)

// colours judges the dies of a string's pixels: lights by pixel, nil where none was
// read. Missing is, for each pixel, the letters of what does not light.
type colours struct {
	order   config.Order // as seen, "" when it is as planned
	absent  string       // letters that no pixel shows
	missing []string
}

// gains is how the camera weighs red, green and blue, over the whole film: white
// balance and glare are the same everywhere.
func gains(lights []camera.Light) (g [3]float64) {
	for _, l := range lights {
		for _, r := range l.Response {
			for c, v := range r {
				g[c] += math.Abs(v)
			}
		}
	}
	for c := range g {
		g[c] = max(g[c], 1e-9)
	}
	return g
}

// judgeColours judges against the planned order, or against another one that may be, if
// that fits better. It may be "".
func judgeColours(planned, or config.Order, pixels []*camera.Light, gain [3]float64) colours {
	c := colours{missing: make([]string, len(pixels))}
	slots := len(planned)
	typical := make([][3]float64, slots)
	for s := range slots {
		for ch := range 3 {
			var v []float64
			for _, l := range pixels {
				if l != nil && len(l.Response) == slots && l.Fit > judgedFit {
					v = append(v, l.Response[s][ch]/gain[ch])
				}
			}
			if len(v) < 3 {
				return c
			}
			slices.Sort(v)
			typical[s][ch] = v[len(v)/2]
		}
	}
	lengths, most := make([]float64, slots), 0.0
	for s, v := range typical {
		lengths[s] = math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
		most = max(most, lengths[s])
	}
	tint, size := chroma(typical, lengths)
	if len(or) == slots && orderFit([]byte(or), tint) > orderFit([]byte(planned), tint) {
		planned = or
	}
	for s, n := range lengths {
		if n < absentShare*most {
			c.absent += string(planned[s])
		}
	}
	if c.absent == "" && size > leastChroma {
		c.order = order(planned, tint)
	}
	d := newDies(pixels, typical, gain)
	for k, l := range pixels {
		if l == nil || l.Fit < missingFit || len(l.Response) != slots {
			continue
		}
		for s, missing := range d.missing(k) {
			if missing && !strings.Contains(c.absent, string(planned[s])) {
				c.missing[k] += string(c.letters(planned)[s])
			}
		}
		if len(c.missing[k]) == slots {
			c.missing[k] = ""
		}
	}
	return c
}

// letters are what the slots light, as seen.
func (c colours) letters(planned config.Order) config.Order {
	if c.order != "" {
		return c.order
	}
	return planned
}

// chroma is what tells the typical colour of each slot from the mean of all, as a share of
// all that does, and how much that is: in the dark little, since films there are nearly grey.
func chroma(typical [][3]float64, lengths []float64) (tint [][3]float64, size float64) {
	var mean [3]float64
	tint = make([][3]float64, len(typical))
	for s, v := range typical {
		for ch := range v {
			tint[s][ch] = v[ch] / max(lengths[s], 1e-12)
			mean[ch] += tint[s][ch] / float64(len(typical))
		}
	}
	for s := range tint {
		for ch := range mean {
			tint[s][ch] -= mean[ch]
			size = math.Hypot(size, tint[s][ch])
		}
	}
	for s := range tint {
		for ch := range mean {
			tint[s][ch] /= max(size, 1e-12)
		}
	}
	return tint, size
}

// order is the permutation that fits the colours of slots, if it fits better than the
// planned one.
func order(planned config.Order, tint [][3]float64) config.Order {
	best, most := []byte(planned), orderFit([]byte(planned), tint)+orderGain
	permute([]byte(planned), func(p []byte) {
		if f := orderFit(p, tint); f > most {
			best, most = slices.Clone(p), f
		}
	})
	if string(best) == string(planned) {
		return ""
	}
	return config.Order(best)
}

// orderFit is how well letters fit the colours of slots: 1 for pure colours in that order,
// about 0 with two of them changed over. White has no tint.
func orderFit(letters []byte, tint [][3]float64) (sum float64) {
	for s, letter := range letters {
		if ch := strings.IndexByte("RGB", letter); ch >= 0 {
			sum += tint[s][ch] / math.Sqrt2
		}
	}
	return sum
}

// permute calls do with every order of some letters.
func permute(letters []byte, do func([]byte)) {
	var from func(k int)
	from = func(k int) {
		if k == len(letters) {
			do(letters)
			return
		}
		for i := k; i < len(letters); i++ {
			letters[k], letters[i] = letters[i], letters[k]
			from(k + 1)
			letters[k], letters[i] = letters[i], letters[k]
		}
	}
	from(0)
}
