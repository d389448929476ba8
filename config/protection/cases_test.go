package protection

import (
	"fmt"
	"math"
	"testing"

	"yardproof/config/budget"
	"yardproof/config/configtest"
)

// Each case is worst where it is the only one that can be: by hand, all that is drawn comes by
// what is left, where no fault takes more.
func TestEveryCaseIsTried(t *testing.T) {
	for _, tt := range []struct {
		feeders, feeds string
		conductor      string
		place, when    string
		amps           float64
	}{
		{"", "{at: start, awg: 18, metres: 1, fuse_amps: 5}", "V+", "lead at start", "", 6},
		{"", "{at: start, awg: 18, metres: 1, fuse_amps: 5}, {at: end, awg: 18, metres: 1, fuse_amps: 5}", "return", "lead at end", "with the return of the feed at start open", 6},
		{"", "{at: start, awg: 18, metres: 1, fuse_amps: 5}, {at: end, awg: 18, metres: 1, fuse_amps: 5}", "V+", "lead at end", "with the fuse of the feed at start open", 6},
		{"feeders: [{name: a, supply: p, awg: 18, metres: 1, fuse_amps: 5}, {name: b, supply: p, awg: 18, metres: 1, fuse_amps: 5}]\n", "{at: start, from: a}, {at: 40, from: a}, {at: 80, from: b}, {at: end, from: b}", "V+", "feeder b", "with the fuse of feeder a open", 6},
		{"feeders: [{name: a, supply: p, awg: 18, metres: 1, fuse_amps: 5}, {name: b, supply: p, awg: 18, metres: 1, fuse_amps: 5}]\n", "{at: start, from: a}, {at: 40, from: a}, {at: 80, from: b}, {at: end, from: b}", "return", "feeder b", "with the return of feeder a open", 6},
	} {
		p := configtest.Load(t, fmt.Sprintf("supplies: [{name: p, volts: 12, watts: 600}]\n%sstrings: [{name: s, universe: 1, pixels: 120, supply: p, amps_per_pixel: 0.05, pitch: {awg: 12, millimetres: 50}, feeds: [%s]}]\n", tt.feeders, tt.feeds))
		found := false
		for _, x := range New(p, budget.New(p)).Strings[0].Worst {
			found = found || x.Conductor == tt.conductor && x.Place == tt.place && x.When == tt.when && x.Fault == 0 && math.Abs(x.Amps-tt.amps) < 1e-5
		}
		if !found {
			t.Errorf("%s of %s is not %g A %s: %+v", tt.place, tt.conductor, tt.amps, tt.when, New(p, budget.New(p)).Strings[0].Worst)
		}
	}
}
