package yard

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// Every kind finds a place in the built-in plan, and whatever is drawn can be seen
// or read there: a fault that shows nothing would be no exercise.
func TestEveryKindShows(t *testing.T) {
	p, b := demo(t)
	frames := [][][]byte{frameOf(p, func(n, i int) byte { return byte(180 - n) }), frameOf(p, func(n, i int) byte { return byte(40 + (n+i)*7%90) })}
	for _, info := range Kinds() {
		r := rand.New(rand.NewPCG(1, 2))
		for range 5 {
			f, ok := Random(r, p, info.Kind, info.Range[0], info.Range[1])
			if !ok {
				t.Errorf("%s: no place for it", info.Kind)
				break
			}
			y, healthy := lay(t, p, b, f), lay(t, p, b)
			seen := false
			for i := 0; i < 40 && !seen; i++ {
				at := time.Duration(i) * 25 * time.Millisecond
				if i > 20 {
					at = time.Duration(i) * 30 * time.Second
				}
				y.Frame(at, frames[i/2%2])
				healthy.Frame(at, frames[i/2%2])
				seen = differ(y, healthy)
			}
			if !seen {
				t.Errorf("%+v shows nothing", f)
			}
		}
	}
}

func differ(a, b *Yard) bool {
	for n, s := range a.Plan.Strings {
		x, y := a.Look(nil, n), b.Look(nil, n)
		for i := range x {
			if x[i] != y[i] {
				return true
			}
		}
		for pixel := 0; pixel <= s.Pixels; pixel++ {
			if math.Abs(a.Volts(n, pixel)-b.Volts(n, pixel)) > 0.003 {
				return true
			}
		}
		for f := range s.Feeds {
			if math.Abs(a.FeedAmps(n, f)-b.FeedAmps(n, f)) > 0.003 {
				return true
			}
		}
	}
	return false
}
