package patterns

import (
	"math/rand/v2"
	"testing"
	"time"
)

// Flashing is counted as WCAG 2.x success criterion 2.3.1 defines it. A general
// flash is a pair of opposing changes of relative luminance of 10 % of the
// maximum or more, the darker state below 0.80; a red flash is a pair of opposing
// transitions involving a saturated red. No more than three in any one second.
// The red rule's figures (R over R+G+B at least 0.8; R-G-B times 320, not below
// 0, changes by more than 20) are the definition's note, from memory.
//
// The criterion spares small areas; this test does not: it holds for each pixel
// and for the string as a whole.
const frameTime = 25 * time.Millisecond

type flashes struct {
	low, high, direction float64
	started              bool
	when                 []int // frames of opposing changes
}

// see takes the next value; step is the change that counts.
func (f *flashes) see(frame int, v, step, darkerBelow float64) {
	if !f.started {
		f.low, f.high, f.started = v, v, true
		return
	}
	f.low, f.high = min(f.low, v), max(f.high, v)
	switch {
	case f.direction <= 0 && v-f.low >= step && f.low < darkerBelow:
		f.direction, f.high = 1, v
		f.when = append(f.when, frame)
	case f.direction >= 0 && f.high-v >= step && v < darkerBelow:
		f.direction, f.low = -1, v
		f.when = append(f.when, frame)
	}
}

// worst is the greatest number of flashes in any second: pairs of changes.
func (f *flashes) worst() float64 {
	most := 0
	for i := range f.when {
		for j := i; j < len(f.when) && f.when[j]-f.when[i] < int(time.Second/frameTime); j++ {
			most = max(most, j-i+1)
		}
	}
	return float64(most) / 2
}

// watcher sees what an eye does: each pixel, and the whole.
type watcher struct {
	l            Layout
	frame        int
	general, red []flashes // one a pixel; the last for the whole
}

func newWatcher(l Layout) *watcher {
	return &watcher{l: l, general: make([]flashes, l.Pixels+1), red: make([]flashes, l.Pixels+1)}
}

func (w *watcher) see(dst []byte) {
	lum, redness := 0.0, 0.0
	for i := range w.l.Pixels {
		c := w.l.colourAt(dst, i)
		r, g, b := min(1, float64(c.r)/255+float64(c.w)/255), min(1, float64(c.g)/255+float64(c.w)/255), min(1, float64(c.b)/255+float64(c.w)/255)
		y := 0.2126*r + 0.7152*g + 0.0722*b // relative luminance, ITU-R BT.709 primaries
		s := 0.0
		if r > 0 && r/(r+g+b) >= 0.8 {
			s = max(0, (r-g-b)*320)
		}
		w.general[i].see(w.frame, y, 0.10, 0.80)
		w.red[i].see(w.frame, s, 20.0001, 1e9)
		lum, redness = lum+y, redness+s
	}
	if n := float64(w.l.Pixels); n > 0 {
		w.general[w.l.Pixels].see(w.frame, lum/n, 0.10, 0.80)
		w.red[w.l.Pixels].see(w.frame, redness/n, 20.0001, 1e9)
	}
	w.frame++
}

func (w *watcher) check(t *testing.T, what string) {
	t.Helper()
	for i := range w.general {
		if g, r := w.general[i].worst(), w.red[i].worst(); g > 3 || r > 3 {
			t.Fatalf("%s, %+v, pixel %d (the last is the whole): %v general and %v red flashes in a second", what, w.l, i+1, g, r)
		}
	}
}

func TestFlashCounter(t *testing.T) {
	// The counter must be able to fail: full on and off at a given rate.
	for _, tt := range []struct {
		frames int // for on and for off
		want   bool
	}{{1, true}, {5, true}, {6, true}, {7, false}, {10, false}} {
		w := newWatcher(Layout{Pixels: 2, Order: "RGB"})
		for i := range 400 {
			dst := make([]byte, 6)
			if i/tt.frames%2 == 1 {
				for k := range dst {
					dst[k] = 255
				}
			}
			w.see(dst)
		}
		if got := w.general[0].worst() > 3; got != tt.want {
			t.Errorf("%d frames on and off: %v flashes a second", tt.frames, w.general[0].worst())
		}
	}
	w := newWatcher(Layout{Pixels: 1, Order: "RGB"})
	for i := range 400 {
		w.see([]byte{byte(i % 2 * 255), 0, 0})
	}
	if w.red[0].worst() < 15 {
		t.Errorf("20 red flashes a second count as %v", w.red[0].worst())
	}
	slow := newWatcher(Layout{Pixels: 1, Order: "RGB"})
	for i := range 800 { // eight steps up and eight down, each under 10 %
		v := byte(i % 32 * 10)
		if i%32 > 15 {
			v = byte((31 - i%32) * 10)
		}
		slow.see([]byte{v, v, v})
	}
	if got := slow.general[0].worst(); got < 1 || got > 2 {
		t.Errorf("1.25 slow flashes a second count as %v", got)
	}
}

func TestNoPatternFlashes(t *testing.T) {
	for _, p := range All() {
		for _, l := range layouts() {
			if l.Pixels > 60 { // more pixels of the same
				continue
			}
			for _, o := range []Options{{}, {Pixel: 3, Slot: 2, Count: 4}} {
				w := newWatcher(l)
				dst := make([]byte, l.Pixels*l.channels())
				for at := time.Duration(0); at < 22*time.Second; at += frameTime {
					p.Frame(dst, l, o, at)
					w.see(dst)
				}
				w.check(t, p.Name)
			}
		}
	}
}

// Any sequence of patterns and options at any level keeps the limit when changes
// come no faster than MinChange, with dark in between at any time.
func TestNoSequenceFlashes(t *testing.T) {
	rnd := rand.New(rand.NewPCG(20, 26))
	all := All()
	for run := range 400 {
		l := layouts()[rnd.IntN(len(layouts()))]
		l.Pixels = min(l.Pixels, 24)
		w := newWatcher(l)
		dst := make([]byte, l.Pixels*l.channels())
		name := ""
		for range 40 {
			p := all[rnd.IntN(len(all))]
			if run%4 == 0 { // the brightest against the darkest
				p, _ = Lookup([]string{"dark", "ramp", "number", "one-slot", "half"}[rnd.IntN(5)])
			}
			name += " " + p.Name
			o := Options{Pixel: rnd.IntN(60), Slot: rnd.IntN(5), Count: rnd.IntN(60)}
			lit := MinChange + time.Duration(rnd.IntN(4)*rnd.IntN(10))*frameTime
			darkAt := time.Duration(rnd.IntN(60)) * frameTime
			if run%3 == 0 { // as fast as the rule allows
				lit, darkAt = MinChange, time.Duration(1+rnd.IntN(4))*frameTime
			}
			for at := time.Duration(0); at < max(lit, darkAt+MinChange); at += frameTime {
				if p.Frame(dst, l, o, at); at >= darkAt && run%2 == 1 {
					clear(dst)
				}
				w.see(dst)
			}
		}
		w.check(t, name)
	}
}

// Strings of different numbers that blink together keep one beat.
func TestNumbersTogether(t *testing.T) {
	p, _ := Lookup("number")
	w := newWatcher(Layout{Pixels: 64, Order: "RGB"})
	dst := make([]byte, 64*3)
	for at := time.Duration(0); at < 60*time.Second; at += frameTime {
		for i := range 64 {
			p.Frame(dst[3*i:3*i+3], Layout{Pixels: 1, Order: "RGB", Number: i * 7}, Options{}, at)
		}
		w.see(dst)
	}
	w.check(t, "64 numbers")
}
