// Package judge says how often the diagnosis is right: somebody who follows its
// advice to the letter goes through yards in which faults were planted. What such a
// yard does comes from rehearsal/yard, which knows nothing of diagnosis; what is
// advised from diagnose. It refuses to know how either of them comes to it.
package judge

import (
	"math/rand/v2"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
	"yardproof/config/budget"
)

// A Guess is a cause that is advised: any of these kinds, at a place.
type Guess struct {
	Kinds []yard.Kind
	Place int    // a pixel, or the one ahead of a joint; 0: the string as a whole
	Feed  int    // from 1; 0: none, or every one
	Other string // the other string of a swap
}

// Advice is what somebody was told after all the looks that were asked for.
type Advice struct {
	Guesses []Guess // most likely first
	Well    bool    // nothing is wrong
	Work    []int   // guesses in the order in which they are tried; nil: as they stand

	// Again is what is told once a guess was put right and something is wrong still; nil:
	// the next one of the same list is tried.
	Again func(done Guess) Advice
}

// An Adviser takes somebody through the looks that it asks for.
type Adviser func(*Person) Advice

// Case is one yard with what was planted in it.
type Case struct {
	Seed   uint64
	Plan   *config.Plan
	Budget *budget.Budget
	Faults []yard.Fault // none: a sound one
	String int          // the one in question
}

// Severities say from which part of its range a fault's severity is drawn.
type Severities func(yard.Info) (lo, hi float64)

// Judged on severities that nothing was tuned by: tuning takes the middle of each
// range, judging all of it, stretched by a fifth.
func Tuning(i yard.Info) (lo, hi float64) {
	third := (i.Range[1] - i.Range[0]) / 3
	return i.Range[0] + third, i.Range[1] - third
}

// Judging is the range that results are reported for, see [Tuning].
func Judging(i yard.Info) (lo, hi float64) {
	if i.Integer || i.Kind == yard.DeadColour || i.Kind == yard.Frozen || i.Kind == yard.WrongChip || i.Kind == yard.NoReturnBond {
		return i.Range[0], i.Range[1]
	}
	return i.Range[0] * 0.8, i.Range[1] * 1.2
}

// NewCase draws a plan and plants faults of some kinds on one of its strings. It
// reports false when the plan has no place for them, or when nobody with eyes and
// meters could tell the yard from a sound one.
func NewCase(seed uint64, sev Severities, kinds ...yard.Kind) (*Case, bool) {
	r := rand.New(rand.NewPCG(seed, 77))
	c := &Case{Seed: seed}
	c.Plan, c.Budget = plan(r)
	c.String = r.IntN(len(c.Plan.Strings))
	for _, k := range kinds {
		info, _ := yard.Lookup(k)
		lo, hi := sev(info)
		found := false
		for range 40 {
			f, ok := yard.Random(r, c.Plan, k, lo, hi)
			if !ok {
				return nil, false
			}
			if len(c.Faults) == 0 {
				c.String = c.Plan.Find(f.String).Index
			}
			if found = c.Plan.Find(f.String).Index == c.String; found {
				c.Faults = append(c.Faults, f)
				break
			}
		}
		if !found {
			return nil, false
		}
	}
	return c, c.shown()
}

// shown reports whether each fault alone shows to an eye or to meters, by more than
// their errors, on the string in question; what belongs to a controller or a supply
// may make any string of it the one in question.
func (c *Case) shown() bool {
	for i, f := range c.Faults {
		alone := *c
		alone.Faults = []yard.Fault{f}
		if NewPerson(&alone).shows() {
			continue
		}
		info, _ := yard.Lookup(f.Kind)
		if i > 0 || info.Reach == yard.OfString {
			return false
		}
		found := false
		for n := range c.Plan.Strings {
			alone.String = n
			if found = n != c.String && NewPerson(&alone).shows(); found {
				break
			}
		}
		if !found {
			return false
		}
		c.String = alone.String
	}
	return true
}

// is reports whether a guess names a fault, at its place give or take one pixel.
func (g Guess) is(f yard.Fault, s *config.String) bool {
	for _, k := range g.Kinds {
		if k != f.Kind {
			continue
		}
		switch info, _ := yard.Lookup(k); info.At {
		case yard.Pixel, yard.Joint:
			return g.Place == 0 || g.off(f) <= 1
		case yard.Feed:
			return g.Feed == 0 || g.Feed == f.Place
		}
		return !(k == yard.SwappedPorts || k == yard.SwappedUniverses) || g.Other == "" || g.Other == f.With || g.Other == f.String
	}
	return false
}

// off is how many pixels a guess's place is from a fault's.
func (g Guess) off(f yard.Fault) int { return abs(g.Place - f.Place) }
