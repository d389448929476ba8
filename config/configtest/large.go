package configtest

import (
	"fmt"
	"strings"
)

// Large are plans of so many strings of 100 pixels, no two alike, that cost a check most: with
// nothing to be found; with one mend to be looked for in each; with three feeds and their mends;
// with every string between two of many feeders, so that all hang together; with eight feeds that
// nothing mends.
func Large(count int) map[string]string {
	const start, end = "{at: start, awg: 16, metres: 2, fuse_amps: 5}", "{at: end, awg: 16, metres: %[2]d.%04[1]d, fuse_amps: 5}"
	return map[string]string{
		"sound":  large(count, 0, start+", "+end),
		"mended": large(count, 0, "{at: start, awg: 18, metres: 1, fuse_amps: 10}, {at: end, awg: 18, metres: %[2]d.%04[1]d, fuse_amps: 10}"),
		"three":  large(count, 0, "{at: start, awg: 18, metres: 1, fuse_amps: 7}, {at: 50, awg: 18, metres: 3, fuse_amps: 7}, {at: end, awg: 18, metres: %[2]d.%04[1]d, fuse_amps: 7}"),
		"tied":   large(count, max(2, count/20), "{at: start, from: f%[3]d, awg: 16, metres: 2, fuse_amps: 5}, {at: end, from: f%[4]d, awg: 16, metres: %[2]d.%04[1]d, fuse_amps: 5}"),
		"eight": large(count, 0, "{at: start, awg: 20, metres: 1, fuse_amps: 10}, {at: 14, awg: 20, metres: 1, fuse_amps: 10}, {at: 28, awg: 20, metres: 1, fuse_amps: 10}, "+
			"{at: 42, awg: 20, metres: 1, fuse_amps: 10}, {at: 56, awg: 20, metres: 1, fuse_amps: 10}, {at: 70, awg: 20, metres: 1, fuse_amps: 10}, "+
			"{at: 84, awg: 20, metres: 1, fuse_amps: 10}, {at: end, awg: 20, metres: %[2]d.%04[1]d, fuse_amps: 10}"),
	}
}

func large(count, feeders int, feeds string) string {
	var w strings.Builder
	w.WriteString("supplies: [{name: a, volts: 12, watts: 600}]\n")
	if feeders > 0 {
		w.WriteString("feeders:\n")
	}
	for i := range feeders {
		fmt.Fprintf(&w, "  - {name: f%d, supply: a, awg: 8, metres: 3, fuse_amps: 40}\n", i)
	}
	w.WriteString("strings:\n")
	for i := range count {
		on, next := 0, 0
		if feeders > 0 {
			on, next = i%feeders, (i+1)%feeders
		}
		fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 100, supply: a, amps_per_pixel: 0.03, pitch: {awg: 18, millimetres: 100}, feeds: [%s]}\n", i, 1+i, fmt.Sprintf(feeds, i, 2+i%5, on, next))
	}
	return w.String()
}
