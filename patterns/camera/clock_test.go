package camera

import (
	"math"
	"testing"
	"time"

	"yardproof/patterns"
)

// Where frames are lost as the preamble begins and as it ends, only some phases leave no
// dark frame among the lit ones: a chip off, lights change as sharply.
func TestClockOverAGap(t *testing.T) {
	const lights = 60
	for k := range 40 {
		begun := 10.9 + .007*float64(k)
		var times []time.Duration
		var values [][]value
		for at := 0.0; at < 16.4; at += .0973 {
			if at > begun-.15 && at < begun+.17 || at > begun+1.08 && at < begun+1.23 {
				continue // lost
			}
			loop := math.Mod(at-begun+2*13.8, 13.8)
			v := make([]value, lights)
			for l := range v {
				if chip := int(loop/.2) - patterns.CodePreamble; chip >= 0 {
					on := float32(patterns.CodeWord(3*l) >> (patterns.CodeLength - 1 - chip) & 1)
					v[l] = value{on, on, on}
				}
			}
			times, values = append(times, time.Duration(at*1e9)), append(values, v)
		}
		c, ok := findClock(times, values)
		if off := math.Abs(math.Mod(c.start-begun+1.5*13.8, 13.8) - 13.8/2); !ok || off > .1 {
			t.Errorf("the loop is said to begin at %.3f s, and begins at %.3f", c.start, begun)
		}
	}
}
