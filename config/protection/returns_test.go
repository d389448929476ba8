package protection

import (
	"fmt"
	"strings"
	"testing"

	"yardproof/config/budget"
	"yardproof/config/configtest"
)

// Three strings of 6 A hang between two feeders of 14 AWG: with one return open the other
// carries all 18 A, and no fuse has more than its 9 A. What is named mends it.
func TestOpenReturnOfAFeederIsWarnedOf(t *testing.T) {
	plan := func(awg int) *Report {
		var w strings.Builder
		fmt.Fprintf(&w, "supplies: [{name: a, volts: 12, watts: 600}]\nfeeders:\n  - {name: near, supply: a, awg: %d, metres: 2, fuse_amps: 15}\n  - {name: far, supply: a, awg: 12, metres: 2, fuse_amps: 15}\nstrings:\n", awg)
		for i := range 3 {
			fmt.Fprintf(&w, "  - {name: s%d, universe: %d, pixels: 100, supply: a, amps_per_pixel: 0.06, pitch: {awg: 12, millimetres: 50}, feeds: [{at: start, from: near, awg: 12, metres: 1, fuse_amps: 10}, {at: end, from: far, awg: 12, metres: 1, fuse_amps: 10}]}\n", i, 1+2*i)
		}
		p := configtest.Load(t, w.String())
		return New(p, budget.New(p))
	}
	r := plan(14)
	if len(r.Problems) != 1 || len(r.Findings) != 1 {
		t.Fatal(r.Problems)
	}
	if f := r.Findings[0]; f.Amps < 17.999 || f.Limit != 15 || f.Place != "feeder near" || !strings.HasPrefix(f.Mend, "12 AWG for feeder near") ||
		!strings.Contains(f.What, "18.00 A at full white of every string while the return of feeder far is open") {
		t.Errorf("%+v", f)
	}
	if r := plan(12); len(r.Findings) > 0 {
		t.Error(r.Findings)
	}
}
