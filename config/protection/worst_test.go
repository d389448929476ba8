package protection

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
)

// made reads a plan and returns its first string's wiring.
func made(t testing.TB, text string) (*config.Plan, *budget.Budget, *wiring) {
	t.Helper()
	p := configtest.Load(t, text)
	b := budget.New(p)
	w, ok := newWiring(p, b, 0)
	if !ok {
		t.Fatal("the string is not known")
	}
	return p, b, w
}

const supplies = "supplies: [{name: a, volts: 12, watts: 600}]\n"

func string150(feeds string) string {
	return supplies + "strings: [{name: quay, universe: 1, pixels: 150, supply: a, amps_per_pixel: 0.0555, pitch: {awg: 18, millimetres: 100}, feeds: [" + feeds + "]}]\n"
}

const threeFeeds = `{at: start, awg: 18, metres: 1, fuse_amps: 7}, {at: 50, awg: 18, metres: 3, fuse_amps: 7}, {at: 100, awg: 18, metres: 6, fuse_amps: 7}`

func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s: %.4f, want %.4f", what, got, want)
	}
}

// Fuses in parallel: 7 A each, and 12.955 A past pixel 100 (ngspice, dark string, 0.71
// ohm at pixel 120); with fuses that hold 1.1 and 1.35 times their rating 14.3 and 17.5 A
// (a nodal solver written apart).
func TestFusesInParallel(t *testing.T) {
	_, _, w := made(t, string150(threeFeeds))
	plus, minus := newRail(w, nil, nothing), newRail(w, nil, nothing)
	for _, c := range []struct{ hold, amps, within float64 }{{1, 12.957, 0.005}, {1.1, 14.3, 0.05}, {1.35, 17.5, 0.05}} {
		holds := []float64{7 * c.hold, 7 * c.hold, 7 * c.hold}
		x := new(memory).worstCase(plus, minus, holds, load{nodes: w.Idle}, 12)
		within(t, fmt.Sprintf("holding %g", c.hold), x.wire[0][101].amps, c.amps, c.within)
		within(t, "the return", x.wire[1][101].amps, c.amps, c.within)
	}
}

func TestFusesInParallelAreSaid(t *testing.T) {
	plan := strings.Replace(string150(threeFeeds), "0.0555", "0.030", 1)
	p, b, _ := made(t, plan)
	r := New(p, b)
	if len(r.Problems) == 0 || !strings.Contains(r.Problems[0].What, "opens no fuse") || !strings.Contains(r.Problems[0].Fix, "fuses of at most 3 A") {
		t.Fatalf("problems: %v", r.Problems)
	}
	p, b, _ = made(t, strings.ReplaceAll(plan, "fuse_amps: 7", "fuse_amps: 3"))
	for _, problem := range New(p, b).Problems {
		t.Errorf("with the mend that it names: %v", problem)
	}
}

// An open return sends the current of its feed home by the other: 8.31 A in the lead
// and 8.25 A in the pitch, while V+ stays at 4.03 and 4.27 A (a nodal solver written apart).
func TestOpenReturn(t *testing.T) {
	_, _, w := made(t, string150(`{at: start, awg: 18, metres: 2, fuse_amps: 7}, {at: end, awg: 18, metres: 1, fuse_amps: 7}`))
	plus, minus := newRail(w, nil, nothing), newRail(w, nil, only(w.s.Feeds[1]))
	v, r := plus.loaded(load{nodes: w.White}), minus.loaded(load{nodes: w.White})
	total := 150 * 0.0555
	within(t, "both fuses", v.leads[0]+v.leads[1], total, 1e-9)
	within(t, "the return that is left", r.leads[0], total, 1e-9)
	within(t, "the pitch behind it", math.Abs(r.wire[2]), total-0.0555, 1e-9)
}

// The far end of 40 m of 18 AWG behind 7 A: 12/(80 x 0.020948) A, and twice the
// rating up to 20.5 m; with copper at 60 degrees 6.19 A and 17.7 m (by hand).
func TestShortUnseen(t *testing.T) {
	for _, c := range []struct{ celsius, far, metres float64 }{{20, 7.16, 20.5}, {60, 6.19, 17.7}} {
		plan := func(metres float64) string {
			return fmt.Sprintf("temperature: %g\n%sstrings: [{name: quay, universe: 1, pixels: 1, supply: a, amps_per_pixel: 1, pitch: {milliohms: 0.001, millimetres: 1}, feeds: [{at: start, awg: 18, metres: %g, fuse_amps: 7}]}]\n", c.celsius, supplies, metres)
		}
		_, _, w := made(t, plan(40))
		reach := w.reaches()[0]
		within(t, "short", reach.LeastAmps, c.far, 0.01)
		if reach.Unseen == 0 {
			t.Error("the short is said to be seen")
		}
		_, _, w = made(t, plan(c.metres-0.05))
		if w.reaches()[0].Unseen != 0 {
			t.Errorf("%g m: a short is not seen", c.metres-0.05)
		}
		_, _, w = made(t, plan(c.metres+0.1))
		if w.reaches()[0].Unseen == 0 {
			t.Errorf("%g m: a short is seen", c.metres+0.1)
		}
	}
}

func TestSupplyBelowItsFuse(t *testing.T) {
	text := strings.Replace(string150(`{at: start, awg: 18, metres: 1, fuse_amps: 7}`), "watts: 600", "watts: 60", 1)
	p, b, _ := made(t, text)
	for _, problem := range New(p, b).Problems {
		if strings.Contains(problem.What, "supply a gives 5.5 A before it folds back; the 7 A fuse at start can never open") {
			return
		}
	}
	t.Error("a 5 A supply behind a 7 A fuse is passed over")
}

// Strings that differ in the length of a lead alone are worked out apart.
func TestLengthTellsStringsApart(t *testing.T) {
	one := `  - {name: %s, universe: %d, pixels: 50, supply: a, pitch: {awg: 18, millimetres: 100}, feeds: [{at: start, awg: 18, metres: %d, fuse_amps: 3}]}` + "\n"
	p, b, _ := made(t, supplies+"strings:\n"+fmt.Sprintf(one, "near", 1, 1)+fmt.Sprintf(one, "far", 2, 9))
	r := New(p, b)
	if r.Strings[0].Fuses[0].LeastAmps <= r.Strings[1].Fuses[0].LeastAmps {
		t.Errorf("%v and %v", r.Strings[0].Fuses, r.Strings[1].Fuses)
	}
}

// A connector that may carry less than the wire is what binds, and one for more is the
// mend that is named: 5.5 A through 3 A, by a fuse of 5 A that holds 1.1 times its rating.
func TestConnector(t *testing.T) {
	plan := strings.Replace(string150(`{at: start, awg: 16, metres: 1, fuse_amps: 5}`), "amps_per_pixel: 0.0555", "amps_per_pixel: 0.0222, connector_amps: 3", 1)
	p, b, _ := made(t, plan)
	r := New(p, b)
	if len(r.Problems) != 1 || !strings.Contains(r.Problems[0].What, "5.50 A") || !strings.Contains(r.Problems[0].What, "connectors may carry what a fuse of 3 A") ||
		!strings.Contains(r.Problems[0].Fix, "connectors for 5 A") {
		t.Fatalf("problems: %v", r.Problems)
	}
	p, b, _ = made(t, strings.Replace(plan, "connector_amps: 3", "connector_amps: 5", 1))
	if r := New(p, b); len(r.Problems) > 0 {
		t.Errorf("with the mend that it names: %v", r.Problems)
	}
}

// What its leaflet says of a supply goes before the share of its rating.
func TestHiccup(t *testing.T) {
	_, _, w := made(t, strings.Replace(string150(`{at: start, awg: 18, metres: 1, fuse_amps: 7}`), "watts: 600", "watts: 600, hiccup_amps: 9", 1))
	within(t, "supply", w.reaches()[0].SupplyAmps, 9, 0)
}

// What is named for a short that its fuse does not see is a mend: with either way the
// warning is gone.
func TestMendOfUnseen(t *testing.T) {
	plan := string150(`{at: start, awg: 18, metres: 12, fuse_amps: 7}`)
	plan = strings.Replace(plan, "0.0555", "0.02", 1)
	p, b, w := made(t, plan)
	unseen := func(p *config.Plan, b *budget.Budget) (found *config.Problem) {
		for _, problem := range New(p, b).Problems {
			if strings.Contains(problem.What, "does not see a short") {
				found = &problem
			}
		}
		return found
	}
	problem := unseen(p, b)
	if problem == nil {
		t.Fatal("the short is said to be seen")
	}
	var amps float64
	var awg int
	if _, err := fmt.Sscanf(problem.Fix, "a fuse of %g A or %d AWG for its lead would see it", &amps, &awg); err != nil {
		t.Fatalf("%q: %v (%+v)", problem.Fix, err, w.reaches())
	}
	for _, mended := range []string{strings.Replace(plan, "fuse_amps: 7", fmt.Sprintf("fuse_amps: %g", amps), 1), strings.Replace(plan, "start, awg: 18", fmt.Sprintf("start, awg: %d", awg), 1)} {
		if p, b, _ := made(t, mended); unseen(p, b) != nil {
			t.Errorf("with %q: %v", problem.Fix, unseen(p, b))
		}
	}
}

// The plan's own fuses: one that holds 135 % lets more through, one that needs thrice
// its rating sees less far.
func TestFusesOfThePlan(t *testing.T) {
	plan := strings.Replace(string150(`{at: start, awg: 18, metres: 1, fuse_amps: 7}`), "0.0555", "0.02", 1)
	figures := func(plan string) (float64, bool) {
		_, _, w := made(t, plan)
		return w.worst(new(memory))[0].Amps, w.reaches()[0].Unseen > 0
	}
	amps, unseen := figures(plan)
	within(t, "as assumed", amps, 7.7, 1e-6)
	more, thrice := figures("protection: {fuse_holds: 135 %, short_factor: 3}\n" + plan)
	within(t, "holding 135 %", more, 9.45, 1e-6)
	if unseen || !thrice {
		t.Errorf("unseen %v, at thrice the rating %v", unseen, thrice)
	}
}

// A wire is as warm as its own place: 40 m of 18 AWG bring 6.19 A with copper at 60 degrees
// and 7.16 A at 20 (by hand), whoever says so; a feeder's place is its own.
func TestPlacesOfTheirOwn(t *testing.T) {
	const plan = "temperature: %s\n" + supplies + "feeders: [{name: box, supply: a, awg: 18, metres: 20, fuse_amps: 7, temperature: %s}]\n" +
		"strings: [{name: quay, universe: 1, pixels: 1, supply: a, amps_per_pixel: 1, pitch: {milliohms: 0.001, millimetres: 1}, temperature: %s, feeds: [{at: start, from: box, awg: 18, metres: 20, fuse_amps: 7, temperature: %s}]}]\n"
	for _, c := range []struct {
		plan, feeder, quay, feed string
		amps                     float64
	}{{"60", "20", "20", "20", 7.16}, {"20", "60", "20", "60", 6.19}, {"20", "20", "60", "20", 7.16}, {"20", "20", "20", "60", 6.64}, {"20", "60", "20", "20", 6.64}} {
		_, _, w := made(t, fmt.Sprintf(plan, c.plan, c.feeder, c.quay, c.feed))
		within(t, fmt.Sprint(c), w.reaches()[0].LeastAmps, c.amps, 0.01)
		within(t, fmt.Sprint(c, ", by the rails"), 12/(2*newRail(w, nil, nothing).z[0][0]), c.amps, 0.01)
	}
}
