package burnin

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// Hours are those of the string's own universes: what was refused, or never
// arrived where that is measured, served nobody.
func TestServedByUniverse(t *testing.T) {
	for _, c := range []struct {
		name        string
		set         func(y *yard)
		right       time.Duration // that gable-right, on universe 2, was served in half an hour
		left        string        // evidence of gable-left
		rightRefuse uint64
	}{
		{"all sent", func(*yard) {}, 30 * time.Minute, "sent, not measured", 0},
		{"refused", func(y *yard) { y.refused[2] = true }, 0, "sent, not measured", 3600},
		{"all arrived", func(y *yard) { y.arrived = map[uint16]uint64{1: 0, 2: 0, 3: 0} }, 30 * time.Minute, "arrived at the far end", 0},
		{"lost on the way", func(y *yard) { y.arrived = map[uint16]uint64{1: 0, 2: 0, 3: 0}; y.lost[2] = true }, 0, "arrived at the far end", 0},
	} {
		synctest.Test(t, func(t *testing.T) {
			y := newYard(t, shortProgramme)
			c.set(y)
			y.start(nil)
			defer y.end()
			pass(30 * time.Minute)
			if got := y.served("gable-left"); got < 29*time.Minute+58*time.Second {
				t.Errorf("%s: gable-left was served %v of 30 minutes", c.name, got)
			}
			if got := y.served("gable-right"); got < c.right-2*time.Second || got > c.right+2*time.Second {
				t.Errorf("%s: gable-right was served %v, want %v", c.name, got, c.right)
			}
			r := y.b.Report()
			if got := r.Strings["gable-left"].Evidence(); got != c.left {
				t.Errorf("%s: %q, want %q", c.name, got, c.left)
			}
			if got := r.Strings["gable-right"].Refused; got+2 < c.rightRefuse || got > c.rightRefuse+2 {
				t.Errorf("%s: %d packets refused, want %d", c.name, got, c.rightRefuse)
			}
			if behind := strings.Join(r.Behind, ","); (behind == "gable-right") != (c.right == 0) {
				t.Errorf("%s: behind: %q", c.name, behind)
			}
			if r.State == Finished {
				t.Errorf("%s: finished", c.name)
			}
		})
	}
}

// A string on two universes was served what went out on both.
func TestServedOnAllItsUniverses(t *testing.T) {
	for _, refused := range []uint16{3, 4} {
		synctest.Test(t, func(t *testing.T) {
			y := newYard(t, strings.Replace(shortProgramme, "universe: 3, pixels: 50", "universe: 3, pixels: 300", 1))
			y.refused[refused] = true
			y.start(nil)
			defer y.end()
			pass(10 * time.Minute)
			if left, roof := y.served("gable-left"), y.served("roof"); left < 9*time.Minute || roof != 0 {
				t.Errorf("universe %d refused: gable-left was served %v, roof %v", refused, left, roof)
			}
		})
	}
}
