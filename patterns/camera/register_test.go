package camera

import (
	"math/rand/v2"
	"testing"
)

// A film may begin in the dark preamble, with nothing in sight but windows and lamps: it
// is laid all the same, by the frames that show the yard, and the hand's way is followed
// to both sides of them.
func TestFilmThatBeginsInTheDark(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	somewhere := func() peak { return peak{x: 900 * rnd.Float64(), y: 500 * rnd.Float64(), height: 1} }
	var lamps, yard []peak
	for range 15 {
		lamps = append(lamps, somewhere())
	}
	for range 300 {
		yard = append(yard, somewhere())
	}
	const frames, dark = 100, 14
	hand := func(i int) (dx, dy float64) { return 0.4 * float64(i), -0.2 * float64(i) }
	var film [][]peak
	for i := range frames {
		dx, dy := hand(i)
		var seen []peak
		add := func(p peak) { seen = append(seen, peak{p.x + dx, p.y + dy, p.height}) }
		if i >= dark {
			for _, p := range yard {
				if rnd.IntN(2) == 0 { // half of the yard is lit
					add(p)
				}
			}
		}
		for _, p := range lamps {
			add(p)
		}
		film = append(film, seen)
	}
	a, motions, err := layAll(film)
	if err != nil {
		t.Fatal(err)
	}
	if a.base < dark {
		t.Errorf("laid on frame %d, which is dark", a.base)
	}
	bx, by := hand(a.base)
	for i, m := range motions {
		x, y := hand(i)
		if dx, dy := m.dx-(x-bx), m.dy-(y-by); dx*dx+dy*dy > 1 {
			t.Errorf("frame %d is laid %.1f, %.1f off", i, dx, dy)
		}
	}
}
