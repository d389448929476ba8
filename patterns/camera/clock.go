package camera

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"yardproof/patterns"
)

const (
	chips     = patterns.CodeLength
	loopChips = patterns.CodePreamble + patterns.CodeLength
	sameLoop  = .85 // of the best contrast: no chip of light lies in the preamble
)

// clock says when loops begin: at start, and 69 periods later.
type clock struct{ start, period float64 } // seconds

// at is the time since the loop began, in chips.
func (c clock) at(t time.Duration) float64 {
	loop := c.period * loopChips
	d := math.Mod(t.Seconds()-c.start, loop)
	if d < 0 {
		d += loop
	}
	return d / c.period
}

// findClock looks for the loop's phase: the preamble is six dark chips that all
// lights share, after and before chips of which half are lit. Changes of chip then
// tell the phase finer.
func findClock(times []time.Duration, values [][]value) (clock, bool) {
	lit, turns := brightness(values)
	if lit == nil {
		return clock{}, false
	}
	chip := patterns.CodeChip.Seconds()
	best, contrast := clock{}, 0.0
	for stretch := -2; stretch <= 2; stretch++ {
		c := clock{0, chip * (1 + float64(stretch)*.0005)}
		for ; c.start < c.period*loopChips; c.start += .02 {
			if v := c.contrast(times, lit); v > contrast {
				best, contrast = c, v
			}
		}
	}
	if contrast < .2 {
		return best, false
	}
	middle, sharp := best, math.Inf(-1)
	for stretch := -2; stretch <= 2; stretch++ {
		for step := -30; step <= 30; step++ {
			c := clock{middle.start + float64(step)*.005, chip * (1 + float64(stretch)*.0005)}
			if c.contrast(times, lit) < sameLoop*contrast {
				continue // chips change as sharply one chip off, and the preamble tells that
			}
			if v := c.sharpness(times, turns); v > sharp {
				best, sharp = c, v
			}
		}
	}
	return best, true
}

// brightness is, for each frame, how many of the blinking lights are lit, as a share,
// and how much changed since the frame before.
func brightness(values [][]value) (lit, turns []float64) {
	frames, lights := len(values), len(values[0])
	lit, turns = make([]float64, frames), make([]float64, frames)
	n := 0.0
	v, sorted := make([]float64, frames), make([]float64, frames)
	for l := range lights {
		for i := range v {
			c := values[i][l]
			v[i] = math.Sqrt(float64(c[0] + c[1] + c[2]))
		}
		copy(sorted, v)
		slices.Sort(sorted)
		lo, hi := sorted[frames/12], sorted[frames*9/10]
		if hi < .02 || hi-lo < .4*hi {
			continue // it does not blink, or not so deeply
		}
		n++
		for i := range v {
			v[i] = max(0, min(1, (v[i]-lo)/(hi-lo)))
			lit[i] += v[i]
			if i > 0 {
				turns[i] += math.Abs(v[i] - v[i-1])
			}
		}
	}
	if n == 0 {
		return nil, nil
	}
	for i := range lit {
		lit[i], turns[i] = lit[i]/n, turns[i]/n
	}
	return lit, turns
}

// contrast is how much darker the preamble is than all else, less what its brightest
// frame has too much and, in part, what the darkest of the others lacks: a phase that is
// off takes some of a lit chip in or leaves some of the dark out, and where frames are few
// only one of them may tell. Of few lights all may be dark in a chip.
func (c clock) contrast(times []time.Duration, lit []float64) float64 {
	var dark, bright, nd, nb, most float64
	least := 1.0
	for i, t := range times {
		switch at := c.at(t); {
		case at > .25 && at < patterns.CodePreamble-.25:
			dark, nd, most = dark+lit[i], nd+1, max(most, lit[i])
		case at > patterns.CodePreamble+.15 && at < loopChips-.15:
			bright, nb, least = bright+lit[i], nb+1, min(least, lit[i])
		}
	}
	if nd < 3 || nb < chips {
		return 0
	}
	return bright/nb - dark/nd - .5*(most-dark/nd) - .25*(bright/nb-least)
}

// sharpness is how much more changes between frames with a change of chip between
// them than between others.
func (c clock) sharpness(times []time.Duration, turns []float64) float64 {
	var across, within, na, nw float64
	for i := 1; i < len(times); i++ {
		a, b := c.at(times[i-1]), c.at(times[i])
		switch {
		case b < a || b-a > 1 || a < patterns.CodePreamble-1:
		case math.Floor(a) != math.Floor(b):
			across, na = across+turns[i], na+1
		default:
			within, nw = within+turns[i], nw+1
		}
	}
	if na == 0 || nw == 0 {
		return math.Inf(-1)
	}
	return across/na - within/nw
}

// words is the mean of each chip of each light and channel, rows of 63, and what each
// light shows in the preamble and, at most times, beyond it.
func (c clock) words(times []time.Duration, values [][]value) (*mat.Dense, []steady) {
	lights := len(values[0])
	out, weights := mat.NewDense(lights*3, chips, nil), [chips]float64{}
	rest, rests := make([]steady, lights), 0.0
	for i, t := range times {
		at := c.at(t) - patterns.CodePreamble
		if at < -.25 && at > .25-patterns.CodePreamble {
			rests++
			for l, v := range values[i] {
				rest[l].dark += float64(v[0] + v[1] + v[2])
				rest[l].around += float64(v[3])
			}
		}
		k := int(math.Floor(at))
		if k < 0 || k >= chips {
			continue
		}
		edge := min(at-float64(k), float64(k+1)-at) * c.period
		w := max(.1, min(1, edge/.03))
		weights[k] += w
		for l, v := range values[i] {
			for ch, x := range v[:3] {
				row := out.RawRowView(l*3 + ch)
				row[k] += w * float64(x)
			}
		}
	}
	for row := range lights * 3 {
		r, sum, n := out.RawRowView(row), 0.0, 0.0
		for k := range r {
			if weights[k] > 0 {
				r[k] /= weights[k]
				sum, n = sum+r[k], n+1
			}
		}
		mean := sum / max(n, 1)
		rest[row/3].mean += mean
		for k := range r {
			if weights[k] > 0 {
				r[k] -= mean
			} // a chip that no frame shows says nothing
		}
	}
	for l := range rest {
		rest[l].dark /= max(rests, 1)
		rest[l].around /= max(rests, 1)
	}
	return out, rest
}

// steady is the light of a place: in the dark preamble, there and around it, and in the
// mean of all chips.
type steady struct{ dark, around, mean float64 }
