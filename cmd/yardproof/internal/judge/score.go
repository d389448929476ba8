package judge

import (
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config/budget"
)

// Score is how one kind of fault, or all of them, came out.
type Score struct {
	Kind             yard.Kind
	Runs             int
	First, Three     int // the right cause was first; among the first three
	Both             int // pairs: both among the first five
	Well             int // it was told that all is well
	Found            int // by what was advised, before the string came down
	Places, PlaceOff int // right causes with a place; pixels that it was off by
	Trips            int
	Minutes          float64
}

// mostTried is how many things somebody puts right before the string comes down.
const mostTried = 8

// Judge lets somebody with an adviser go through a case, until what was planted is
// found or nothing more is advised.
func Judge(c *Case, advise Adviser) Score {
	p := NewPerson(c)
	a := advise(p)
	s := Score{Runs: 1, Well: count(a.Well)}
	if len(c.Faults) == 0 {
		s.Trips, s.Minutes = p.Trips, p.Minutes
		return s
	}
	var ranks [2]int
	for i, f := range c.Faults {
		ranks[i] = a.rank(f, p)
	}
	first := ranks[0]
	if len(c.Faults) > 1 {
		first = min(first, ranks[1])
	}
	s.First, s.Three = count(first == 0), count(first < 3)
	s.Places, s.PlaceOff = a.off(c.Faults)
	for tried := 0; tried < mostTried && len(p.left) > 0 && !a.Well; {
		order := a.inOrder()
		if len(order) == 0 {
			break
		}
		for _, g := range order {
			p.Try(g)
			if tried++; a.Again != nil || len(p.left) == 0 {
				break
			}
		}
		if a.Again == nil || len(p.left) == 0 {
			break
		}
		a = a.Again(order[0])
		s.Well = max(s.Well, count(a.Well))
		for i, f := range c.Faults { // what was put right before stands ahead of it
			ranks[i] = min(ranks[i], tried+a.rank(f, p))
		}
	}
	s.Both = count(len(c.Faults) > 1 && max(ranks[0], ranks[1]) < 5)
	if s.Found = count(len(p.left) == 0); len(p.left) > 0 {
		p.Trips += takenDownTrips
		p.Minutes += takenDownMinutes
	}
	s.Trips, s.Minutes = p.Trips, p.Minutes
	return s
}

// rank is where a fault stands among the guesses, from 0.
func (a Advice) rank(f yard.Fault, p *Person) int {
	i := slices.IndexFunc(a.Guesses, func(g Guess) bool { return g.is(f, p.string()) })
	if i < 0 {
		return math.MaxInt32
	}
	return i
}

// off is by how many pixels the place of a right cause is off; places is 0 where none
// has a place.
func (a Advice) off(faults []yard.Fault) (places, off int) {
	for _, g := range a.Guesses {
		for _, f := range faults {
			if info, _ := yard.Lookup(f.Kind); g.Place > 0 && (info.At == yard.Joint || info.At == yard.Pixel) && slices.Contains(g.Kinds, f.Kind) {
				return 1, g.off(f)
			}
		}
	}
	return 0, 0
}

// inOrder is the guesses as they are tried.
func (a Advice) inOrder() []Guess {
	if a.Work == nil {
		return a.Guesses
	}
	var order []Guess
	for _, i := range a.Work {
		order = append(order, a.Guesses[i])
	}
	return order
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (s *Score) add(o Score) {
	s.Runs += o.Runs
	s.First += o.First
	s.Three += o.Three
	s.Both += o.Both
	s.Well += o.Well
	s.Found += o.Found
	s.Places += o.Places
	s.PlaceOff += o.PlaceOff
	s.Trips += o.Trips
	s.Minutes += o.Minutes
}

// Run judges an adviser on so many yards of every kind, of pairs, and of sound ones,
// on all cores. The same first seed gives the same result.
func Run(first uint64, each int, sev Severities, advise Adviser) []Score {
	kinds := append(yard.Kinds(), yard.Info{Kind: Pairs}, yard.Info{Kind: Sound})
	scores := make([]Score, len(kinds))
	budget.OnAllCores(len(kinds), func() func(int) {
		return func(i int) { scores[i] = run(first+uint64(i)<<32, each, sev, kinds[i].Kind, advise) }
	})
	return scores
}

// What is judged besides single faults.
const (
	Pairs yard.Kind = "two faults"
	Sound yard.Kind = "nothing"
)

// several is how many times as many of these are judged as of a kind.
const several = 4

func run(seed uint64, each int, sev Severities, kind yard.Kind, advise Adviser) Score {
	total := Score{Kind: kind}
	all := yard.Kinds()
	if kind == Pairs || kind == Sound { // they are as many as some kinds
		each *= several
	}
	for n := range uint64(20 * each) { // some plans have no place for it
		kinds := []yard.Kind{kind}
		switch kind {
		case Sound:
			kinds = nil
		case Pairs:
			a, b := int((seed+n)*7%uint64(len(all))), int((seed+n)*13%uint64(len(all)-1))
			if b >= a {
				b++
			}
			kinds = []yard.Kind{all[a].Kind, all[b].Kind}
		}
		c, ok := NewCase(seed+n, sev, kinds...)
		if !ok {
			continue
		}
		if total.add(Judge(c, advise)); total.Runs == each {
			break
		}
	}
	return total
}

// Print writes the table, and a line for all single faults.
func Print(w io.Writer, scores []Score) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "fault\tyards\tfirst\tamong three\t\"all is well\"\tpixels off\tfound\tladder\tminutes")
	row := func(s Score) {
		off := "-"
		if s.Places > 0 {
			off = fmt.Sprintf("%.1f", float64(s.PlaceOff)/float64(s.Places))
		}
		n := float64(max(s.Runs, 1))
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s\t%s\t%.0f %%\t%.2f\t%.0f\n", s.Kind, s.Runs, share(s.First, s.Runs), share(s.Three, s.Runs), share(s.Well, s.Runs), off, 100*float64(s.Found)/n, float64(s.Trips)/n, s.Minutes/n)
	}
	for _, s := range scores {
		row(s)
	}
	row(singles(scores))
	for _, s := range scores {
		if s.Kind == Pairs {
			fmt.Fprintf(t, "both of two among the first five\t%d\t\t%s\n", s.Runs, share(s.Both, s.Runs))
		}
	}
	return t.Flush()
}

// singles is all single faults together.
func singles(scores []Score) Score {
	all := Score{Kind: "all single faults"}
	for _, s := range scores {
		if s.Kind != Pairs && s.Kind != Sound {
			all.add(s)
		}
	}
	return all
}

func share(k, n int) string {
	if n == 0 {
		return "-"
	}
	lo, hi := Wilson(k, n)
	return fmt.Sprintf("%.1f %% (%.1f to %.1f)", 100*float64(k)/float64(n), 100*lo, 100*hi)
}

// Wilson is the 95 % interval of a share, k of n (E. B. Wilson, JASA 22, 1927, from
// memory).
func Wilson(k, n int) (lo, hi float64) {
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return max(0, mid-half), min(1, mid+half)
}
