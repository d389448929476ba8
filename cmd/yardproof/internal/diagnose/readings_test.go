package diagnose

import (
	"math"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
)

// The RMS over the mean of n loads that pulse each for itself at a duty d: the mean
// is n·d, the variance of a sum of independent loads n·d·(1-d). Simulated pulses gave
// 1.0058 for 100 at half, where the law says 1.0050.
func TestFreePulsesReadHardlyHigher(t *testing.T) {
	for _, tt := range []struct {
		n    int
		d    float64
		want float64
	}{{100, 0.5, 1.005}, {10, 0.5, 1.049}, {100, 0.05, 1.091}, {1, 0.5, math.Sqrt2}, {100, 1, 1}} {
		if got := rmsOverMean(tt.n, tt.d); math.Abs(got-tt.want) > 0.0005 {
			t.Errorf("%d pixels at %g: %.4f, want %.4f", tt.n, tt.d, got, tt.want)
		}
	}
}

// A true-RMS meter is never the first cause of a high reading, and at full level none.
func TestTrueRMSIsNeverFirst(t *testing.T) {
	m := config.Meter{Share: 0.03, Fixed: 0.10}
	for _, tt := range []struct {
		read, level float64
		said        bool
	}{{3.9, 0, false}, {3.9, 1, false}, {3.9, 0.5, true}, {3.1, 0.5, true}, {5, 0.5, false}, {4.2, 0.9, false}} {
		r := reading{Read: tt.read, Expected: 2.775, PerPixel: 0.055, Meter: m, Pixels: 100, Duty: tt.level}
		a, err := r.Answer()
		if err != nil || !a.Wrong || strings.Contains(a.Causes[0], "RMS") {
			t.Errorf("%.1f A of 2.775 at %g: %v, first %q", tt.read, tt.level, err, a.Causes)
		}
		if said := strings.Contains(strings.Join(a.Causes, ""), "RMS"); said != tt.said {
			t.Errorf("%.1f A of 2.775 at %g: RMS said %t, want %t", tt.read, tt.level, said, tt.said)
		}
	}
}

// With the fuse of one feed open, the others carry its share: what each then reads is
// worked out, and named first, whether read alone or against the dark.
func TestOpenFeedIsFirstWhereTheAmpsMatch(t *testing.T) {
	const feeds3 = "feeds: [{at: start, awg: 18, metres: 1}, {at: 60, awg: 18, metres: 2}, {at: end, awg: 16, metres: 4}]"
	plan := func(feeds string) Yard {
		p, problems := config.Load("test.yaml", strings.NewReader("supplies: [{name: a, volts: 12, watts: 600}]\nstrings:\n  - {name: s, universe: 1, pixels: 120, amps_per_pixel: 0.05, supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}, "+feeds+"}\n"))
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		return Yard{Plan: p, Budget: budget.New(p)}
	}
	y := plan(feeds3)
	for _, tt := range []struct {
		without, feeds string
		lost, feed     int // of the three
		at             string
	}{
		{"end", "feeds: [{at: start, awg: 18, metres: 1}, {at: 60, awg: 18, metres: 2}]", 2, 1, "60"},
		{"start", "feeds: [{at: 60, awg: 18, metres: 2}, {at: end, awg: 16, metres: 4}]", 0, 0, "60"},
		{"60", "feeds: [{at: start, awg: 18, metres: 1}, {at: end, awg: 16, metres: 4}]", 1, 1, "end"},
	} {
		// The truth is another plan, which does not have the feed.
		truth := plan(tt.feeds)
		f := truth.Budget.Strings[0].Feeds[tt.feed]
		for _, dark := range []*float64{nil, &f.IdleAmps} {
			read := f.FullWhiteAmps
			out, err := y.Ask(Question{Amps: &read, DarkAmps: dark, String: "s", Feed: tt.at})
			if err != nil {
				t.Fatal(err)
			}
			first := strings.Join(out.Answer.Causes, "")
			if !strings.HasPrefix(first, "the feed at "+tt.without+" is open") {
				t.Errorf("%s open, %.2f A read at %s: %q", tt.without, read, tt.at, out.Answer.Causes)
			}
			if strings.Contains(strings.Join(out.Answer.Next, ""), "amps_per_pixel") {
				t.Errorf("%s open: a new amps_per_pixel is offered: %q", tt.without, out.Answer.Next)
			}
		}
	}
}

// Water in the isolated DC side cannot trip the residual-current device of the mains.
func TestNobodyReconnectsInTheWet(t *testing.T) {
	s := Symptoms()[18]
	all := strings.ToLower(strings.Join(append(s.Causes, s.Test...), " "))
	for _, want := range []string{"leak", "plug", "count the supplies", "dry", "do not use it again", "licensed"} {
		if !strings.Contains(all, want) {
			t.Errorf("nobody says %q: %s", want, all)
		}
	}
	if strings.Contains(all, "reconnect") {
		t.Errorf("someone is sent to reconnect: %s", all)
	}
}
