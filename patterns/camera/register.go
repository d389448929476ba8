package camera

import (
	"math"
	"slices"
)

// motion takes a place of the map to a frame: a small turn about the origin, then a
// shift.
type motion struct{ dx, dy, turn float64 }

func (m motion) apply(x, y float64) (float64, float64) {
	return x - m.turn*y + m.dx, y + m.turn*x + m.dy
}

func (m motion) undo(x, y float64) (float64, float64) {
	x, y = x-m.dx, y-m.dy
	return x + m.turn*y, y - m.turn*x
}

// place is a place of the map where lights were.
type place struct {
	x, y float64
	seen int // frames with a peak there
}

// atlas is the map of lights that grows as frames are laid on it. Lights are points,
// so a frame is laid by its points: that is faster than by pictures, and what blinks
// between two frames costs only its own points.
type atlas struct {
	places []place
	grid   map[[2]int32][]int32
	last   motion
	base   int // the frame that the map begins with
}

const (
	cell     = 4.0  // pixels of the grid
	reach    = 48   // pixels that a phone may jump between two frames
	voters   = 500  // brightest peaks that vote on a shift
	near     = 1.5  // pixels: one place
	minMatch = 12   // peaks that must agree
	maxTurn  = 0.03 // radians from frame to frame
)

func newAtlas() *atlas { return &atlas{grid: map[[2]int32][]int32{}} }

func cellOf(x, y float64) [2]int32 {
	return [2]int32{int32(math.Floor(x / cell)), int32(math.Floor(y / cell))}
}

// nearest is the place nearest to a place of the map, within r; -1: none.
func (a *atlas) nearest(x, y, r float64) int {
	best, at := r*r, -1
	lo, hi := cellOf(x-r, y-r), cellOf(x+r, y+r)
	for gx := lo[0]; gx <= hi[0]; gx++ {
		for gy := lo[1]; gy <= hi[1]; gy++ {
			for _, i := range a.grid[[2]int32{gx, gy}] {
				l := &a.places[i]
				if d := (l.x-x)*(l.x-x) + (l.y-y)*(l.y-y); d < best {
					best, at = d, int(i)
				}
			}
		}
	}
	return at
}

// layAll lays all frames on a map. It begins with one that shows about as much as most
// do: a film may begin in the dark preamble, whose few windows and lamps are no map to lay
// a lit yard on. A frame that shows too little is taken to lie between those before and
// after it.
func layAll(peaks [][]peak) (*atlas, []motion, error) {
	a, motions := newAtlas(), make([]motion, len(peaks))
	laid, tried := make([]bool, len(peaks)), 0
	counts := make([]int, len(peaks))
	for i, p := range peaks {
		counts[i] = len(p)
	}
	slices.Sort(counts)
	enough := max(minMatch, counts[len(counts)*3/4]/2)
	a.base = slices.IndexFunc(peaks, func(p []peak) bool { return len(p) >= enough })
	if a.base < 0 {
		return nil, nil, ErrEmpty
	}
	a.learn(peaks[a.base], motion{})
	laid[a.base] = true
	lay := func(i int) {
		if len(peaks[i]) >= minMatch {
			motions[i], laid[i] = a.lay(peaks[i])
			tried++
		}
	}
	for i := a.base + 1; i < len(peaks); i++ {
		lay(i)
	}
	a.last = motion{}
	for i := a.base - 1; i >= 0; i-- {
		lay(i)
	}
	tried++ // the first
	n := 0
	for i, ok := range laid {
		if ok {
			n++
			continue
		}
		before, after := i-1, i+1
		for before >= 0 && !laid[before] {
			before--
		}
		for after < len(laid) && !laid[after] {
			after++
		}
		switch {
		case before >= 0 && after < len(laid):
			motions[i] = motions[before].between(motions[after], float64(i-before)/float64(after-before))
		case before >= 0:
			motions[i] = motions[before]
		case after < len(laid):
			motions[i] = motions[after]
		}
	}
	switch {
	case tried < len(peaks)/4:
		return nil, nil, ErrEmpty
	case n < tried*6/10:
		return nil, nil, ErrShaky
	}
	return a, motions, nil
}

func (m motion) between(to motion, share float64) motion {
	return motion{m.dx + (to.dx-m.dx)*share, m.dy + (to.dy-m.dy)*share, m.turn + (to.turn-m.turn)*share}
}

// lay finds the motion of a frame and adds its peaks to the map. It reports false
// for a frame that does not fit.
func (a *atlas) lay(peaks []peak) (motion, bool) {
	m, ok := a.find(peaks)
	if !ok {
		return a.last, false
	}
	a.last = m
	a.learn(peaks, m)
	return m, true
}

// find tries the last motion first, and lets the peaks vote when few fit.
func (a *atlas) find(peaks []peak) (motion, bool) {
	some := peaks[:min(len(peaks), voters)]
	m, n := a.fit(some, a.last, 3)
	if n < len(some)*6/10 {
		if v, k := a.fit(some, a.vote(some), 3); k > n+n/10 {
			m, n = v, k
		}
	}
	if n < minMatch || n < len(some)/4 {
		return a.last, false
	}
	return m, true
}

// vote counts displacements between peaks and places; the most frequent one wins.
func (a *atlas) vote(peaks []peak) motion {
	const side = 2*reach + 1
	var count [side][side]float64
	for _, p := range peaks {
		x, y := a.last.undo(p.x, p.y)
		lo, hi := cellOf(x-reach, y-reach), cellOf(x+reach, y+reach)
		for gx := lo[0]; gx <= hi[0]; gx++ {
			for gy := lo[1]; gy <= hi[1]; gy++ {
				for _, i := range a.grid[[2]int32{gx, gy}] {
					dx, dy := int(math.Round(x-a.places[i].x))+reach, int(math.Round(y-a.places[i].y))+reach
					if dx >= 0 && dx < side && dy >= 0 && dy < side {
						count[dx][dy]++
					}
				}
			}
		}
	}
	best, m := 0.0, a.last
	for x := 1; x < side-1; x++ {
		for y := 1; y < side-1; y++ {
			sum := 0.0
			for i := -1; i <= 1; i++ {
				for j := -1; j <= 1; j++ {
					sum += count[x+i][y+j]
				}
			}
			dx, dy := float64(x-reach), float64(y-reach)
			sum *= 1 - .1*math.Hypot(dx, dy)/reach // among equals the smaller jump
			if sum > best {
				best, m = sum, motion{a.last.dx + dx, a.last.dy + dy, a.last.turn}
			}
		}
	}
	return m
}

// fit refines a motion by least squares over pairs that it brings together, and
// returns how many agree.
func (a *atlas) fit(peaks []peak, m motion, r float64) (motion, int) {
	n := 0
	for range 4 {
		var sx, sy, ux, uy, suv, suu float64
		type pair struct{ x, y, u, v float64 }
		pairs := make([]pair, 0, len(peaks))
		for _, p := range peaks {
			x, y := m.undo(p.x, p.y)
			if i := a.nearest(x, y, r); i >= 0 {
				l := a.places[i]
				pairs = append(pairs, pair{l.x, l.y, p.x - l.x, p.y - l.y})
			}
		}
		if n = len(pairs); n < minMatch {
			return m, n
		}
		for _, p := range pairs {
			sx, sy, ux, uy = sx+p.x, sy+p.y, ux+p.u, uy+p.v
		}
		k := float64(n)
		sx, sy, ux, uy = sx/k, sy/k, ux/k, uy/k
		for _, p := range pairs {
			x, y := p.x-sx, p.y-sy
			suv += x*(p.v-uy) - y*(p.u-ux)
			suu += x*x + y*y
		}
		turn := max(-4*maxTurn, min(4*maxTurn, suv/max(suu, 1)))
		m = motion{ux + turn*sy, uy - turn*sx, turn}
		r = max(near, r*.7)
	}
	return m, n
}

// learn adds what a frame shows to the map; places settle as means.
func (a *atlas) learn(peaks []peak, m motion) {
	for _, p := range peaks {
		x, y := m.undo(p.x, p.y)
		if i := a.nearest(x, y, near); i >= 0 {
			l := &a.places[i]
			l.seen++
			k := 1 / float64(min(l.seen, 60))
			l.x, l.y = l.x+(x-l.x)*k, l.y+(y-l.y)*k // it may leave its cell by less than a search reaches
			continue
		}
		c := cellOf(x, y)
		a.grid[c] = append(a.grid[c], int32(len(a.places)))
		a.places = append(a.places, place{x, y, 1})
	}
}

const (
	maxCandidates = 12000
	minShare      = 0.06 // of the frames in which a place must have been a peak
)

// candidates are the places that were there often enough, the most often first.
func (a *atlas) candidates(frames int) []place {
	var found []place
	for _, l := range a.places {
		if l.seen >= max(4, int(minShare*float64(frames))) {
			found = append(found, l)
		}
	}
	slices.SortFunc(found, func(p, q place) int { return q.seen - p.seen })
	return found[:min(len(found), maxCandidates)]
}
