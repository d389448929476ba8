package configtest

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// Broken is a plan that somebody might have written before knowing better: strings of up
// to so many pixels and two more, without feeds or fuses, with thin leads and too few of
// them, on feeders that are too weak.
func Broken(r *rand.Rand, pixels int) string {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	var w strings.Builder
	fmt.Fprintf(&w, "temperature: %d\nsupplies:\n", r.IntN(50)-10)
	volts := []int{12, 12, 5, 24}[r.IntN(4)]
	chip := []string{"ws2811", "ws2811"}
	if volts == 12 {
		chip[1] = "ws2815"
	}
	for i := range 1 + r.IntN(3) {
		fmt.Fprintf(&w, "  - {name: hut-%d, volts: %d, watts: %s, at: [%d, %d]}\n", i, volts, pick("60", "150", "350"), r.IntN(20), r.IntN(4))
	}
	feeder := r.IntN(2) == 0
	if feeder {
		fmt.Fprintf(&w, "feeders: [{name: box, supply: hut-0, awg: %s, metres: %d, fuse_amps: %s, at: [%d, 1]}] # along the wall\n",
			pick("16", "12", "10"), 2+r.IntN(8), pick("5", "10", "15"), r.IntN(20))
	}
	w.WriteString("strings:\n")
	for i := range 2 + r.IntN(3) {
		n := 3 + r.IntN(pixels)
		x := r.IntN(20)
		fmt.Fprintf(&w, "  # string %d\n  - name: s%d\n    universe: %d\n    pixels: %d\n    volts: %d\n", i, i, 1+i, n, volts)
		fmt.Fprintf(&w, "    amps_per_pixel: %.4f # metered\n    pitch: {awg: %s, millimetres: %d}\n", (0.5+5*r.Float64())/float64(n), pick("16", "18", "20"), 50+r.IntN(300))
		fmt.Fprintf(&w, "    chip: {name: %s, lowest_volts: %g}\n    at: [%d, 0]\n    to: [%d, 0]\n", chip[r.IntN(2)], float64(volts)*0.87, x, x+1+r.IntN(8))
		if r.IntN(4) == 0 {
			fmt.Fprintf(&w, "    jumpers: [{after: %d, metres: %d}]\n", 1+r.IntN(n-1), 1+r.IntN(3))
		}
		if r.IntN(4) == 0 {
			fmt.Fprintf(&w, "    feed_points: [%d]\n", 1+r.IntN(n-1))
		}
		if r.IntN(4) == 0 {
			w.WriteString("    connector_amps: 5\n")
		}
		if r.IntN(6) == 0 {
			w.WriteString("    load: power\n")
		}
		lead := func(at string) string {
			from := "supply: hut-0"
			if feeder && r.IntN(2) == 0 {
				from = "from: box"
			}
			fuse := pick("", ", fuse_amps: 3", ", fuse_amps: 7.5", ", fuse_amps: 15")
			return fmt.Sprintf("{at: %s, %s, awg: %s, metres: %d%s}", at, from, pick("20", "18", "14"), 1+r.IntN(9), fuse)
		}
		switch r.IntN(4) {
		case 0:
			w.WriteString("    supply: hut-0\n")
		case 1:
			fmt.Fprintf(&w, "    feeds: [%s]\n", lead("start"))
		case 2:
			fmt.Fprintf(&w, "    feeds:\n      # by the stairs\n      - %s # blue\n      - %s\n", lead("start"), lead("end"))
		}
	}
	return w.String()
}
