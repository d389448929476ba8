package film

import (
	"cmp"
	"math"
	"slices"

	"yardproof/patterns/camera"
)

// stuckShare is how bright a place must be in the preamble, of what its neighbours
// give when they are lit.
const stuckShare = .3

// A pixel that is stuck is a point, and as bright at all times. A window has more light
// around it, and more than one top; what a bough hides for most of the film, or what only
// glows while its neighbours are lit, is brighter or darker in the mean than in the preamble.
// In 49 rendered films all 303 stuck pixels had one top, and 301 less than .13 of their light
// around; of 29 windows where pixels should be none had one top alone.
const (
	pointShare  = .15
	besideShare = .3 // where the one beside it is stuck too: its light is around. The corner of a window has .37
	leastMean   = .55
	mostMean    = 1.5
	topShare    = .5 // of a light: another top of it is above
)

// Bounds of where a pixel that was not read is looked for.
const (
	spotReach  = .35 // of the pitch: how far from its place a light is its own
	leastTops  = 3.5 // image pixels: how far from it another top is one of the same light, at least
	mostTops   = 8   // and at most; half the pitch in between
	foretold   = 2   // pixels: so far two that were read say where the line goes on
	drawnReach = 30  // pixels: so far those that were read say where the drawing lies
)

// spot is where a pixel that was not read may be, and how bright one is there when lit.
type spot struct{ x, y, lit float64 }

// shining is a light that shines while all is dark, where a pixel should be.
type shining struct {
	camera.Light
	pixel, light int
	away, sure   float64
}

// stuck are the pixels that are lit while all is dark. Each takes the light that is nearest
// to its place, and each light is one pixel.
func (j *judged) stuck() map[int]shining {
	var all []shining
	loose := j.shining(besideShare)
	for _, s := range loose {
		beside := func(o shining) bool { return (o.pixel == s.pixel-1 || o.pixel == s.pixel+1) && o.light != s.light }
		if s.Around < pointShare*s.Dark || slices.ContainsFunc(loose, beside) {
			all = append(all, s)
		}
	}
	slices.SortStableFunc(all, func(a, b shining) int { return cmp.Compare(a.away, b.away) })
	found, taken := map[int]shining{}, map[int]bool{}
	for _, s := range all {
		if _, known := found[s.pixel]; !known && !taken[s.light] {
			found[s.pixel], taken[s.light] = s, true
		}
	}
	return found
}

// shining are the lights that shine while all is dark where pixels should be that were not
// read, with no more than a share of their light around them.
func (j *judged) shining(around float64) (all []shining) {
	pitch := 0.0
	for _, f := range j.lights {
		pitch = max(pitch, j.got.Lights[f.light].Pitch)
	}
	top := func(i int) bool { // the only one
		l := j.got.Others[i]
		return !slices.ContainsFunc(j.others.Within(l.X, l.Y, max(leastTops, min(mostTops, pitch/2))), func(o int) bool {
			return o != i && j.got.Others[o].Dark > topShare*l.Dark
		})
	}
	for k, l := range j.by {
		if l != nil {
			continue
		}
		for _, at := range j.spots(k) {
			for _, i := range j.others.Within(at.x, at.y, spotReach*pitch) {
				l := j.got.Others[i]
				if l.Dark > stuckShare*at.lit && l.Around < around*l.Dark && l.Mean > leastMean*l.Dark && l.Mean < mostMean*l.Dark && top(i) {
					all = append(all, shining{l, k, i, math.Hypot(l.X-at.x, l.Y-at.y), min(.99, .5+.5*l.Dark/max(at.lit, 1e-9))})
				}
			}
		}
	}
	return all
}

// nearest is the pixel that was read nearest to k in one direction, 1 or -1, k not counted.
func (j *judged) nearest(k, way int) (int, bool) {
	for k += way; k >= 0 && k < len(j.by); k += way {
		if j.by[k] != nil {
			return k, true
		}
	}
	return 0, false
}

// spots are the places where a pixel may be that was not read: between the nearest two that
// were; in line with the two before or after it, as at an end and where a string turns
// back; and where a drawing has it.
func (j *judged) spots(k int) (all []spot) {
	if at, ok := j.between(k); ok {
		all = append(all, at)
	}
	for _, way := range []int{-1, 1} {
		a, ok := j.nearest(k, way)
		b, known := j.nearest(a, way)
		if !ok || !known || way*(a-k) > foretold || way*(b-a) > foretold {
			continue
		}
		p, q := j.by[a], j.by[b]
		if s := float64(k-a) / float64(a-b); math.Hypot(p.X-q.X, p.Y-q.Y) < 1.5*float64(way*(b-a))*max(p.Pitch, q.Pitch) {
			all = append(all, spot{p.X + s*(p.X-q.X), p.Y + s*(p.Y-q.Y), p.Mean + q.Mean})
		}
	}
	if at, ok := j.drawn(k); ok {
		all = append(all, at)
	}
	return all
}

// between is where a pixel should be by the nearest two that were read, one to each side.
func (j *judged) between(k int) (spot, bool) {
	a, before := j.nearest(k, -1)
	b, after := j.nearest(k, 1)
	if !before || !after || b-a > 5 {
		return spot{}, false
	}
	p, q := j.by[a], j.by[b]
	if math.Hypot(p.X-q.X, p.Y-q.Y) > 2*float64(b-a)*max(p.Pitch, q.Pitch) {
		return spot{}, false
	}
	s := float64(k-a) / float64(b-a)
	return spot{p.X + s*(q.X-p.X), p.Y + s*(q.Y-p.Y), p.Mean + q.Mean}, true // half of all chips are lit: twice the mean
}

// drawn is where a drawing has a pixel, as far off as it has those that were read nearest.
func (j *judged) drawn(k int) (spot, bool) {
	place := func(k int) (x, y float64, ok bool) {
		if x, y, ok = j.yard.layout.place(j.Name, k); ok {
			x, y = j.to(x, y)
		}
		return x, y, ok
	}
	if j.to == nil {
		return spot{}, false
	}
	x, y, ok := place(k)
	if !ok {
		return spot{}, false
	}
	at, n := spot{}, 0.0
	for _, way := range []int{-1, 1} {
		near, read := j.nearest(k, way)
		for range 2 {
			if u, v, ok := place(near); read && ok && way*(near-k) <= drawnReach {
				l := j.by[near]
				at, n = spot{at.x + l.X - u, at.y + l.Y - v, at.lit + 2*l.Mean}, n+1
			}
			if read {
				near, read = j.nearest(near, way)
			}
		}
	}
	if n < 2 {
		return spot{}, false
	}
	return spot{x + at.x/n, y + at.y/n, at.lit / n}, true
}
