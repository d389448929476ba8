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

// TestRandomPlans proposes for random plans, applies the change to their text, reads
// that, and lets the budget and the protection judge the whole of it: of no string that
// was proposed for is anything found.
func TestRandomPlans(t *testing.T) {
	proposed, refused := 0, 0
	for seed := range uint64(*plans) {
		r := rand.New(rand.NewPCG(seed, 4))
		text := configtest.Broken(r, 24)
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
	text := configtest.Broken(rand.New(rand.NewPCG(3, 4)), 24)
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
