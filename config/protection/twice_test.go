package protection

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"yardproof/config/budget"
	"yardproof/config/configtest"
)

// With one of two returns open a short sends what both fuses of 5 A hold home through 18 AWG:
// 11 A (by hand), where it may carry 7. No warning is made of it, and what is named mends it.
func TestTwoFaultsAreNamed(t *testing.T) {
	plan := string150(`{at: start, awg: 18, metres: 1, fuse_amps: 5}, {at: end, awg: 18, metres: 1, fuse_amps: 5}`)
	plan = strings.Replace(plan, "0.0555", "0.02", 1)
	p, b, _ := made(t, plan)
	r := New(p, b)
	if len(r.Findings) > 0 || len(r.Twice) != 1 {
		t.Fatalf("%+v, and %+v", r.Findings, r.Twice)
	}
	f := r.Twice[0]
	within(t, "both", f.Amps, 11, 1e-6)
	if f.Limit != 7 || !strings.Contains(f.What, "in two faults at once") || !strings.Contains(f.What, "open") || !strings.HasPrefix(f.Mend, "fuses of at most 3 A on its feeds") {
		t.Errorf("%+v", f)
	}
	if p, b, _ = made(t, strings.ReplaceAll(plan, "fuse_amps: 5", "fuse_amps: 3")); len(New(p, b).Twice) > 0 {
		t.Errorf("with what is named: %+v", New(p, b).Twice)
	}
}

// TestMendsOfTwoFaults does to random plans what is named for two faults at once: that piece
// then bears them.
func TestMendsOfTwoFaults(t *testing.T) {
	tried := map[string]int{}
	for seed := range uint64(*plans) {
		text := anyPlan(rand.New(rand.NewPCG(seed, 17)))
		p := configtest.Load(t, text)
		for _, f := range New(p, budget.New(p)).Twice {
			if f.Place == "feeder box" || strings.Contains(f.Mend, noMend) {
				continue
			}
			q := configtest.Load(t, text)
			for way := range strings.SplitSeq(f.Mend, " and connectors") {
				if !strings.Contains(way, "AWG") && !strings.HasPrefix(way, "fuses") && !strings.HasPrefix(way, "connectors") {
					way = "connectors" + way
				}
				mended(t, q, f.Place, way)
				for kind, form := range mendings {
					if form.MatchString(way) {
						tried[kind]++
					}
				}
			}
			conductor := "(V+)"
			if strings.Contains(f.What, "(return)") {
				conductor = "(return)"
			}
			kind := strings.Fields(f.Place)[0]
			for _, x := range New(q, budget.New(q)).Strings[0].Worst {
				if x.twice() && x.over() > 1+1e-9 && "("+x.Conductor+")" == conductor && (x.Place == f.Place || kind == "pitch" && strings.HasPrefix(x.Place, kind)) {
					t.Errorf("plan %d: %s; %s: still %.3f A in %s\n%s", seed, f.What, f.Mend, x.Amps, x.Place, text)
				}
			}
		}
	}
	for _, kind := range []string{"fuses", "connectors", "pitch", "lead"} {
		if tried[kind] == 0 {
			t.Errorf("%q was never tried: %v", kind, tried)
		}
	}
}

// Others at full white on a feeder of 14 AWG behind no fuse of its own add to what a fault
// of this string draws: 3 A and the 5.5 A that its fuse of 5 A holds (by hand). Behind a
// fuse of 7 A the feeder carries no more than that holds.
func TestOthersOnAFeederAreAdded(t *testing.T) {
	for fuse, amps := range map[string]float64{"": 8.5, ", fuse_amps: 7": 7.7} {
		p := configtest.Load(t, fmt.Sprintf("supplies: [{name: a, volts: 12, watts: 600}]\nfeeders: [{name: box, supply: a, awg: 14, metres: 1%s}]\nstrings:\n", fuse)+
			"  - {name: one, universe: 1, pixels: 50, supply: a, amps_per_pixel: 0.03, pitch: {awg: 18, millimetres: 50}, feeds: [{at: start, from: box, awg: 18, metres: 1, fuse_amps: 5}]}\n"+
			"  - {name: two, universe: 2, pixels: 100, supply: a, amps_per_pixel: 0.03, pitch: {awg: 18, millimetres: 50}, feeds: [{at: start, from: box, awg: 18, metres: 1, fuse_amps: 5}]}\n")
		for _, x := range New(p, budget.New(p)).Strings[0].Worst {
			if x.Place == "feeder box" {
				within(t, x.Conductor+fuse, x.Amps, amps, 1e-3)
			}
		}
	}
}
