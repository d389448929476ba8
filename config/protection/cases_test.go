package protection

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"yardproof/config"
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

// TestCasesApart works out each case of random plans with rails and memory of its own: each
// piece carries what it does where they are laid one after another and shared.
func TestCasesApart(t *testing.T) {
	cuts := 0
	for seed := range uint64(*plans) {
		text := anyPlan(rand.New(rand.NewPCG(seed, 17)))
		_, _, w := made(t, text)
		cuts += len(w.Cuts)
		apart := pieces{wiring: w}
		apart.nth = make([]int, w.number(spot{rail: 2}))
		try := func(plusLost, minusLost func(*config.Feed) bool, when open) {
			for i, l := range append(w.loads(), load{nodes: w.White}) {
				plus, minus := newRail(w, w.Cuts, plusLost), newRail(w, nil, minusLost)
				if len(plus.leads) == 0 || len(minus.leads) == 0 {
					return
				}
				h, volts := holds(plus, w), w.s.Volts
				if i == len(w.loads()) {
					h, volts = nil, 0
				}
				apart.take([2]*rail{plus, minus}, new(memory).worstCase(plus, minus, h, l, volts), when)
			}
		}
		try(nothing, nothing, open{})
		for _, f := range w.s.Feeds {
			try(nothing, only(f), open{"return", "", ""})
			try(only(f), nothing, open{"fuse", "", ""})
			if f.Feeder != nil {
				gone := func(o *config.Feed) bool { return o.Feeder == f.Feeder }
				try(gone, nothing, open{"fuse", "", ""})
				try(nothing, gone, open{"return", "", ""})
			}
		}
		list := w.worst(new(memory))
		if len(list) != len(apart.list) {
			t.Errorf("plan %d: %d pieces, apart %d", seed, len(list), len(apart.list))
		}
		for _, p := range list {
			if n := apart.nth[w.number(p.spot)]; n == 0 || math.Abs(apart.list[n-1].Amps-p.Amps) > 2e-6 {
				t.Errorf("plan %d: %s (%s) %s carries %g A, apart %v\n%s", seed, p.Place, p.Conductor, p.When, p.Amps, apart.list[max(n, 1)-1].Amps, text)
			}
		}
	}
	if cuts == 0 {
		t.Error("no plan has a cut")
	}
}
