package design

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/configtest"
	"yardproof/config/protection"
)

var plans = flag.Int("plans", 16, "how many random plans are proposed for")

// brokenPlan is what somebody might have written before knowing better: strings without
// feeds or fuses, thin leads, too few feeds, feeders that are too weak, an anchor.
func brokenPlan(r *rand.Rand, pixels int) string {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	var w strings.Builder
	fmt.Fprintf(&w, "temperature: %d\nsupplies:\n", r.IntN(50)-10)
	volts := []int{12, 12, 5, 24}[r.IntN(4)]
	chip := []string{"ws2811", "ws2811"}
	if volts == 12 {
		chip[1] = "ws2815"
	}
	for i := range 1 + r.IntN(3) {
		fmt.Fprintf(&w, "  - {name: hut-%d, volts: %d, watts: %s, at: [%d, %d]}\n", i, volts, pick("60", "150", "350"), r.IntN(20), r.IntN(4))
	}
	feeder := r.IntN(2) == 0
	if feeder {
		fmt.Fprintf(&w, "feeders: [{name: box, supply: hut-0, awg: %s, metres: %d, fuse_amps: %s, at: [%d, 1]}] # along the wall\n",
			pick("16", "12", "10"), 2+r.IntN(8), pick("5", "10", "15"), r.IntN(20))
	}
	w.WriteString("strings:\n")
	for i := range 2 + r.IntN(3) {
		n := 3 + r.IntN(pixels)
		x := r.IntN(20)
		fmt.Fprintf(&w, "  # string %d\n  - name: s%d\n    universe: %d\n    pixels: %d\n    volts: %d\n", i, i, 1+i, n, volts)
		fmt.Fprintf(&w, "    amps_per_pixel: %.4f # metered\n    pitch: {awg: %s, millimetres: %d}\n", (0.5+5*r.Float64())/float64(n), pick("16", "18", "20"), 50+r.IntN(300))
		fmt.Fprintf(&w, "    chip: {name: %s, lowest_volts: %g}\n    at: [%d, 0]\n    to: [%d, 0]\n", chip[r.IntN(2)], float64(volts)*0.87, x, x+1+r.IntN(8))
		if r.IntN(4) == 0 {
			fmt.Fprintf(&w, "    jumpers: [{after: %d, metres: %d}]\n", 1+r.IntN(n-1), 1+r.IntN(3))
		}
		if r.IntN(4) == 0 {
			fmt.Fprintf(&w, "    feed_points: [%d]\n", 1+r.IntN(n-1))
		}
		if r.IntN(4) == 0 {
			w.WriteString("    connector_amps: 5\n")
		}
		lead := func(at string) string {
			from := "supply: hut-0"
			if feeder && r.IntN(2) == 0 {
				from = "from: box"
			}
			fuse := pick("", ", fuse_amps: 3", ", fuse_amps: 7.5", ", fuse_amps: 15")
			return fmt.Sprintf("{at: %s, %s, awg: %s, metres: %d%s}", at, from, pick("20", "18", "14"), 1+r.IntN(9), fuse)
		}
		switch r.IntN(4) {
		case 0:
			w.WriteString("    supply: hut-0\n")
		case 1:
			fmt.Fprintf(&w, "    feeds: [%s]\n", lead("start"))
		case 2:
			fmt.Fprintf(&w, "    feeds:\n      # by the stairs\n      - %s # blue\n      - %s\n", lead("start"), lead("end"))
		}
	}
	return w.String()
}

// TestRandomPlans proposes for random plans, applies the change to their text, reads
// that, and lets the budget and the protection judge the whole of it: of no string that
// was proposed for is anything found.
func TestRandomPlans(t *testing.T) {
	proposed, refused := 0, 0
	for seed := range uint64(*plans) {
		r := rand.New(rand.NewPCG(seed, 4))
		text := brokenPlan(r, 24)
		opts := Options{Level: []float64{1, 1, 0.5}[seed%3], LoseOne: seed%4 == 3, Work: 20_000}
		out := New(t.Context(), configtest.Load(t, text), opts)
		refused += len(out.Refused)
		if len(out.Strings) == 0 {
			continue
		}
		proposed += len(out.Strings)
		for _, why := range unsound(t, out, text) {
			t.Errorf("plan %d at %g: %s\n%s", seed, opts.Level, why, text)
		}
	}
	t.Logf("%d plans: %d strings proposed for, %d not", *plans, proposed, refused)
	if proposed < 2**plans {
		t.Error("too little is proposed for this to be a test")
	}
}

// TestOutOfTime is that what is proposed when time runs out holds as well, and that what
// is not is said.
func TestOutOfTime(t *testing.T) {
	text := brokenPlan(rand.New(rand.NewPCG(3, 4)), 24)
	plan := configtest.Load(t, text)
	whole := New(t.Context(), plan, Options{Level: 1, Work: 2000})
	for _, after := range []int{0, 1} { // strings
		ctx, cancel := context.WithCancel(t.Context())
		if after == 0 {
			cancel()
		}
		out := New(ctx, plan, Options{Level: 1, Progress: func(Stage, int, int) { cancel() }})
		cancel()
		if n := len(out.Strings) + len(out.Refused); n != len(whole.Strings)+len(whole.Refused) || after == 0 && len(out.Strings) > 0 {
			t.Errorf("after %d strings: %d are spoken of: %+v", after, n, out.Refused)
		}
		if len(out.Strings) > 0 {
			for _, why := range unsound(t, out, text) {
				t.Error(why)
			}
		}
	}
}

// unsound is what is wrong with a proposal for a plan's text.
func unsound(t *testing.T, out *Proposal, text string) []string {
	t.Helper()
	changed, err := out.Patch("test.yaml", []byte(text))
	if err != nil {
		return []string{err.Error()}
	}
	var wrong []string
	for line := range strings.Lines(text) {
		if _, comment, ok := strings.Cut(line, "# "); ok && !strings.Contains(string(changed.Bytes()), strings.TrimSpace(comment)) {
			wrong = append(wrong, "a comment is gone: "+comment)
		}
	}
	p := configtest.Load(t, string(changed.Bytes()))
	b := budget.New(p)
	at := configtest.Load(t, string(changed.Bytes())) // whose full white is the asked level
	for i, s := range at.Strings {
		c := b.Strings[i].Chip
		s.AmpsPerPixel = c.IdleAmpsPerPixel + out.Level*(c.AmpsPerPixel-c.IdleAmpsPerPixel)
	}
	dimmed := budget.New(at)
	problems := slices.Concat(b.Problems, protection.New(p, b).Problems)
	for _, s := range out.Strings {
		n := slices.IndexFunc(p.Strings, func(o *config.String) bool { return o.Name == s.Name })
		r := &b.Strings[n]
		if s.Cost.Proposed > 0 && len(p.Strings[n].Feeds) != len(s.Feeds) {
			wrong = append(wrong, s.Name+" has other feeds than were proposed")
		}
		if r.WithinFusesKnown && r.WithinFusesPercent < 100*out.Level-1e-6 {
			wrong = append(wrong, fmt.Sprintf("%s: fuses carry %g %%", s.Name, r.WithinFusesPercent))
		}
		if r.WorkingLevelPercent < 100*out.Level-1e-6 {
			wrong = append(wrong, fmt.Sprintf("%s: volts are enough up to %g %%", s.Name, r.WorkingLevelPercent))
		}
		for _, f := range dimmed.Strings[n].Feeds {
			if out.LoseOne && (f.Lost == nil || len(f.Lost.Fails) > 0) {
				wrong = append(wrong, fmt.Sprintf("%s: with its feed at %s lost: %+v", s.Name, f.At, f.Lost))
			}
		}
		for _, x := range problems {
			if strings.Contains(x.What, "string "+s.Name) && (out.Level == 1 || !strings.Contains(x.What, "full white")) {
				wrong = append(wrong, x.What)
			}
		}
	}
	if load := b.WithinFusesPercent; out.Level == 1 && len(out.Refused) == 0 && load < 100 {
		wrong = append(wrong, fmt.Sprintf("supplies carry %g %%", load))
	}
	return wrong
}
