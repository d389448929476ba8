package session

import (
	"math/rand/v2"
	"testing"
	"time"

	"yardproof/patterns"
	"yardproof/patterns/flashtest"
)

// Whatever people ask for, and however fast: the yard flashes no more than three
// times a second, neither a pixel nor the whole.
func TestNoRequestsFlash(t *testing.T) {
	rnd := rand.New(rand.NewPCG(7, 7))
	all := patterns.All()
	choices := [][]string{nil, {"left"}, {"right"}, {"left", "right"}}
	for run := range 40 {
		y := newYard(t, twoStrings)
		w := flashtest.New(30)
		tempo := 1 + rnd.IntN(60) // frames between requests, at most
		for range 2400 {
			if rnd.IntN(tempo) == 0 {
				if run%2 == 0 && rnd.IntN(3) == 0 {
					y.s.HoldDark("a test", y.now)
					y.s.Resume()
				} else {
					p := all[rnd.IntN(len(all))]
					if run%4 < 2 { // the brightest and the darkest
						p, _ = patterns.Lookup([]string{"full-white", "ramp", "number", "one-slot", "dark"}[rnd.IntN(5)])
					}
					y.show(Request{
						Pattern: p.Name, Options: patterns.Options{Slot: rnd.IntN(4), Count: rnd.IntN(25)}, Strings: choices[rnd.IntN(len(choices))],
						Level: float64(rnd.IntN(5)) / 4, LevelExplicit: rnd.IntN(2) == 0, Hold: time.Duration(rnd.IntN(4)) * time.Second,
					})
				}
			}
			y.frames(1)
			w.See([]string{"RGB", "RGB"}, [][]byte{y.slots[0][:60], y.slots[0][99:129]})
		}
		if general, red, pixel := w.Worst(); max(general, red) > flashtest.Limit {
			t.Fatalf("run %d, a request in every %d frames, pixel %d: %v general and %v red flashes in a second", run, tempo, pixel, general, red)
		}
	}
}
