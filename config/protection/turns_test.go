package protection

import (
	"fmt"
	"testing"
)

// Between pixels 5 and 6, two metres apart, first the fuse at 5 binds, then the one of the box
// that both hang on, then that at 6. With the fuse at start gone, and its return there, no return
// lead carries more at any of a fine grid of places than was worked out, nor less at the worst:
// the box's is worst where the second fuse takes over from the first.
func TestThirdFuseBindsBetween(t *testing.T) {
	_, _, w := made(t, supplies+"feeders: [{name: box, supply: a, awg: 10, metres: 1, fuse_amps: 7}]\n"+
		"strings: [{name: quay, universe: 1, pixels: 8, supply: a, amps_per_pixel: 0.02, pitch: {awg: 18, millimetres: 2000}, "+
		"feeds: [{at: start, awg: 14, metres: 1, fuse_amps: 5}, {at: 5, from: box, awg: 16, metres: 1, fuse_amps: 5}, {at: 6, from: box, awg: 16, metres: 1, fuse_amps: 5}]}]\n")
	plus, minus := newRail(w, nil, only(w.s.Feeds[0])), newRail(w, nil, nothing)
	var m memory
	h := holds(plus, w)
	got := m.worstCase(plus, minus, h, load{nodes: w.dark}, 12)
	f := &m.faults
	best, at, binds := make([]float64, 4), make([]float64, 4), map[int]bool{}
	for k := 1; k < len(w.White); k++ {
		if plus.piece[k] < 0 {
			continue
		}
		f.bind(plus.piece[k])
		for i := range 1001 {
			x := f.at(k, float64(i)/1000)
			if k == 6 {
				binds[x.by] = true
			}
			for j, share := range minus.mixed(&x.draw[1], minus.current, 4) {
				if a := x.amps * share; a > best[j] {
					best[j], at[j] = a, float64(k-1)+float64(i)/1000
				}
			}
		}
	}
	if len(binds) != 3 {
		t.Fatalf("%v bind between the two", binds)
	}
	for j, amps := range best {
		within(t, fmt.Sprintf("return lead %d, worst at %.3f", j, at[j]), got.leads[1][j].amps, amps, 0.002)
	}
}
