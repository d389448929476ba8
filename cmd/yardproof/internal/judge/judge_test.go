package judge

import (
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
)

var (
	each   = flag.Int("judge", 1, "judge so many yards of every kind, and print the table")
	tuning = flag.Bool("tuning", false, "on the seeds and severities that are tuned by, not those that are reported")
	from   = flag.Uint64("seed", 1<<20, "the first seed of those that are reported")
	who    = flag.String("adviser", "odds", "odds, lists, history or repeats: with a record of any causes, or of half the planted kind")
	only   = flag.String("kind", "", "judge this kind alone, and say of each yard what was told")
)

var advisers = map[string]Adviser{"odds": Odds, "lists": Lists, "history": Remembered(false), "repeats": Remembered(true)}

// The long run prints the table: make judge.
func BenchmarkJudge(b *testing.B) {
	first, sev := *from, Severities(Judging)
	if *tuning {
		first, sev = 1, Tuning
	}
	advise := advisers[*who]
	for b.Loop() {
		if *only != "" {
			say(first, sev, advise)
			continue
		}
		if err := Print(os.Stdout, Run(first, *each, sev, advise)); err != nil {
			b.Fatal(err)
		}
	}
}

// say judges one kind of fault, a line for each yard that is not told right.
func say(first uint64, sev Severities, advise Adviser) {
	kind := yard.Kind(*only)
	at := slices.IndexFunc(yard.Kinds(), func(i yard.Info) bool { return i.Kind == kind })
	total := run(first+uint64(at)<<32, *each, sev, kind, func(p *Person) Advice {
		a := advise(p)
		if len(p.c.Faults) > 0 && a.rank(p.c.Faults[0], p) > 0 {
			var names []string
			for _, g := range a.Guesses[:min(3, len(a.Guesses))] {
				names = append(names, fmt.Sprintf("%v@%d/%d", g.Kinds, g.Place, g.Feed))
			}
			s := p.string()
			fmt.Printf("seed %d: %+v of %d pixels, %d feeds, nulls %d, channel %d: rank %d of %v\n", p.c.Seed, p.c.Faults, s.Pixels, len(s.Feeds), s.NullPixels, s.Channel, a.rank(p.c.Faults[0], p), names)
			for _, l := range p.done {
				fmt.Printf("    %+v\n", l)
			}
		}
		return a
	})
	fmt.Printf("%s: first %d of %d, among three %d, well %d, ladders %d\n", kind, total.First, total.Runs, total.Three, total.Well, total.Trips)
}

// Check values of the interval: 5 of 10 and 0 of 20 by hand from its formula.
func TestWilson(t *testing.T) {
	for _, c := range []struct {
		k, n   int
		lo, hi float64
	}{{5, 10, 0.2366, 0.7634}, {0, 20, 0, 0.1611}, {8, 10, 0.4902, 0.9433}} {
		lo, hi := Wilson(c.k, c.n)
		if math.Abs(lo-c.lo) > 5e-4 || math.Abs(hi-c.hi) > 5e-4 {
			t.Errorf("%d of %d: %.4f to %.4f, want %.4f to %.4f", c.k, c.n, lo, hi, c.lo, c.hi)
		}
	}
}

// Somebody follows the weighed looks through a few yards of fixed seeds, faults and
// meter errors drawn as for tuning; what is reported comes from make judge.
func TestFollowed(t *testing.T) {
	for _, c := range []struct {
		kind yard.Kind
		seed uint64
	}{
		{yard.WrongOrder, 1}, {yard.BrokenData, 1},
		{yard.FuseBlown, 9<<32 + 3}, // dark all over: what else is wrong is looked for later, and not from a ladder
	} {
		var s Score
		for seed := c.seed; s.Runs == 0 && seed < c.seed+20; seed++ {
			if found, ok := NewCase(seed, Tuning, c.kind); ok {
				s = Judge(found, Odds)
			}
		}
		if s.First != 1 || s.Found != 1 || s.Well != 0 || s.Trips > 2 {
			t.Errorf("%s: %+v", c.kind, s)
		}
	}
}
