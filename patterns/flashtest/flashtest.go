// Package flashtest counts flashes in rendered frames, for tests: of patterns, and
// of whoever shows them one after another. Programs must not import it.
//
// Flashing is counted as WCAG 2.x success criterion 2.3.1 defines it. A general
// flash is a pair of opposing changes of relative luminance of 10 % of the maximum
// or more, the darker state below 0.80; a red flash is a pair of opposing
// transitions involving a saturated red. No more than three in any one second. The
// red rule's figures (R over R+G+B at least 0.8; R-G-B times 320, not below 0,
// changes by more than 20) are the definition's note, from memory.
//
// The criterion spares small areas; this package does not: it counts for each pixel
// and for all pixels as a whole. It is about web pages; lights outdoors are held to
// it by analogy.
package flashtest

import (
	"strings"
	"time"
)

// Frame is the time between two frames.
const Frame = 25 * time.Millisecond

// Limit is the most flashes in any one second.
const Limit = 3

// Watcher sees what an eye does: each pixel, and the whole.
type Watcher struct {
	frame        int
	general, red []changes // one a pixel; the last for the whole
}

// New returns a watcher of so many pixels.
func New(pixels int) *Watcher {
	return &Watcher{general: make([]changes, pixels+1), red: make([]changes, pixels+1)}
}

// See takes the next frame as strings of slots, each with the order of its pixels'
// slots. Together they have as many pixels as the watcher.
func (w *Watcher) See(orders []string, slots [][]byte) {
	luminance, redness, n := 0.0, 0.0, 0
	for i, order := range orders {
		ri, gi, bi, wi := strings.IndexByte(order, 'R'), strings.IndexByte(order, 'G'), strings.IndexByte(order, 'B'), strings.IndexByte(order, 'W')
		for p := slots[i]; len(p) >= len(order); p = p[len(order):] {
			white := 0.0
			if wi >= 0 {
				white = float64(p[wi]) / 255
			}
			r, g, b := min(1, float64(p[ri])/255+white), min(1, float64(p[gi])/255+white), min(1, float64(p[bi])/255+white)
			y := 0.2126*r + 0.7152*g + 0.0722*b // relative luminance of linear levels, ITU-R BT.709 primaries
			saturated := 0.0
			if r > 0 && r/(r+g+b) >= 0.8 {
				saturated = max(0, (r-g-b)*320)
			}
			w.general[n].see(w.frame, y, 0.10, 0.80)
			w.red[n].see(w.frame, saturated, redStep, 320)
			luminance, redness, n = luminance+y, redness+saturated, n+1
		}
	}
	if n > 0 {
		w.general[n].see(w.frame, luminance/float64(n), 0.10, 0.80)
		w.red[n].see(w.frame, redness/float64(n), redStep, 320)
	}
	w.frame++
}

const redStep = 20.0001 // more than 20

// Worst returns the most general and red flashes in any one second, of the pixel
// (from 1; one more than there are: the whole) that has the most.
func (w *Watcher) Worst() (general, red float64, pixel int) {
	for i := range w.general {
		g, r := w.general[i].worst(), w.red[i].worst()
		if max(g, r) > max(general, red) {
			pixel = i + 1
		}
		general, red = max(general, g), max(red, r)
	}
	return general, red, pixel
}

// changes finds opposing changes in a row of values.
type changes struct {
	low, high float64
	direction int
	started   bool
	when      []int // frames
}

// see takes the next value. A change counts from a size of step on, when its darker
// end is below darker.
func (c *changes) see(frame int, v, step, darker float64) {
	if !c.started {
		c.low, c.high, c.started = v, v, true
		return
	}
	c.low, c.high = min(c.low, v), max(c.high, v)
	switch {
	case c.direction <= 0 && v-c.low >= step && c.low < darker:
		c.direction, c.high = 1, v
		c.when = append(c.when, frame)
	case c.direction >= 0 && c.high-v >= step && v < darker:
		c.direction, c.low = -1, v
		c.when = append(c.when, frame)
	}
}

// worst is the greatest number of flashes, pairs of changes, in any second.
func (c *changes) worst() float64 {
	most := 0
	for i := range c.when {
		for j := i + most; j < len(c.when) && c.when[j]-c.when[i] < int(time.Second/Frame); j++ {
			most = j - i + 1
		}
	}
	return float64(most) / 2
}
