package sacn

import (
	"math"
	"testing"
)

// E1.11: 22 676 us for 512 slots, which is 44.099 Hz; never under 1204 us
// (the project's sheet of check values, 1.5.1).
func TestMaxRate(t *testing.T) {
	for slots, want := range map[int]float64{512: 44.099, 24: 1e6 / 1204, 1: 1e6 / 1204, 170: 1e6 / (104 + 171*44)} {
		if got := MaxRate(slots); math.Abs(got-want) > 0.001 {
			t.Errorf("%d slots: %.3f, want %.3f", slots, got, want)
		}
	}
}
