package patterns_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"yardproof/patterns"
	"yardproof/patterns/flashtest"
)

func check(t *testing.T, w *flashtest.Watcher, what string, l patterns.Layout) {
	t.Helper()
	if general, red, pixel := w.Worst(); max(general, red) > flashtest.Limit {
		t.Fatalf("%s, %+v, pixel %d (one more than there are: the whole): %v general and %v red flashes in a second", what, l, pixel, general, red)
	}
}

func TestNoPatternFlashes(t *testing.T) {
	for _, p := range patterns.All() {
		for _, l := range patterns.Layouts() {
			if l.Pixels > 17 && l.Number != 100 { // more pixels of the same
				continue
			}
			for _, o := range []patterns.Options{{}, {Pixel: 3, Slot: 2, Count: 4, First: 1, Last: 2}} {
				w := flashtest.New(l.Pixels)
				dst := [][]byte{make([]byte, l.Pixels*len(l.Order))}
				for at := time.Duration(0); at < 22*time.Second; at += flashtest.Frame {
					p.Frame(dst[0], l, o, at)
					w.See([]string{l.Order}, dst)
				}
				check(t, w, p.Name, l)
			}
		}
	}
}

// Any sequence of patterns and options keeps the limit when changes come no faster
// than MinChange, with dark in between at any time.
func TestNoSequenceFlashes(t *testing.T) {
	rnd := rand.New(rand.NewPCG(20, 26))
	all := patterns.All()
	for run := range 400 {
		l := patterns.Layouts()[rnd.IntN(len(patterns.Layouts()))]
		l.Pixels = min(l.Pixels, 24)
		w := flashtest.New(l.Pixels)
		dst := [][]byte{make([]byte, l.Pixels*len(l.Order))}
		name := ""
		for range 40 {
			p := all[rnd.IntN(len(all))]
			if run%4 == 0 { // the brightest against the darkest
				p, _ = patterns.Lookup([]string{"dark", "ramp", "number", "one-slot", "half", "block"}[rnd.IntN(6)])
			}
			name += " " + p.Name
			o := patterns.Options{Pixel: rnd.IntN(60), Slot: rnd.IntN(5), Count: rnd.IntN(60), First: rnd.IntN(20), Last: rnd.IntN(24)}
			lit := patterns.MinChange + time.Duration(rnd.IntN(4)*rnd.IntN(10))*flashtest.Frame
			darkAt := time.Duration(rnd.IntN(60)) * flashtest.Frame
			if run%3 == 0 { // as fast as the rule allows
				lit, darkAt = patterns.MinChange, time.Duration(1+rnd.IntN(4))*flashtest.Frame
			}
			for at := time.Duration(0); at < max(lit, darkAt+patterns.MinChange); at += flashtest.Frame {
				if p.Frame(dst[0], l, o, at); at >= darkAt && run%2 == 1 {
					clear(dst[0])
				}
				w.See([]string{l.Order}, dst)
			}
		}
		check(t, w, name, l)
	}
}

// Strings of different numbers that blink together keep one beat.
func TestNumbersTogether(t *testing.T) {
	p, _ := patterns.Lookup("number")
	w := flashtest.New(64)
	orders, dst := make([]string, 64), make([][]byte, 64)
	for i := range dst {
		orders[i], dst[i] = "RGB", make([]byte, 3)
	}
	for at := time.Duration(0); at < 60*time.Second; at += flashtest.Frame {
		for i := range dst {
			p.Frame(dst[i], patterns.Layout{Pixels: 1, Order: "RGB", Number: i * 7}, patterns.Options{}, at)
		}
		w.See(orders, dst)
	}
	check(t, w, "64 numbers", patterns.Layout{})
}
